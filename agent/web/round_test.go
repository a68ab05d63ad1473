package web_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
)

// TestRoundOnOverview: the overview adds up the water of the packs that need it. A
// pack with an unknown level is left out of the sum.
func TestRoundOnOverview(t *testing.T) {
	b := newBench(nil, "bay-1", "bay-2", "bay-3")
	for _, name := range []string{"bay-1", "bay-2", "bay-3"} {
		b.step(name)
	}
	water := func(name string, known, due bool, ml float64) {
		b.change(name, func(p *bay.Picture) { p.Water.Known, p.Water.Due, p.Water.TotalML = known, due, ml })
	}
	water("bay-1", true, false, 300)
	water("bay-2", true, false, 400)
	water("bay-3", false, true, 999)
	require.NotContains(t, text(t, b.get("/")), "Water to bring")
	water("bay-1", true, true, 1200)
	water("bay-2", true, true, 800)
	require.Contains(t, text(t, b.get("/")), "Water to bring: 2000 ml.")
}
