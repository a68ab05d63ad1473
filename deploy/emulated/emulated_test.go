package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/deploy/emulated/chips"
	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

func TestJournal(t *testing.T) {
	j := newJournal()
	j.edge(heartbeatLine, true)
	j.edge(relayLine, true)
	j.edge(relayLine, true) // the same level again is not an edge
	j.edge(heartbeatLine, false)
	j.edge(heartbeatLine, true)
	j.edge(relayLine, false)
	j.edge(feedbackLine, true)
	require.Equal(t, seen{rises: 1, drops: 1, beats: 3, beatsAtUp: 1, beatsAtOff: 3}, j.look())

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := j.await(ctx, func(n seen) bool { return n.rises == 2 })
	require.ErrorIs(t, err, context.Canceled)
	_, err = j.await(ctx, func(n seen) bool { return n.rises == 1 })
	require.NoError(t, err)
}

// quietScene returns a scene that only has outputs.
func quietScene(t *testing.T) *scene {
	t.Helper()
	return &scene{
		rig: &rig{journal: newJournal(), guest: newGuest()}, site: &site{wakeup: make(chan struct{})}, ctx: t.Context(), name: t.Name(),
		log: func(string, ...any) {},
	}
}

// TestStepsCanFail: each step about the relay fails when the relay does what it
// must not.
func TestStepsCanFail(t *testing.T) {
	rise := func(j *journal) { j.edge(relayLine, true) }
	beat := func(j *journal, n int) {
		for i := range n {
			j.edge(heartbeatLine, i%2 == 0)
		}
	}
	for _, c := range []struct {
		name  string
		first func(*journal)
		step  func(*scene)
		later func(*journal)
		fails bool
	}{
		{"stays open", nil, func(s *scene) { s.stays(3) }, func(j *journal) { beat(j, 3) }, false},
		{"stays open, but closes", nil, func(s *scene) { s.stays(3) }, rise, true},
		{"stays open, but is closed", rise, func(s *scene) { s.stays(3) }, nil, true},
		{"stays closed", rise, func(s *scene) { s.keeps(3) }, func(j *journal) { beat(j, 3) }, false},
		{"stays closed, but opens", rise, func(s *scene) { s.keeps(3) }, func(j *journal) { j.edge(relayLine, false) }, true},
		{"opens in time", rise, func(s *scene) { s.drops("x", 3, none) }, func(j *journal) { beat(j, 3); j.edge(relayLine, false) }, false},
		{"opens too late", rise, func(s *scene) { s.drops("x", 3, none) }, func(j *journal) { beat(j, 4) }, true},
		{"opens, but was open", nil, func(s *scene) { s.drops("x", 3, none) }, nil, true},
		{"opens before the event", rise, func(s *scene) { s.opensBefore("x", control.Hung, none) }, func(j *journal) { j.edge(relayLine, false) }, false},
		{"opens after the event", rise, func(s *scene) { s.opensBefore("x", control.Hung, s.hangs) }, nil, true},
		{"opens before the event, but was open", nil, func(s *scene) { s.opensBefore("x", control.Hung, none) }, nil, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := quietScene(t)
			if c.first != nil {
				c.first(s.journal)
			}
			done := make(chan struct{})
			go func() { defer close(done); c.step(s) }()
			if c.later != nil {
				// Wait until the step has recorded its starting state, which
				// earlier edges would be part of.
				for s.began.Load() == 0 {
					time.Sleep(time.Millisecond)
				}
				c.later(s.journal)
			}
			<-done
			require.Equal(t, c.fails, s.failed(), "%v", s.err)
		})
	}
}

func none(context.Context) error { return nil }

// hangs lets the guest report that the agent hangs.
func (s *scene) hangs(context.Context) error {
	s.guest.take(control.Event{Kind: control.Hung, Unit: control.Agent})
	return nil
}

func TestContiguous(t *testing.T) {
	numbers := func(list ...uint64) (all []event) {
		for _, n := range list {
			all = append(all, event{Seq: n})
		}
		return all
	}
	require.NoError(t, contiguous(numbers(1, 2, 3)))
	require.NoError(t, contiguous(numbers(1, 2, 2, 1, 3)), "QoS 1 allows a repeated event (MQTT 3.1.1, section 4.3.2)")
	require.Error(t, contiguous(numbers(1, 3)))
	require.Error(t, contiguous(numbers(2)))
	require.Error(t, contiguous(nil))
}

func TestTable(t *testing.T) {
	var table table
	require.False(t, table.passed(), "no result is not a success")
	table.add("boot", "arm64", nil, time.Second)
	require.True(t, table.passed())
	table.add("kill", "armv6", errors.New("no"), time.Second)
	require.False(t, table.passed())
	table.plan("kill", "arm64")
	var out bytes.Buffer
	table.print(&out)
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.Equal(t, []string{"boot", "pass", "(1", "s)", "-"}, strings.Fields(lines[1]), "no scenario for that board")
	require.Equal(t, []string{"kill", "not", "run", "FAIL", "(1", "s)"}, strings.Fields(lines[2]))
}

// TestScenariosHaveABoard: which scenarios run under systemd, and which only with
// the init.
func TestScenariosHaveABoard(t *testing.T) {
	b := &bench{}
	names := func(arch string) (out []string) {
		for _, sc := range b.chosen(arch) {
			out = append(out, sc.name)
		}
		return out
	}
	require.Equal(t, []string{installScenario, "bare", "level-lost", "frozen", "kill", "keeper-killed", "power-cut", "upgrade"}, names(managed))
	require.NotContains(t, names("arm64"), installScenario)
	require.Contains(t, names("arm64"), "bare")
	require.Equal(t, names("arm64"), names("armv6"))
	b.only = "upgrade"
	require.Equal(t, []string{installScenario, "upgrade"}, names(managed), "nothing can run before it")
}

func TestConfig(t *testing.T) {
	s := quietScene(t)
	s.site.port = 4711
	text := s.config("offset_mm: 0", "offset_mm: 20")
	require.NoError(t, s.err)
	require.Contains(t, text, "tcp://10.0.3.2:4711")
	require.Contains(t, text, "offset_mm: 20")
	require.NotContains(t, text, "hydrogen:")
	s.config("no such words", "x")
	require.Error(t, s.err, "a change without effect would make a scenario prove nothing")
}

// TestWiringAgrees: the bench's wiring, written by hand, agrees with the file.
func TestWiringAgrees(t *testing.T) {
	w := wired()
	for _, words := range []string{w.Temperature.Pack, w.Temperature.Ambient, w.Relay.Pin, w.Relay.Heartbeat, w.Relay.Feedback.Pin, w.Airflow.Pin, w.Complete.Pin} {
		require.Contains(t, wiredConfig, words)
	}
}

// TestScratchpads: a replaced thermometer has another number, and the old one is
// silent.
func TestScratchpads(t *testing.T) {
	r, err := newRig(t.Context(), 1)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.close()) })
	pad, plugged := r.scratchpad(packSensor)
	require.True(t, plugged)
	require.Equal(t, chips.CRC8(pad[:8]), pad[8])
	_, plugged = r.scratchpad(otherSensor)
	require.False(t, plugged)
	r.exchange()
	_, plugged = r.scratchpad(packSensor)
	require.False(t, plugged)
	_, plugged = r.scratchpad(otherSensor)
	require.True(t, plugged)

	r.fault(sim.BusStuck, true)
	require.ErrorIs(t, converters{r}.Tx(0x48, []byte{1}, nil), chips.ErrStuck)
}

func TestScenariosAreNamedOnce(t *testing.T) {
	names := map[string]bool{}
	short := map[string]int{}
	for _, sc := range scenarios {
		require.False(t, names[sc.name], sc.name)
		names[sc.name] = true
		for arch := range strings.SplitSeq(sc.short, ",") {
			short[arch]++
		}
	}
	require.Positive(t, short["arm64"])
	require.Positive(t, short["armv6"])
}

// TestBrokerExits: a broker that exits fails the scene at once, by name. One that the
// bench ends is not an error.
func TestBrokerExits(t *testing.T) {
	if _, err := exec.LookPath(find("mosquitto")); err != nil && os.Getenv("BAYWARD_REQUIRE_TOOLS") == "" {
		t.Skip("mosquitto is missing")
	}
	s, err := startSite(t.Context(), t.TempDir())
	require.NoError(t, err)
	s.close()
	require.NoError(t, s.lost)

	s = &site{wakeup: make(chan struct{})}
	require.NoError(t, s.start("sh", nil, "-c", "exit 3"))
	t.Cleanup(s.close)
	err = s.await(t.Context(), func([]message) bool { return false })
	require.ErrorContains(t, err, "sh exited unexpectedly: exit status 3")
}

// TestRodsWiring: the ladder of the bench, written by hand, is that of the scenario's
// configuration.
func TestRodsWiring(t *testing.T) {
	s := quietScene(t)
	s.site.port = 4711
	text := s.config(rodsConfig...)
	require.NoError(t, s.err)
	rods := ""
	for _, rod := range ladder.Rods {
		rods += fmt.Sprintf("          - height_mm: %g\n            series_ohm: %g\n", rod.HeightMM, rod.SeriesOhm)
	}
	require.Contains(t, text, fmt.Sprintf(
		"kind: %s\n        adc: %#x\n        channel: %d\n        expander: %#x\n        reference_ohm: %g\n        end_ohm: %g\n        rods:\n%s",
		ladder.Kind, uint16(ladder.ADC), ladder.Channel, uint16(ladder.Expander), ladder.ReferenceOhm, ladder.EndOhm, rods))
}

// TestScope: a pulse lasts from the transfer that drives both pins to the one that opens
// one or changes a level, and the pins are seen without the chip.
func TestScope(t *testing.T) {
	o := newScope(0.5)
	for _, w := range [][]byte{
		{scopeLevels, 1}, {scopePins, 0xfc}, // forward
		{scopeLevels, 0}, {scopePins, 0xfd}, // at rest
		{scopeLevels, 2}, {scopePins, 0xfc}, // reverse
		{scopeLevels, 0}, {scopePins, 0xff},
		{scopeLevels, 0}, {scopePins, 0xfc}, // both low: no pulse
	} {
		o.see(scopeAddr, w)
	}
	o.see(0x48, []byte{scopeLevels, 1})
	require.Equal(t, 2, o.count)
	require.True(t, o.since.IsZero())
	require.Positive(t, o.longest)
}
