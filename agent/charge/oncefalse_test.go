package charge_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestNightsOnceFalse are the nights of TestNights in which old or sulfated plates were once
// called full below 90 % of their charge, most of them in a cold pack: by a tail that was
// ended, by a floor of the current that was not gas, by a rise, by a finish that was
// steady for hours, and by a float that was taken for a charge's voltage because the pack
// was hot.
func TestNightsOnceFalse(t *testing.T) {
	s := spread{sulfated: 0.2, old: 0.25, short: 0.12, weak: 0.15}
	for _, c := range []struct {
		kind string
		seed uint64
	}{
		{"IU that ends", 58901252},
		{"IU that ends", 96101872},
		{"IU that ends", 96102709},
		{"IU with float", 96102369},
		{"IU with float", 114703454},
		{"IU held on", 96105125},
		{"two-rate", 58900070},
		{"taper", 58901834},
		{"taper", 96101090},
		{"taper", 114702733},
		{"pulsed", 58902796},
		{"pulsed", 114701804},
		{"timer", 58902609},
		{"timer with float", 226300853},
	} {
		t.Run(fmt.Sprintf("model: %s %d", c.kind, c.seed), func(t *testing.T) {
			o := makeNight(c.seed, c.kind, s).play(c.seed, false, false)
			require.False(t, o.everFull && o.socAtFull < notFull, "by %v at %.3f", o.by, o.socAtFull)
		})
	}
}
