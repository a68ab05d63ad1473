package main

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"bayward/agent/config"
	"bayward/deploy/wiring/circuit"
)

// has fails for each text that the guide lacks.
func has(t *testing.T, wants ...string) {
	t.Helper()
	text := read(t, guide)
	for _, want := range wants {
		if !strings.Contains(text, want) {
			t.Errorf("the guide lacks %q", want)
		}
	}
}

// TestBillTable: the guide's bill has each line of the circuits' own bill.
func TestBillTable(t *testing.T) {
	for _, i := range circuit.Bill() {
		has(t, fmt.Sprintf("| %s | %s | %d | %d | %d |", i.What, i.Need, i.Count(1), i.Count(4), i.Count(8)))
	}
}

// TestDrawingsShowTheCircuits: each resistor that is calculated with has its value in
// the drawing of its circuit, so that nobody builds another.
func TestDrawingsShowTheCircuits(t *testing.T) {
	drawn := map[string]string{}
	for _, p := range pictures() {
		drawn[p.name] = p.svg()
	}
	for _, row := range []struct {
		c    *circuit.Circuit
		name []string
	}{
		{circuit.Voltage(25, 11), []string{"divider", "input"}}, {circuit.Loop(0.01), []string{"transmitter", "input"}},
		{circuit.Hall(1.65), []string{"current", "input"}}, {circuit.ShuntLead(25, 0, 11), []string{"current", "input"}},
		{circuit.Gas(0.5), []string{"gas", "input"}}, {circuit.Contact(true), []string{"contact"}},
		{circuit.Enable(true, true), []string{"relay", "watchdog"}}, {circuit.OneWire(true), []string{"one-wire"}},
	} {
		text := ""
		for _, name := range row.name {
			text += drawn[name]
		}
		for _, p := range row.c.Parts {
			// R1 is in the guide's table; coils and the gate's resistor are inside a box.
			if p.Kind != circuit.Resistor || p.Given || slices.Contains([]string{"R1a", "R1b", "K1 coil", "KW coil", "coil of Q1", "sensor", "pilot pins", "sensor's lead"}, p.Name) || strings.HasSuffix(p.Name, "at the gate") {
				continue
			}
			if !strings.Contains(text, ohms(p.Ohm)) {
				t.Errorf("%s: %v do not show %s of the %s", row.c.Name, row.name, ohms(p.Ohm), p.Name)
			}
		}
	}
}

// TestSurges calculates what the aims of IEC 61000-4-4 and -4-5 leave: 1 kV through
// 42 Ω, falling by half in 50 µs, and pulses of 50 ns.
func TestSurges(t *testing.T) {
	const (
		surgeV, sourceOhm = 1000.0, 42.0
		tauS              = 50e-6 / math.Ln2
		pulseS            = 50e-9
		clampV, lowV      = 53.0, 13.0 // of the suppressors of 33 and 5 V at the surge's current
		dividerOhm        = 100e3
	)
	amps := surgeV / dividerOhm
	shuntV := clampV * circuit.LoopShuntOhm / (circuit.LoopShuntOhm + circuit.LimitOhm)
	has(t,
		fmt.Sprintf("| %.0f mA for 50 µs, %.0f V across each half of R1; the input rises by %.2f V |", 1000*amps, surgeV/2, amps*tauS/circuit.SlowF),
		fmt.Sprintf("the input rises by %.2f V for a millisecond", surgeV/circuit.SeriesOhm*pulseS/circuit.FastF),
		fmt.Sprintf("53 V at %.0f A; 220 Ω and shunt", surgeV/sourceOhm),
		fmt.Sprintf("%.1f V across the shunt, %.1f mA into", shuntV, 1000*(shuntV-circuit.RailV-circuit.DiodeV)/circuit.SeriesOhm),
		fmt.Sprintf("%.0f mA in the optocoupler's diode", 1000*(clampV-circuit.LedV)/circuit.FieldOhm),
		fmt.Sprintf("%.0f mA in the Pi's own diode", 1000*(lowV-circuit.RailV-0.6)/circuit.OneWireLead),
	)
}

// TestGasSpaceFigures: what the 1-wire run lets into a cell, and how long the pilot pins
// are ahead.
func TestGasSpaceFigures(t *testing.T) {
	has(t,
		fmt.Sprintf("limit a short there to %.0f mA, and to %.0f mA with one of them failed short; its capacitor stores %.1f µJ",
			1000*circuit.RailV/(2*circuit.OneWireFeed), 1000*circuit.RailV/circuit.OneWireFeed, 1e6*circuit.FastF*circuit.RailV*circuit.RailV/2),
		fmt.Sprintf("15 mm ahead they give %.0f ms at 0.5 m/s", 15/0.5),
		fmt.Sprintf("%.1f mA keep them clean", 1000*(circuit.FieldV-circuit.LedV)/circuit.FieldOhm),
	)
}

var header = regexp.MustCompile(`GPIO(\d+)`)

// TestFourBays: the guide's lines for four bays are lines of the header, each used once,
// and a configuration with them is accepted; eight bays would not have them.
func TestFourBays(t *testing.T) {
	text, used := read(t, guide), map[string]bool{"GPIO8": true, "GPIO15": true}
	var bays strings.Builder
	own := [][]int{{2, 3}, {4, 5}, {6, 7}, {12, 13}}
	for i, b := range fourBays {
		row := fmt.Sprintf("| %d | %s | GPIO%d, %d | %s | %s | %s | %s |", i+1, b.bus, own[i][0], own[i][1], b.relay, b.heartbeat, b.mirror, b.complete)
		if !strings.Contains(text, row) {
			t.Errorf("the guide has no row %s", row)
		}
		for _, l := range []string{b.relay, b.heartbeat, b.mirror, b.complete, fmt.Sprintf("GPIO%d", own[i][0]), fmt.Sprintf("GPIO%d", own[i][1])} {
			if used[l] || header.FindString(l) != l {
				t.Errorf("%s is used twice, or is no line", l)
			}
			used[l] = true
		}
		fmt.Fprintf(&bays, `  - name: bay-%d
    pack: lift-24v-%d
    wiring:
      i2c: %s
      voltage: {adc: 0x48, channel: 0, ratio: 11}
      current: {kind: hall, adc: 0x48, channel: 1, amperes_per_volt: 100, zero_v: 1.65}
      temperature: {pack: 28-0316a2795b%02d, ambient: 28-0416b3d1aaff}
      level: {kind: 4-20ma, adc: 0x48, channel: 2, shunt_ohm: 100, low_mm: -20, high_mm: 30}
      hydrogen: {adc: 0x4a, channel: 0, zero_v: 0.5, per_volt: 2}
      relay: {pin: %s, heartbeat: %s, feedback: {pin: %s, active_low: true, normally: closed}}
      airflow: {pin: GPIO15, active_low: true}
      charger_complete: {pin: %s, active_low: true}
`, i+1, i+1, b.bus, i+1, b.relay, b.heartbeat, b.mirror, b.complete)
	}
	yaml := "site: quarry-road\nagent: shed-2\nunits: si\nsensors: wired\nlogbook: {path: /var/lib/bayward/logbook.db}\nbays:\n" + bays.String() + "packs:\n"
	for i := range fourBays {
		yaml += fmt.Sprintf("  - {name: lift-24v-%d, cells: 12, capacity_ah: 225, rate_hours: 20, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130}\n", i+1)
	}
	if _, err := config.Parse("f", []byte(yaml)); err != nil {
		t.Error(err)
	}
	const lines, outputs = 26, 17 // GPIO2 to GPIO27; of these are low at the start
	left := lines - 2*8 - 2 - 1   // relays and heartbeats of eight bays, I²C, 1-wire
	has(t, fmt.Sprintf("need %d of the %d lines that are low at the start", 2*8, outputs), fmt.Sprintf("with I²C and 1-wire %d lines remain", left))
	if left >= 8+1 {
		t.Error("eight bays have a line for everything: the guide says that they do not")
	}
}
