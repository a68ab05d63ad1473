package web

import (
	"fmt"
	"net/netip"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// guesser tries wrong PINs without the hashing.
type guesser struct {
	tries
	now time.Time
}

// guess tries until the wait begins, and returns how many were looked at.
func (g *guesser) guess(name string, from netip.Addr) (looked int) {
	for {
		lanes, _ := g.lanes(&attempt{name: name, from: from}, false, g.now)
		if g.wait(lanes, g.now) > 0 {
			return looked
		}
		g.wrong(lanes, g.now)
		looked++
	}
}

// TestTriesFade: one who mistyped is as before within hours, one who guesses on gets
// one try in a quarter of an hour.
func TestTriesFade(t *testing.T) {
	g := &guesser{newTries(), time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	from := netip.MustParseAddr("203.0.113.9")
	g.guess("Boss", from)
	looked := 0
	for range 24 * 60 {
		g.now = g.now.Add(time.Minute)
		looked += g.guess("Boss", from)
	}
	require.InDelta(t, 24*4, looked, 10, "guesses in a day")
	g.now = g.now.Add(3 * time.Hour)
	require.Equal(t, freeOfOne, g.guess("Boss", from), "forgotten")
}

// TestMadeUpNamesFillNothing: the memory of wrong tries is bounded, and made-up names
// and addresses do not make it forget a guess at somebody real.
func TestMadeUpNamesFillNothing(t *testing.T) {
	g := &guesser{newTries(), time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	from := netip.MustParseAddr("203.0.113.9")
	g.guess("Boss", from)
	for n := range maxLanes + 200 {
		a := attempt{name: fmt.Sprint("Somebody ", n), from: netip.AddrFrom4([4]byte{198, 18, byte(n >> 8), byte(n)})}
		lanes, _ := g.lanes(&a, false, g.now)
		g.wrong(lanes, g.now)
		g.right(lane{g.both, "nobody", freeOfOne}, a.name, a.from, g.now)
	}
	for _, all := range []map[string]*tally{g.both, g.addresses, g.people} {
		require.LessOrEqual(t, len(all), maxLanes)
	}
	require.LessOrEqual(t, len(g.signedIn), maxLanes)
	require.Zero(t, g.guess("Boss", from))
}
