package config

import (
	"fmt"
	"math"
	"strings"

	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// DefaultWiring returns the wiring of a simulated bay that has none in the file. It
// has every part that bayward supports, with the bay's own lines, bus and sensor
// numbers, so the same drivers run as on a Pi. bayIndex counts from 0.
func DefaultWiring(bayIndex int, p Pack) wiring.Parts {
	n := bayIndex + 1
	line := func(part string) string { return fmt.Sprintf("SIM%d-%s", n, part) }
	input := func(channel int) wiring.Input {
		return wiring.Input{ADC: 0x48, Channel: channel, RangeV: 4.096, Rate: 128}
	}
	w := wiring.Parts{
		I2C:     fmt.Sprintf("sim-%d", n),
		Voltage: &wiring.Voltage{Input: input(0), Ratio: dividerRatio(p.Cells)},
		Current: hallFor(p, input(1)),
		Temperature: &wiring.Temperature{ // the simulated probe follows the cells' temperature with a lag
			On: "electrolyte", Pack: fmt.Sprintf("28-%012x", 2*n), Ambient: fmt.Sprintf("28-%012x", 2*n+1),
		},
		Level: &wiring.Level{
			Input: input(2), Kind: level.FourTwentyMA,
			Settings: level.Settings{ShuntOhm: 100, LowMM: -20, HighMM: math.Max(30, math.Ceil(p.VentWellMM+5))},
		},
		// 0.5 V at 0 %, 2.5 V at 4 %, as common transmitters with 0.5 to 2.5 V give.
		Hydrogen: &wiring.Analog{Input: input(3), ZeroV: 0.5, PerVolt: 2},
		Relay: &wiring.Relay{
			Pin: line("RELAY"), Heartbeat: line("HEARTBEAT"), Feedback: &wiring.Contact{Pin: line("FEEDBACK"), ActiveLow: true, Normally: "closed"},
		},
	}
	for _, row := range wiring.ContactTable {
		if at := row.Of(&w); *at == nil {
			*at = &wiring.Contact{Pin: line(strings.ToUpper(row.Key)), ActiveLow: true}
		}
	}
	return w
}

// dividerRatio leaves a quarter of headroom above the highest voltage: 11 for 12
// cells at 4.096 V. That also keeps the input below 3.3 V.
func dividerRatio(cells int) float64 {
	return math.Max(2, math.Ceil(1.25*float64(cells)*cellMaxV/4.096))
}

// defaultWiring wires no temperature sensor to a bay with several packs if each of
// them has its own.
func defaultWiring(bayIndex int, packs []*Pack, several bool) wiring.Parts {
	most := *packs[0]
	recognised := several
	for _, p := range packs {
		most.CapacityAh = max(most.CapacityAh, p.CapacityAh)
		most.VentWellMM = max(most.VentWellMM, p.VentWellMM)
		recognised = recognised && p.Sensor != ""
	}
	w := DefaultWiring(bayIndex, most)
	switch {
	case recognised:
		w.Temperature.Pack, w.Temperature.Bus = "", fmt.Sprintf("w1_bus_master%d", bayIndex+2)
	case !several && most.Sensor != "":
		w.Temperature.Pack = most.Sensor
	}
	return w
}

// hallFor returns a sensor centred on half of a 3.3 V supply. Its range is half the
// capacity, as amperes, in either direction.
func hallFor(p Pack, in wiring.Input) *wiring.Current {
	return &wiring.Current{Input: in, Kind: "hall", ZeroV: 1.65, AmperesPerVolt: math.Ceil(p.CapacityAh / 2 / 1.5)}
}
