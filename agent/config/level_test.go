package config

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/config/exampletest"
	"bayward/sensors/level"
)

// TestAlternativesOfTheExample: the example shows every kind of probe and current
// sensor, and each is accepted as shown.
func TestAlternativesOfTheExample(t *testing.T) {
	for _, kind := range level.Kinds() {
		c, err := Parse("example", []byte(exampletest.WithLevel(t, string(kind))))
		require.NoError(t, err, kind)
		require.Equal(t, kind, c.Bays[0].Wiring.Level.Kind)
	}
	for _, kind := range []string{"hall", "shunt"} {
		c, err := Parse("example", []byte(exampletest.WithCurrent(t, kind)))
		require.NoError(t, err, kind)
		require.Equal(t, kind, c.Bays[0].Wiring.Current.Kind)
	}
}

// TestLoopsAgreeWithTheirReader: the probe's own code can read every loop accepted
// here; every loop that it refuses is refused here too, with its line.
func TestLoopsAgreeWithTheirReader(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ohm := rapid.SampledFrom([]float64{1000, 2200, 4700, 6800, 10000, 15000, 22000, 33000, 47000, 100000, 470000})
		o := level.LoopOpts{
			ReferenceOhm: rapid.SampledFrom([]float64{4700, 10000, 22000}).Draw(t, "reference"),
			EndOhm:       ohm.Draw(t, "end"), Tolerance: level.RodTolerance,
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
			"level: {kind: %s, adc: 0x49, channel: 0, expander: 0x20, reference_ohm: %g, end_ohm: %g, rods: [%s]}",
			kind, o.ReferenceOhm, o.EndOhm, strings.Join(rods, ", ")), 1)
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
