package yard_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/yard"
)

// bench is a yard with clocks that the test moves.
type bench struct {
	*yard.Yard
	mono    time.Duration
	trusted bool
}

var begin = time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)

func newBench() *bench {
	b := &bench{trusted: true, mono: time.Hour}
	b.Yard = yard.New("shed-2", yard.Clock{
		Mono: func() time.Duration { return b.mono },
		Wall: func() (time.Time, bool) { return begin.Add(b.mono), b.trusted },
	})
	return b
}

// state is a payload as agents publish it; age is how long ago it was made.
func (b *bench) state(bay, stage string, age time.Duration) []byte {
	return fmt.Appendf(nil, `{"v":1,"bay":%q,"stage":%q,"findings":[],"time":%q,"time_trusted":true,"later":{}}`, bay, stage, begin.Add(b.mono-age).Format(time.RFC3339Nano))
}

const online = `{"v":1,"state":"online","page":"https://shed-3.example:8443"}`

// TestNeighbours follows an agent through its life as a broker tells of it.
func TestNeighbours(t *testing.T) {
	b := newBench()
	require.Empty(t, b.Bays())
	b.Connected(true)
	b.Status("shed-3", []byte(online))
	b.State("shed-3", "bay-2", b.state("bay-2", "ready-to-water", 0), false)
	b.State("shed-3", "bay-1", b.state("bay-1", "charging", 0), false)
	b.State("shed-2", "bay-1", b.state("bay-1", "charging", 0), false)
	all := b.Bays()
	require.Len(t, all, 2, "the agent's own bays are not another agent's")
	require.Equal(t, []string{"bay-1", "bay-2"}, []string{all[0].Name, all[1].Name})
	require.Equal(t, "shed-3", all[0].Agent)
	require.Equal(t, "https://shed-3.example:8443", all[0].Page)
	require.Equal(t, "ready-to-water", all[1].State.Stage)
	reach := func() yard.Reach { return b.Bays()[0].Reach }
	require.Equal(t, yard.Heard, reach())

	b.mono += yard.SilentAfter + time.Second
	require.Equal(t, yard.Quiet, reach(), "two states of 30 s may be lost, not three")
	require.Equal(t, yard.SilentAfter+time.Second, b.Bays()[0].Age)
	b.State("shed-3", "bay-1", b.state("bay-1", "cooling", 0), false)
	require.Equal(t, yard.Heard, reach())

	b.Status("shed-3", []byte(`{"v":1,"state":"offline","reason":"connection-lost"}`))
	require.Equal(t, yard.Offline, reach())
	b.Status("shed-3", []byte(online))
	b.Connected(false)
	require.Equal(t, yard.NoBroker, reach())
	require.Equal(t, "cooling", b.Bays()[0].State.Stage, "what was heard last is kept")
	b.Connected(true)

	b.State("shed-3", "bay-1", nil, true)
	require.Len(t, b.Bays(), 1, "its topic was cleared")
	b.Status("shed-3", nil)
	require.Empty(t, b.Bays())
}

// TestKeptByTheBroker: a retained state is as old as both clocks say. Without them, or
// when they contradict each other, its age is not known and the bay counts as not heard.
func TestKeptByTheBroker(t *testing.T) {
	b := newBench()
	b.Connected(true)
	b.Status("shed-3", []byte(online))
	take := func(age time.Duration) yard.Bay {
		b.State("shed-3", "bay-1", b.state("bay-1", "charging", age), true)
		return b.Bays()[0]
	}
	require.Equal(t, yard.Heard, take(20*time.Second).Reach)
	old := take(3 * time.Hour)
	require.Equal(t, yard.Quiet, old.Reach)
	require.True(t, old.AgeKnown)
	require.Equal(t, 3*time.Hour, old.Age)
	ahead := take(-time.Hour)
	require.Equal(t, yard.Quiet, ahead.Reach)
	require.False(t, ahead.AgeKnown)
	b.trusted = false
	unset := take(20 * time.Second)
	require.Equal(t, yard.Quiet, unset.Reach)
	require.False(t, unset.AgeKnown)
}

// TestWhatIsNotAState: what cannot be read is dropped and the last state grows old; none
// of it takes memory without a bound.
func TestWhatIsNotAState(t *testing.T) {
	b := newBench()
	b.Connected(true)
	b.Status("shed-3", []byte(online))
	b.State("shed-3", "bay-1", b.state("bay-1", "charging", 0), false)
	for _, bad := range []string{
		"{", "[]", `"charging"`, `{"v":1,"bay":"bay-2","stage":"cooling"}`, `{"v":2,"bay":"bay-1","stage":"cooling"}`,
		`{"v":1,"bay":"bay-1","stage":7}`, `{"v":1,"bay":"bay-1","stage":"cooling","time":"yesterday"}`,
		string(b.state("bay-1", strings.Repeat("x", 70_000), 0)),
	} {
		b.State("shed-3", "bay-1", []byte(bad), false)
		require.Equal(t, "charging", b.Bays()[0].State.Stage, "%.60s", bad)
	}
	for _, page := range []string{"javascript:alert(1)", "//shed-3.example", "https:///x", "https://a:b@shed-3.example/x?y"} {
		text, err := json.Marshal(map[string]any{"v": 1, "state": "online", "page": page})
		require.NoError(t, err)
		b.Status("shed-3", text)
		require.Contains(t, []string{"", "https://shed-3.example"}, b.Bays()[0].Page, page)
	}
	require.False(t, b.Dropped())
	for i := range 300 {
		name := fmt.Sprintf("bay-%d", i)
		b.State("shed-3", name, b.state(name, "charging", 0), false)
		b.State(fmt.Sprintf("shed-%d", i+4), "bay-1", b.state("bay-1", "charging", 0), false)
	}
	require.True(t, b.Dropped())
	require.Less(t, len(b.Bays()), 200)
}

// TestDeaf: a broker that delivers nothing of the site does not deliver the agent's own
// status either.
func TestDeaf(t *testing.T) {
	b := newBench()
	require.False(t, b.Deaf(), "not connected")
	b.Connected(true)
	require.False(t, b.Deaf(), "too early to say")
	b.mono += time.Minute
	require.True(t, b.Deaf())
	b.Status("shed-2", []byte(online))
	require.False(t, b.Deaf())
	b.Connected(true)
	b.mono += time.Minute
	require.True(t, b.Deaf(), "the rights may have changed")
}

func FuzzState(f *testing.F) {
	f.Add([]byte(`{"v":1,"bay":"bay-1","stage":"charging","time":"2026-03-01T08:00:00Z"}`), []byte(online))
	f.Fuzz(func(t *testing.T, state, status []byte) {
		b := newBench()
		b.Status("shed-3", status)
		b.State("shed-3", "bay-1", state, true)
		for _, bay := range b.Bays() {
			require.Equal(t, "bay-1", bay.State.Bay)
		}
	})
}
