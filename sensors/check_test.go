package sensors

import (
	"strings"
	"testing"

	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// TestCheck: Check accepts and refuses the same as Open.
func TestCheck(t *testing.T) {
	if err := Check(wired()); err != nil {
		t.Errorf("a good wiring: %v", err)
	}
	for name, row := range map[string]struct {
		spoil func(*wiring.Parts)
		want  string
	}{
		"bad channel":  {func(w *wiring.Parts) { w.Voltage.Channel = 7 }, "wiring.voltage"},
		"bad range":    {func(w *wiring.Parts) { w.Voltage.RangeV = 3 }, "range_v 3"},
		"bad address":  {func(w *wiring.Parts) { w.Voltage.ADC = 0x20 }, "0x20"},
		"bad sensor":   {func(w *wiring.Parts) { w.Temperature.Pack = "none" }, "wiring.temperature.pack"},
		"bad level":    {func(w *wiring.Parts) { w.Level.Kind = "float" }, "wiring.level"},
		"a dead rod":   {func(w *wiring.Parts) { *w.Level = indistinct(w.Level.Input) }, "wiring.level"},
		"rods crossed": {func(w *wiring.Parts) { *w.Level = crossed(w.Level.Input) }, "wiring.level"},
	} {
		cfg := wired()
		row.spoil(&cfg.Bays[0].Wiring)
		if err := Check(cfg); err == nil || !strings.Contains(err.Error(), row.want) || !strings.Contains(err.Error(), "bay-1") {
			t.Errorf("%s: %v, want one that names bay-1 and %q", name, err, row.want)
		}
	}
}

// indistinct is a ladder whose second rod changes nothing measurable.
func indistinct(in wiring.Input) wiring.Level {
	return wiring.Level{Input: in, Kind: level.Ladder, Expander: 0x20, Settings: level.Settings{
		ReferenceOhm: 10000, EndOhm: 22000, Rods: []level.Rod{{HeightMM: 0, SeriesOhm: 4700}, {HeightMM: 4, SeriesOhm: 1e6}},
	}}
}

// crossed is a ladder that lists its top rod first.
func crossed(in wiring.Input) wiring.Level {
	return wiring.Level{Input: in, Kind: level.Ladder, Expander: 0x20, Settings: level.Settings{
		ReferenceOhm: 10000, EndOhm: 100000, Rods: []level.Rod{{HeightMM: 13, SeriesOhm: 33000}, {HeightMM: 4, SeriesOhm: 22000}},
	}}
}
