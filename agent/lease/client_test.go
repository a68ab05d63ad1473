package lease

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
)

// flakyLink loses frames, and the connection with them.
type flakyLink struct {
	*Local
	fails bool
}

func (l *flakyLink) Exchange(request *[RequestSize]byte, answer *[AnswerSize]byte) error {
	if l.fails {
		l.Drop()
		return errors.New("no answer in time")
	}
	return l.Local.Exchange(request, answer)
}

// two are the relays of two bays behind one link.
func two(t *testing.T, now func() time.Duration) (link *flakyLink, relays [2]*Relay, pins [2]*gpiotest.Pin) {
	var lines []Lines
	for i, name := range []string{"bay-1", "bay-2"} {
		pins[i] = &gpiotest.Pin{N: name}
		lines = append(lines, Lines{Row: Row{Bay: name, Charge: name}, Charge: pins[i]})
	}
	k, err := NewKeeper(lines)
	require.NoError(t, err)
	link = &flakyLink{Local: NewLocal(k, now)}
	client := NewClient(link)
	for i := range lines {
		relays[i] = client.Relay(lines[i].Row)
	}
	return link, relays, pins
}

// TestLostForAnother: an exchange that fails opens the relays of all bays. Each of
// them is reported before it closes again, although its own exchanges never failed.
func TestLostForAnother(t *testing.T) {
	now := time.Hour
	link, relays, pins := two(t, func() time.Duration { return now })
	for _, r := range relays {
		require.NoError(t, r.Lease(now, Longest, true))
	}
	link.fails = true
	require.ErrorIs(t, relays[0].Lease(now, Longest, true), ErrSilent)
	link.fails = false
	require.Equal(t, gpio.Low, pins[1].L)
	require.ErrorIs(t, relays[1].Lease(now, Longest, true), ErrTripped)
	require.Equal(t, gpio.Low, pins[1].L)
	require.False(t, relays[1].Closed())
	for i, r := range relays {
		require.NoError(t, r.Lease(now, Longest, true), "once")
		require.Equal(t, gpio.High, pins[i].L)
	}
}

// TestTripsOfAnEarlierAgent: a keeper that has tripped under another agent closes
// nothing for the first frame of the next one, which is not told that it did.
func TestTripsOfAnEarlierAgent(t *testing.T) {
	now := time.Hour
	link, relays, pins := two(t, func() time.Duration { return now })
	require.NoError(t, relays[0].Lease(now, Longest, true))
	now += Longest
	link.expire()
	client := NewClient(link)
	client.sequence = 100
	r := client.Relay(Row{Bay: "bay-1", Charge: "bay-1"})
	require.ErrorIs(t, r.Lease(now, Longest, true), ErrTripped)
	require.Equal(t, gpio.Low, pins[0].L)
	require.NoError(t, r.Lease(now, Longest, true))
	require.Equal(t, gpio.High, pins[0].L)

	client = NewClient(link)
	client.sequence = 200
	r = client.Relay(Row{Bay: "bay-1", Charge: "bay-1"})
	require.NoError(t, r.Lease(now, 0, true), "no news for an agent that has just begun")
	require.NoError(t, r.Lease(now, Longest, true))
}
