package web_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
)

// TestAsManyJarsAsCells: the probe is in one of them. Where it is known which, that
// jar is drawn as measured; else the probe's level is a line across all of them.
func TestAsManyJarsAsCells(t *testing.T) {
	b := newBench(nil, "bay-1")
	for range 3 {
		b.step("bay-1")
	}
	page := text(t, b.get("/bays/bay-1"))
	require.Equal(t, 12, strings.Count(page, `class="jar"`))
	require.Contains(t, page, "line-probe")
	require.NotContains(t, page, "▾")

	pack := *b.picture("bay-1").Pack
	pack.ProbeCell = 4
	b.change("bay-1", func(p *bay.Picture) { p.Pack = &pack })
	page = unescaped(text(t, b.get("/bays/bay-1")))
	require.Equal(t, 12, strings.Count(page, `class="jar"`))
	require.NotContains(t, page, "line-probe")
	require.Contains(t, page, ">4 ▾<")
	require.Contains(t, page, "Cell 4, with the probe: 6 mm, measured by the probe")
	require.NotContains(t, page, "<title>Cell 4:")
}
