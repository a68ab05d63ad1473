package config

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/sensors/level"
)

// TestAlternativesOfTheExample: the other kinds of probe and sensor that stand
// in its comments are accepted as they are.
func TestAlternativesOfTheExample(t *testing.T) {
	example := example(t)
	for _, row := range []struct{ part, kind, keep string }{
		{"level", "rod", "adc: 0x48\n        channel: 2\n"},
		{"level", "ladder", "adc: 0x48\n        channel: 2\n"},
		{"current", "shunt", "adc: 0x49\n"},
	} {
		t.Run(row.kind, func(t *testing.T) {
			marker := "        # kind: " + row.kind + "\n"
			_, after, found := strings.Cut(example, marker)
			require.True(t, found)
			lines := regexp.MustCompile(`^(?: {8}# +(?:- )?[a-z_]+:.*\n)+`).FindString(after)
			require.NotEmpty(t, lines)
			block := regexp.MustCompile(`(?m)^      ` + row.part + `:\n(?:^        .*\n)+`)
			text := block.ReplaceAllString(example, "      "+row.part+":\n        "+row.keep+
				strings.ReplaceAll(marker+lines, "        # ", "        "))
			_, err := Parse("example", []byte(text))
			require.NoError(t, err, text)
		})
	}
}

// TestLoopsAgreeWithTheirReader: what is accepted here can be read by the
// probe's own code, and what that refuses is refused here with its line.
func TestLoopsAgreeWithTheirReader(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ohm := rapid.SampledFrom([]float64{1000, 2200, 4700, 6800, 10000, 15000, 22000, 33000, 47000, 100000, 470000})
		o := level.LoopOpts{
			ExcitationV: rapid.SampledFrom([]float64{1.8, 3.3}).Draw(t, "excitation"),
			PullOhm:     ohm.Draw(t, "pull"), EndOhm: ohm.Draw(t, "end"), Tolerance: level.RodTolerance,
		}
		kind, count := "rod", rapid.IntRange(1, 4).Draw(t, "rods")
		if count > 1 {
			kind, o.Tolerance = "ladder", level.LadderTolerance
		}
		var rods []string
		for i := range count {
			r := level.Rod{HeightMM: 3 + float64(i), SeriesOhm: ohm.Draw(t, "series")}
			o.Rods = append(o.Rods, r)
			rods = append(rods, fmt.Sprintf("{height_mm: %g, series_ohm: %g}", r.HeightMM, r.SeriesOhm))
		}
		text := strings.Replace(small, transmitter, fmt.Sprintf(
			"level: {kind: %s, adc: 0x48, channel: 2, excitation_v: %g, pull_ohm: %g, end_ohm: %g, rods: [%s]}",
			kind, o.ExcitationV, o.PullOhm, o.EndOhm, strings.Join(rods, ", ")), 1)
		_, refusal := level.NewLoop(o)
		_, err := Parse("f", []byte(text))
		if (err == nil) != (refusal == nil) {
			t.Fatalf("here: %v, the reader: %v", err, refusal)
		}
		if err != nil && !strings.HasPrefix(err.Error(), "f:11: field bays[0].wiring.level.rods: must give each state") {
			t.Fatal(err)
		}
	})
}
