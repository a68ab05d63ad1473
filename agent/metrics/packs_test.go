package metrics_test

import (
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/prometheus/common/expfmt"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/metrics"
)

// TestABayThatDoesNotKnowItsPack shows nothing about a pack's limits, and its own
// counters stay.
func TestABayThatDoesNotKnowItsPack(t *testing.T) {
	setup := baytest.Setup("bay-1")
	setup.Packs = baytest.Packs("a")
	p, _ := bay.New(setup).Step(&bay.Readings{})
	q := p.Clone()
	q.Totals.InAh = 10
	text, err := testutil.GatherAndFormat(gatherer(t, metrics.New(sources(q))), expfmt.TypeTextPlain, contract...)
	require.NoError(t, err)
	s := string(text)
	require.NotContains(t, s, "bayward_bay_info{")
	require.NotContains(t, s, "bayward_electrolyte_level_limit_meters{")
	require.Contains(t, s, `bayward_charge_coulombs_total{bay="bay-1"} 36000`)
	require.Contains(t, s, `bayward_finding{bay="bay-1",code="pack-unknown"} 0`, "no pack seen yet")
}
