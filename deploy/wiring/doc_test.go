package main

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bayward/agent/config"
	"bayward/deploy/wiring/circuit"
	"bayward/sensors/level"
)

const guide = "../wiring.md"

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestPicturesAreCurrent: each stored picture is what the generator draws, is
// well-formed, has a description for readers who cannot see it, and is in the guide.
func TestPicturesAreCurrent(t *testing.T) {
	text := read(t, guide) + read(t, "../converters.md")
	for _, p := range pictures() {
		svg := p.svg()
		if kept := read(t, p.name+".svg"); kept != svg {
			t.Errorf("%s.svg is out of date: go run ./deploy/wiring", p.name)
		}
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			_, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", p.name, err)
			}
		}
		if len(p.about) < 40 || !strings.Contains(text, "](wiring/"+p.name+".svg)") {
			t.Errorf("%s has no description, or is not in the guide", p.name)
		}
	}
}

// packs are the rows of the divider table. Resistors are of the E24 series; R2 is 10 kΩ.
var packs = []struct {
	volts, cells int
	r1           float64 // Ω
}{{24, 12, 100e3}, {36, 18, 160e3}, {48, 24, 220e3}, {80, 40, 360e3}}

// TestDividerTable calculates the guide's table from Ohm's law and the data sheet of
// the ADS1115 (SBAS444E: gain error 0.15 % at most, input impedance 6 MΩ at ±4.096
// and ±2.048 V), and checks each ratio with the configuration.
func TestDividerTable(t *testing.T) {
	const (
		r2       = 10e3
		cellMax  = 2.9 // V, as in the configuration's check
		gain     = 0.0015
		inputOhm = 6e6
		supply   = 3.3 // V, of the converter: the input must stay below
	)
	text, example := read(t, guide), read(t, "../bayward.yaml")
	for _, p := range packs {
		ratio := (p.r1 + r2) / r2
		top := float64(p.cells) * cellMax
		in := top / ratio
		amps := top / (p.r1 + r2)
		milliW, uA := 1000*amps*amps*p.r1, 1e6*amps
		step := 1000 * 4.096 / 32768 * ratio
		parts := 100 * (2*0.01*p.r1/(p.r1+r2) + gain + p.r1*r2/(p.r1+r2)/inputOhm) // both 1 % resistors at their worst
		row := fmt.Sprintf("| %d V | %d | %.0f kΩ | %.0f | %.1f V | %.2f V | %.0f mW | %.0f µA | %.1f mV | %.1f %% |",
			p.volts, p.cells, p.r1/1000, ratio, top, in, milliW, uA, step, parts)
		if !strings.Contains(text, row) {
			t.Errorf("the guide has no row\n%s", row)
		}
		if in >= supply {
			t.Errorf("%d V: the input gets %.2f V, above the converter's supply", p.volts, in)
		}
		changed := strings.Replace(example, "ratio: 11", fmt.Sprintf("ratio: %g", ratio), 1)
		changed = strings.Replace(changed, "cells: 12 ", fmt.Sprintf("cells: %d ", p.cells), 1)
		if _, err := config.Parse("f", []byte(changed)); err != nil {
			t.Errorf("%d V: %v", p.volts, err)
		}
	}
}

// TestProbeTable: the guide has the resistances and voltages of the example's rod and
// ladder, here calculated by Ohm's law, and the driver reads them as the guide describes.
func TestProbeTable(t *testing.T) {
	text := read(t, guide)
	for name, o := range map[string]level.LoopOpts{
		"rod": {ReferenceOhm: 10e3, EndOhm: 47e3, Tolerance: level.RodTolerance, Rods: []level.Rod{{HeightMM: 3, SeriesOhm: 4700}}},
		"ladder": {ReferenceOhm: 10e3, EndOhm: 100e3, Tolerance: level.LadderTolerance,
			Rods: []level.Rod{{HeightMM: -5, SeriesOhm: 33e3}, {HeightMM: 4, SeriesOhm: 22e3}, {HeightMM: 13, SeriesOhm: 15e3}}},
	} {
		loop, err := level.NewLoop(o)
		if err != nil {
			t.Fatal(err)
		}
		siemens := 1 / o.EndOhm
		for wet := 0; wet <= len(o.Rods); wet++ {
			backV := 0.0
			if wet > 0 {
				siemens += 1 / o.Rods[wet-1].SeriesOhm
				backV = 0.01
			}
			amps := 3.3 / (20e3 + 1/siemens)
			probeV, referenceV := amps/siemens, amps*10e3
			if row := fmt.Sprintf("| %s | %d | %.1f kΩ | %.2f V | %.2f V |", name, wet, 1/siemens/1000, probeV, referenceV); !strings.Contains(text, row) {
				t.Errorf("the guide has no row %s", row)
			}
			span, err := loop.Read(&level.Signal{
				Forward: level.Pulse{ProbeV: probeV, ReferenceV: referenceV, RestV: backV},
				Reverse: level.Pulse{ProbeV: -probeV, ReferenceV: -referenceV, RestV: -backV},
			})
			if err != nil || wet > 0 && span.LowMM != o.Rods[wet-1].HeightMM {
				t.Errorf("%s with %d wet: %v, %v", name, wet, span, err)
			}
		}
	}
}

// TestProbeEnergy: the guide's figures of what a probe's circuits put into the gas space.
func TestProbeEnergy(t *testing.T) {
	text := read(t, guide)
	const volts, ohm, farad, seriesOhm = 3.3, 10e3, 2.2e-6, 1.02e6
	for _, want := range []string{
		fmt.Sprintf("A short carries %.2f mA, with one of the two resistors shorted %.2f mA", 1000*volts/(2*ohm), 1000*volts/ohm),
		fmt.Sprintf("C1 stores %.0f µJ", 1e6*farad*volts*volts/2),
		fmt.Sprintf("leaves %.1f µC", 1e6*farad*volts),
		fmt.Sprintf("a pulse carries %.1f µC at most", 1e6*volts/(2*ohm)*0.008),
		fmt.Sprintf("10 m of cable store %.0f nJ", 1e9*10*100e-12*volts*volts/2),
		fmt.Sprintf("with 25 V it passes %.2f mA", 1000*25/seriesOhm),
		fmt.Sprintf("need 2 × 1 MΩ: %.2f mA at 116 V", 1000*116/2e6),
		fmt.Sprintf("the %.2f mA of the pulse", 1000*volts/100e3),
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the guide lacks %q", want)
		}
	}
}

// TestInputTable calculates what every input's resistor and diodes carry in the faults
// of the guide, and checks it with the limits of the parts: 10 mA into an input, the
// current of the resistor across the supply, 5.5 V of a supply, 0.25 W.
func TestInputTable(t *testing.T) {
	const (
		series, bleeder = 10e3, 1e3
		supply, diode   = 3.3, 0.7
		shunt, limit    = 100.0, 220.0
	)
	text := read(t, guide)
	for _, f := range []struct {
		name    string
		volts   float64
		railOhm float64 // of a supply that is off
	}{
		{"transmitter's terminals shorted in the box, 24 V", 24 * shunt / (shunt + limit), 0},
		{"the same without the 220 Ω, 24 V + 10 %", 26.4, 0},
		{"the same, converter without supply", 26.4, bleeder},
		{"24 V reversed, + 10 %", -26.4, 0},
	} {
		amps := (f.volts - supply - diode) / series
		switch {
		case f.volts < 0:
			amps = (-f.volts - diode) / series
		case f.railOhm > 0:
			amps = (f.volts - diode) / (series + f.railOhm)
		}
		power := amps * amps * series
		digits := map[bool]string{true: "%.1f", false: "%.0f"}[power < 0.01]
		row := fmt.Sprintf("| %s | %.1f V | %.2f mA | "+digits+" mW |", f.name, f.volts, 1000*amps, 1000*power)
		if !strings.Contains(text, row) {
			t.Errorf("the guide has no row\n%s", row)
		}
		if f.volts > 0 && f.railOhm == 0 && amps > supply/bleeder || amps*f.railOhm > 5.5 || amps > 0.010 || power > 0.25 {
			t.Errorf("%s: %.2f mA, %.0f mW: beyond the parts' ratings", f.name, 1000*amps, 1000*power)
		}
	}
	short := 24 / (shunt + limit)
	for _, want := range []string{
		fmt.Sprintf("limits a short in the box to %.0f mA: %.1f W in it and %.1f W in the shunt", 1000*short, short*short*limit, short*short*shunt),
		fmt.Sprintf("together still have %.1f V", 24-0.021*(shunt+limit)),
		fmt.Sprintf("that is %.0f mA, %.1f W in the shunt", 1000*24/shunt, 24*24/shunt),
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the guide lacks %q", want)
		}
	}
}

// TestWatchdog: the guide has the times of the watchdog over the tolerances of its parts,
// and with the faults that make it slower.
func TestWatchdog(t *testing.T) {
	low, high := math.Inf(1), 0.0
	for i := range 64 {
		at := func(bit int, a, b float64) float64 { return []float64{a, b}[i>>bit&1] }
		p := circuit.NewPump(circuit.Fault{}).Spread(at(0, 0.9, 1.1), at(1, 0.9, 1.1), at(2, 0.99, 1.01), at(3, 0.98, 1.02), at(4, 0.35, 0.6))
		holds := p.Watch(40 + i>>5).HoldsS // the last edge is a falling or a rising one
		low, high = min(low, holds), max(high, holds)
	}
	slow := func(name string) float64 {
		f := circuit.Fault{Part: circuit.Part{Name: name}, Failure: circuit.Open}
		return math.Ceil(max(circuit.NewPump(f).Watch(40).HoldsS, circuit.NewPump(f).Watch(41).HoldsS))
	}
	has(t, fmt.Sprintf("drops %.1f to %.1f s after the last edge", low, high),
		fmt.Sprintf("with the 10 kΩ or one 1.82 MΩ open it drops within %.0f and %.0f s", slow("10 kΩ"), slow("first 1.82 MΩ")))
}

// TestRipple: the guide's figures for its capacitors.
func TestRipple(t *testing.T) {
	text := read(t, guide)
	for name, ohm := range map[string]float64{"9.1 kΩ": 9.09e3, "10 kΩ": 10e3} {
		hz := 1 / (2 * math.Pi * ohm * 10e-6)
		smaller := math.Hypot(1, 100/hz)
		if want := fmt.Sprintf("%.1f Hz", hz); !strings.Contains(text, want) || !strings.Contains(text, fmt.Sprintf("%.0f times", smaller)) {
			t.Errorf("%s: the guide lacks %s or %.0f times", name, want, smaller)
		}
		if settles := 5 * ohm * 10e-6; settles > 0.5 {
			t.Errorf("%s: follows a step within %.2f s", name, settles)
		}
	}
}

// TestInsulation: the guide's limits for the voltages over the resistor, from the
// circuit: each pole's leak and the resistor divide the pack's voltage.
func TestInsulation(t *testing.T) {
	text := read(t, guide)
	const known = 100e3
	// A leak at one pole alone shows only over the resistor at the other.
	most := func(volts, ohm float64) string { return fmt.Sprintf("%.1f V at %g V", volts*known/(known+ohm), volts) }
	for _, ohm := range []float64{1e6, 50e3} {
		if want := "at most " + most(25.2, ohm) + ", " + most(116, ohm); !strings.Contains(text, want) {
			t.Errorf("the guide lacks %q", want)
		}
	}
	for _, leak := range [][2]float64{{1e6, 3e6}, {200e3, 20e6}, {5e6, 80e3}} {
		g, p, m := 1/known, 1/leak[0], 1/leak[1]
		u1, u2 := 116*m/(g+p+m), 116*p/(g+p+m)
		if got, want := known*(116-u1-u2)/(u1+u2), 1/(p+m); math.Abs(got/want-1) > 1e-9 || (u1 < u2) != (p > m) {
			t.Errorf("leaks %v: the guide's formula gives %g, want %g", leak, got, want)
		}
	}
}

var block = regexp.MustCompile("(?s)```sh\n(.*?)```")

// TestGuideCommands runs every command of the guide that is not marked "by hand".
func TestGuideCommands(t *testing.T) {
	dir := t.TempDir()
	program := filepath.Join(dir, "bayward")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", program, "../../agent").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	for from, to := range map[string]string{"../bayward.yaml": "bayward.yaml"} {
		if err := os.WriteFile(filepath.Join(dir, to), []byte(read(t, from)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ran := 0
	for _, b := range block.FindAllStringSubmatch(read(t, guide), -1) {
		for _, line := range strings.Split(strings.TrimSpace(b[1]), "\n") {
			if strings.Contains(line, "# by hand") || testedElsewhere(t, line) {
				continue
			}
			c := exec.CommandContext(t.Context(), "sh", "-c", line)
			c.Dir, c.Env = dir, append(os.Environ(), "PATH="+dir+":"+os.Getenv("PATH"))
			out, err := c.CombinedOutput()
			if err != nil || len(out) == 0 && !strings.Contains(line, ">") {
				t.Errorf("%s: %v\n%s", line, err, out)
			}
			ran++
		}
	}
	if ran < 4 {
		t.Errorf("only %d commands ran", ran)
	}
}

var testedBy = regexp.MustCompile(`# tested by (\S+)$`)

// testedElsewhere reports whether a line names what tests it. That must exist: a
// test of the agent, or the package's probe with the same command.
func testedElsewhere(t *testing.T, line string) bool {
	t.Helper()
	by := testedBy.FindStringSubmatch(line)
	switch {
	case by == nil:
		return false
	case by[1] == "deploy/package/probe":
		command := strings.TrimSpace(strings.TrimPrefix(strings.TrimSuffix(line, by[0]), "sudo "))
		if !strings.Contains(read(t, "../package/probe"), command) {
			t.Errorf("deploy/package/probe does not run: %s", command)
		}
		return true
	}
	tests, err := filepath.Glob("../../agent/*_test.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range tests {
		if strings.Contains(read(t, path), "func "+by[1]+"(t *testing.T)") {
			return true
		}
	}
	t.Errorf("agent has no such test: %s", line)
	return true
}

// TestGuideCautions: the guide contains its cautions.
func TestGuideCautions(t *testing.T) {
	text := strings.Join(strings.Fields(read(t, guide)), " ")
	for _, want := range []string{
		"not a certified safety device", "licensed electrician", "local code", "independent", "eyewash", "face shield", "never the mains", "fuse",
	} {
		if !strings.Contains(strings.ToLower(text), want) {
			t.Errorf("the guide lacks %q", want)
		}
	}
}
