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
	text := read(t, guide)
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

// TestProbeTable: the guide has the voltages of the example's rod and ladder, here
// calculated from the circuit, and the driver reads them as the guide describes.
func TestProbeTable(t *testing.T) {
	text := read(t, guide)
	for name, o := range map[string]level.LoopOpts{
		"rod": {ExcitationV: 3.3, PullOhm: 10e3, EndOhm: 47e3, Tolerance: level.RodTolerance, Rods: []level.Rod{{HeightMM: 3, SeriesOhm: 4700}}},
		"ladder": {ExcitationV: 3.3, PullOhm: 47e3, EndOhm: 100e3, Tolerance: level.LadderTolerance,
			Rods: []level.Rod{{HeightMM: -5, SeriesOhm: 33e3}, {HeightMM: 4, SeriesOhm: 22e3}, {HeightMM: 13, SeriesOhm: 15e3}}},
	} {
		loop, err := level.NewLoop(o)
		if err != nil {
			t.Fatal(err)
		}
		siemens := 1 / o.EndOhm
		for wet := 0; wet <= len(o.Rods); wet++ {
			if wet > 0 {
				siemens += 1 / o.Rods[wet-1].SeriesOhm
			}
			volts := o.ExcitationV / (1 + o.PullOhm*siemens)
			if row := fmt.Sprintf("| %s | %d | %.2f V |", name, wet, volts); !strings.Contains(text, row) {
				t.Errorf("the guide has no row %s", row)
			}
			source := 1 / (siemens + 1/o.PullOhm) // and the input's series resistor, into 6 MΩ
			span, err := loop.Read(volts * 6e6 / (6e6 + 10e3 + source))
			if err != nil || wet > 0 && span.LowMM != o.Rods[wet-1].HeightMM {
				t.Errorf("%s with %d wet: %v, %v", name, wet, span, err)
			}
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

// pump is the watchdog of the guide. Each second edge of the heartbeat charges C2.
type pump struct{ c1, c2, ohm, diodeV, refV float64 }

// drops returns how long after the last rising edge it drops, and how far its
// reservoir stays above the reference meanwhile; a heartbeat is an edge a second.
func (p pump) drops() (afterS, marginV float64) {
	tau, v, peak := p.c2*p.ohm, 0.0, 0.0
	for range 60 {
		v += p.c1 / (p.c1 + p.c2) * max(0, 3.3-2*p.diodeV-v)
		peak = v
		v *= math.Exp(-2 / tau)
	}
	return tau * math.Log(peak/p.refV), v - p.refV
}

// TestWatchdog: over the tolerances of its parts the guide's watchdog holds through
// the heartbeat and drops within the guide's time after its last edge, which may be
// the falling one, a second after the last that charged it. A lease is over by then.
func TestWatchdog(t *testing.T) {
	low, high, margin := math.Inf(1), 0.0, math.Inf(1)
	for i := range 32 {
		at := func(bit int, a, b float64) float64 { return []float64{a, b}[i>>bit&1] }
		after, over := pump{11e-6 * at(0, 0.9, 1.1), 10e-6 * at(1, 0.9, 1.1), 1e6 * at(2, 0.99, 1.01), at(3, 0.35, 0.6), 3.3 * 10 / 34.9 * at(4, 0.98, 1.02)}.drops()
		low, high, margin = min(low, after-1), max(high, after), min(margin, over)
	}
	worst, _ := pump{22e-6 * 1.1, 10e-6 * 1.1, 2e6 * 1.01, 0.35, 3.3 * 10 / 34.9 * 0.98}.drops()
	text := read(t, guide)
	for _, want := range []string{fmt.Sprintf("%.1f to %.1f s after the last edge", low, high), fmt.Sprintf("open it drops within %.0f s", math.Ceil(worst))} {
		if !strings.Contains(text, want) {
			t.Errorf("the guide lacks %q", want)
		}
	}
	if low < 4 || high > 10 || margin < 0.1 {
		t.Errorf("drops after %.1f to %.1f s, with %.2f V to spare", low, high, margin)
	}
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
