package metrics_test

import (
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/require"

	"bayward/agent/metrics"
)

// TestWaterGiven: the water of a visit is counted once, across visits, and what an
// earlier run of the agent counted is not counted again.
func TestWaterGiven(t *testing.T) {
	p := cooling()
	p.Pack.Cells = 3
	c := metrics.New(sources(p))
	for _, given := range [][3]float64{
		{0, 40, 0}, // already in an open visit when the agent started
		{0, 40, 0}, // unchanged
		{100, 40, 0},
		{100, 90, 0}, // 50 more for the second cell
		{0, 0, 0},    // closed
		{0, 0, 20},   // the next visit
	} {
		copy(p.Visit.GivenML[:], given[:])
		c.Ticked(p)
	}
	require.NoError(t, testutil.GatherAndCompare(gatherer(t, c), strings.NewReader(`
# HELP bayward_water_given_liters_total Water recorded for a cell since the agent started; cell 1 is the positive end.
# TYPE bayward_water_given_liters_total counter
bayward_water_given_liters_total{bay="bay-1",cell="1"} 0.1
bayward_water_given_liters_total{bay="bay-1",cell="2"} 0.05
bayward_water_given_liters_total{bay="bay-1",cell="3"} 0.02
`), "bayward_water_given_liters_total"))
}
