package water_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestAMarkIsNoReading: "filled to the mark" lifts the bound of a cell that no reading has
// shown by nothing, and by 2.5 mm where a reading has shown the mark before.
func TestAMarkIsNoReading(t *testing.T) {
	r := newRig(known(), 10)
	r.Level(1, 10)
	r.wait(time.Second, 10, 10)
	before, _ := lowHigh(r, 0)
	r.Mark(1, 13)
	low, high := lowHigh(r, 0)
	require.InDelta(t, before, low, 0.1, "nobody has shown it")
	require.Greater(t, high, 13.0)
	r.Level(1, 13)
	r.lose(3)
	r.wait(time.Hour, 10, 10)
	r.Level(1, 10)
	before, _ = lowHigh(r, 0)
	r.Mark(1, 13)
	low, _ = lowHigh(r, 0)
	require.InDelta(t, before+2.5, low, 0.2, "a reading has shown the mark before")
	r.Level(1, 9) // this one does not
	r.Level(1, 9)
	before, _ = lowHigh(r, 0)
	r.Mark(1, 13)
	low, _ = lowHigh(r, 0)
	require.InDelta(t, before, low, 0.1)
}
