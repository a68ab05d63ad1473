package campaign

import (
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/deploy/wiring/circuit"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

var update = flag.Bool("update", false, "write deploy/wiring/faults.md again")

// board is one circuit of the wiring guide in front of a converter's input.
type board struct {
	title  string
	key    string         // of the input in the wiring
	sensor reading.Sensor // that is read through it
	unit   string
	wiring func(*wiring.Parts)
	// built is the circuit with what its sensor sends now, from the voltage that its
	// sound input has, and the pack's voltage.
	built func(inputV, packV float64) *circuit.Circuit
	// reads is what the converter reads, key by key.
	reads map[string]func(*circuit.State) float64
	also  reading.Sensor // read through the same parts, if adds
	adds  bool           // the sensor sends a difference: nothing is calibrated
	// hide makes what the sensor must find, nil where it blocks nothing by itself.
	hide func(*rig)
}

func across(node, against string) func(*circuit.State) float64 {
	return func(s *circuit.State) float64 { return s.Volts(node, against) }
}

var shunt = 3

var boards = []board{
	{
		title: "Pack voltage", key: "voltage", sensor: reading.PackVoltage, unit: "V",
		built: func(_, packV float64) *circuit.Circuit { return circuit.Voltage(packV, 11) },
		reads: map[string]func(*circuit.State) float64{"voltage": across("in", "gnd")},
	},
	{
		title: "Level transmitter, 4 to 20 mA", key: "level", sensor: reading.ElectrolyteLevel, unit: "mm",
		built: func(v, _ float64) *circuit.Circuit { return circuit.Loop(v / circuit.LoopShuntOhm) },
		reads: map[string]func(*circuit.State) float64{"level": across("in", "gnd")},
		hide:  func(r *rig) { r.pour(-leakML) },
	},
	{
		title: "Current, Hall sensor", key: "current", sensor: reading.PackCurrent, unit: "A",
		built: func(v, _ float64) *circuit.Circuit { return circuit.Hall(v) },
		reads: map[string]func(*circuit.State) float64{"current": across("in", "gnd")},
	},
	{
		title: "Current, shunt in the minus lead", key: "current", sensor: reading.PackCurrent, unit: "A",
		wiring: func(w *wiring.Parts) {
			w.Current = &wiring.Current{Input: w.Current.Input, Kind: "shunt", Minus: &shunt, AmperesPerVolt: 2500}
			w.Current.Channel, w.Current.RangeV = 1, 0.256
			w.Hydrogen = nil
		},
		built: func(v, packV float64) *circuit.Circuit { return circuit.ShuntLead(packV, v, 11) },
		reads: map[string]func(*circuit.State) float64{"current": across("in", "low"), "voltage": across("divided", "gnd")},
		also:  reading.PackVoltage, adds: true,
	},
	{
		title: "Hydrogen sensor", key: "hydrogen", sensor: reading.Hydrogen, unit: "%",
		built: func(v, _ float64) *circuit.Circuit { return circuit.Gas(v) },
		reads: map[string]func(*circuit.State) float64{"hydrogen": across("in", "gnd")},
		hide:  func(r *rig) { r.truth.GiveGas(2.5) },
	},
}

// protection is what fails without a difference in any reading: it takes a second fault
// to do harm. TestRatings of the circuits shows that none of these destroys another part.
const protection = "nothing differs: a protection is lost, and only a second fault does harm"

// unseen are the faults that change a reading and that nothing reports.
var unseenFaults = map[string]string{
	"Current, Hall sensor, series resistor short":                        "2 % more, as its zero: the zero is taken off at the next rest; the walk, beside a clamp meter",
	"Current, Hall sensor, 470 kΩ to ground open":                        "2 % more, as its zero: the zero is taken off at the next rest; the walk, beside a clamp meter",
	"Current, Hall sensor, diode to the supply short":                    "`contactor-stuck`, by current, when the charge has ended",
	"Current, shunt in the minus lead, F2 open":                          "compare the voltage with a meter, once a year at the walk",
	"Current, shunt in the minus lead, capacitor short":                  "`current-unknown` in the next charge, after ten minutes above 2.35 V a cell",
	"Current, shunt in the minus lead, diode from ground, channel short": "a wrong scale: the walk, beside a clamp meter",
	"Current, shunt in the minus lead, diode from ground, minus short":   "a wrong scale: the walk, beside a clamp meter",
}

// leaks are the worst cases of diodes that leak, which an input floats on when its
// resistor is open.
var leaks = []struct{ up, down float64 }{{circuit.DiodeLeakA, 0}, {0, circuit.DiodeLeakA}}

// failed returns the board's circuit with a fault and leaking diodes.
func (b *board) failed(f circuit.Fault, inputV, packV float64, leak int) *circuit.Circuit {
	c := b.built(inputV, packV).With(f.Part.Name, f.Failure)
	for i := range c.Parts {
		switch p := &c.Parts[i]; {
		case p.Kind != circuit.Diode:
		case strings.HasPrefix(p.Name, "diode to the supply"):
			p.LeakA = leaks[leak].up
		case strings.HasPrefix(p.Name, "diode from ground"):
			p.LeakA = leaks[leak].down
		}
	}
	return c
}

// breaks puts a fault into a bay. The simulator's inputs have no parts before them and
// get what the fault changes; without its supply a converter is silent.
func (b *board) breaks(r *rig, f circuit.Fault, leak int) {
	solve := func(c *circuit.Circuit) *circuit.State {
		s, err := c.Solve()
		require.NoError(r.t, err)
		return s
	}
	sound := solve(b.built(0.5, 25))
	if broken := solve(b.failed(f, 0.5, 25, leak)); sound.Volts("rail", "gnd") > 3 && broken.Volts("rail", "gnd") < 2 { // SBAS444E: 2 V at least
		r.truth.SetFault(sim.ADCAbsent, true)
		return
	}
	last := map[string]float64{b.key: 0.5}
	for key, read := range b.reads {
		r.truth.SetInput(key, func(v float64) float64 {
			last[key] = v
			packV := last["voltage"] * 11
			if packV == 0 {
				packV = 25
			}
			broken, sound := read(solve(b.failed(f, last[b.key], packV, leak))), read(solve(b.built(last[b.key], packV)))
			if b.adds && key == b.key {
				return v + broken - sound
			}
			return v * broken / sound // the calibration takes what the sound parts cost
		})
	}
}

// tell is what is read of a sensor.
func (b *board) tell(p *bay.Picture) (text string, value float64, ok bool) {
	seen := p.Seen.Of(b.sensor)
	value, fault := seen.Value, seen.Fault
	if b.sensor == reading.ElectrolyteLevel {
		value, fault = p.Seen.Level.LowMM, p.Seen.Level.Fault
	}
	if fault != reading.None {
		return fault.String(), 0, false
	}
	text = fmt.Sprintf("%.4g %s", value, b.unit)
	if v := p.Seen.Of(b.also); b.adds && v.OK() {
		text += fmt.Sprintf(", %.4g V", v.Value)
	}
	return text, value, true
}

// outcome is what a fault during a charge led to.
type outcome struct {
	read    string
	finding interlock.Code
	after   time.Duration
	blocked bool
	differs bool
}

// bound is the longest time until a fault is found: the stale time of a reading and a
// raise time.
const bound = 15 * time.Second

// during breaks a part in a running charge and watches it.
func (b *board) during(r *rig, f circuit.Fault, leak int) (o outcome) {
	before := r.loop.Pictures()[0].Codes()
	_, was, _ := b.tell(r.loop.Pictures()[0])
	b.breaks(r, f, leak)
	for after := tick; after <= bound; after += tick {
		p := r.tick()
		text, value, ok := b.tell(p)
		if after <= 10*time.Second {
			o.read = text
			o.differs = o.differs || !ok || math.Abs(value-was) > 0.02*math.Abs(was)+0.3
		}
		if o.after != 0 {
			continue
		}
		if !p.Permit.Granted {
			o.finding, o.after, o.blocked = p.FirstReason(), after, true
			continue
		}
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			if p.Findings[c].Raised && !slices.Contains(before, c.String()) {
				o.finding, o.after = c, after
			}
		}
	}
	return o
}

// TestSingleFaults breaks every part of every drawn circuit, open and short, while a
// charge runs, and before one with the danger that its sensor is there for: no fault
// hides that danger and lets a charge begin, and each that changes a reading is found.
// The table is deploy/wiring/faults.md.
func TestSingleFaults(t *testing.T) {
	var doc strings.Builder
	doc.WriteString(faultsHead)
	n, silent := 0, 0
	for i := range boards {
		b := &boards[i]
		fmt.Fprintf(&doc, "\n## %s\n\n| part | fails | the converter reads | found | after |\n| --- | --- | --- | --- | --- |\n", b.title)
		for _, f := range b.built(0.5, 25).Faults() {
			o := b.worst(t, f)
			n++
			name := fmt.Sprintf("%s, %s %v", b.title, f.Part.Name, f.Failure)
			found, after := "`"+o.finding.String()+"`", fmt.Sprintf("%.0f s", o.after.Seconds())
			why, listed := unseenFaults[name]
			switch {
			case o.after != 0 && o.blocked:
				found += ", blocked"
			case o.after != 0:
			case !o.differs:
				found, after = protection, ""
			case listed:
				found, after = "**not found**: "+why, ""
			default:
				t.Errorf("%s: reads %s, and nothing is found", name, o.read)
			}
			if listed == (o.after != 0 || !o.differs) {
				t.Errorf("%s: listed as unseen %v", name, listed)
			}
			if o.after == 0 {
				silent++
			}
			fmt.Fprintf(&doc, "| %s | %v | %s | %s | %s |\n", f.Part.Name, f.Failure, o.read, found, after)
		}
	}
	writeProbes(t, &doc)
	writeContacts(t, &doc)
	writeOutputs(t, &doc)
	writeOneWire(t, &doc)
	t.Logf("figure: single faults of converter inputs %d, without a difference or not found %d", n, silent)
	const path = "../../deploy/wiring/faults.md"
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(doc.String()), 0o600))
	}
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(kept), doc.String(), "go test ./agent/campaign -run SingleFaults -update")
}

const faultsHead = `# Single faults of the drawn circuits

CAUTION. These are calculated figures of circuits that nobody has built yet. bayward is not a certified safety
device; the charger's own protection and an independent cut-off stay. Work on a battery, a charger or the mains
is for qualified people under the local code.

Each part of the drawings in [wiring.md](../wiring.md) fails open and short, one at a time, during a charge of the
simulated 24 V bay. The voltage that then reaches the converter is calculated from the drawings' values
(` + "`deploy/wiring/circuit`" + `); drivers and core then read it as in service. Where an input floats, the worse of two leaking
diodes is shown. No fault lets a charge begin that the sound circuit would block, none puts more than 3.3 V on a
line of the Pi, and none lets more than the design aims into the gas space.

Written by ` + "`go test ./agent/campaign -run SingleFaults -update`" + `.
`

// worst tries a fault with each leak, in a charge and before one.
func (b *board) worst(t *testing.T, f circuit.Fault) (worst outcome) {
	t.Helper()
	for leak := range leaks {
		synctest.Test(t, func(t *testing.T) {
			r := b.rig(t)
			defer func() { _ = r.loop.Stop(time.Second) }()
			r.charge()
			o := b.during(r, f, leak)
			if leak == 0 || o.after == 0 || worst.after != 0 && o.after > worst.after {
				worst = o
			}
			if strings.HasPrefix(unseenFaults[b.title+", "+f.Part.Name+" "+f.Failure.String()], "`contactor-stuck`") {
				r.order(order.Hold, "")
				_, found := r.until(10*time.Second, func(p *bay.Picture) bool { return p.Findings[interlock.ContactorStuck].Raised })
				require.True(t, found, f.Part.Name)
			}
			if o.after == 0 && b.hide != nil { // a silent fault must not hide what comes then
				b.hide(r)
				if after, found := r.until(20*time.Second, func(p *bay.Picture) bool { return !p.Permit.Granted }); !found {
					t.Errorf("%s, %s %v: hides the danger for %v", b.title, f.Part.Name, f.Failure, after)
				}
			}
		})
		if b.hide == nil {
			continue
		}
		synctest.Test(t, func(t *testing.T) {
			r := b.rig(t)
			defer func() { _ = r.loop.Stop(time.Second) }()
			b.hide(r)
			b.breaks(r, f, leak)
			if _, granted := r.until(5*time.Minute, func(p *bay.Picture) bool { return p.Permit.Granted }); granted {
				t.Errorf("%s, %s %v: a permit in danger", b.title, f.Part.Name, f.Failure)
			}
		})
	}
	return worst
}

func (b *board) rig(t *testing.T) *rig {
	t.Helper()
	w := config.DefaultWiring(0, pack)
	require.Equal(t, 11.0, w.Voltage.Ratio)
	if b.wiring != nil {
		b.wiring(&w)
	}
	return newRigOf(t, w, nil, nil)
}

// contactBoards are the contacts, with what a wire or part that fails does in a charge.
var contactBoards = []struct {
	key, title string
	breaks     bool
	unseen     map[sim.Wires]string
}{
	{"relay.feedback", "mirror contact, `normally: closed`", true, map[sim.Wires]string{
		sim.WiresBroken: "reads closed, as it is: `contactor-stuck` 3 s after the charge",
	}},
	{"airflow", "airflow switch", false, map[sim.Wires]string{
		sim.WiresTouch: "reads air, as there is; **hides a fan that stops** until it is next stopped on purpose, once a month. A fan's failure also acts on the independent cut-off",
	}},
	{"charger_complete", "charger's contact, `normally: open`", false, map[sim.Wires]string{
		sim.WiresBroken: "not complete: it proves nothing, as without it",
		sim.WiresTouch:  "complete: it counts only if it was not complete earlier in that charge",
	}},
}

// writeContacts writes what the faults of a contact's circuit make of each contact.
func writeContacts(t *testing.T, doc *strings.Builder) {
	t.Helper()
	parts := map[sim.Wires][]string{}
	for _, f := range circuit.Contact(true).Faults() {
		low := func(closed bool) bool {
			s, err := circuit.Contact(closed).With(f.Part.Name, f.Failure).Solve()
			require.NoError(t, err)
			return s.Volts("pin", "gnd") < 0.8
		}
		name, as := fmt.Sprintf("%s %v", f.Part.Name, f.Failure), sim.WiresSound
		switch {
		case name == "3.9 kΩ short": // burns the optocoupler's diode
			as = sim.WiresBroken
		case name == "wires short":
			as = sim.WiresTouch
		case low(false):
			as = sim.WiresTouch
		case !low(true):
			as = sim.WiresBroken
		}
		parts[as] = append(parts[as], name)
	}
	doc.WriteString("\n## Contacts\n\n")
	fmt.Fprintf(doc, "- reads open: %s. (3.9 kΩ short burns the optocoupler's diode.)\n", strings.Join(parts[sim.WiresBroken], "; "))
	fmt.Fprintf(doc, "- reads closed: %s.\n", strings.Join(parts[sim.WiresTouch], "; "))
	fmt.Fprintf(doc, "- no difference: %s.\n", strings.Join(parts[sim.WiresSound], "; "))
	doc.WriteString("\n| contact | circuit reads | found in a charge | after |\n| --- | --- | --- | --- |\n")
	for _, c := range contactBoards {
		for _, w := range []sim.Wires{sim.WiresBroken, sim.WiresTouch} {
			synctest.Test(t, func(t *testing.T) {
				r := newRig(t, nil, nil)
				defer func() { _ = r.loop.Stop(time.Second) }()
				r.charge()
				r.truth.SetWires(c.key, w)
				code, after := r.news(2 * time.Minute)
				reads := map[sim.Wires]string{sim.WiresBroken: "open", sim.WiresTouch: "closed"}[w]
				why, unseen := c.unseen[w]
				require.Equal(t, unseen, code == interlock.NoCode, "%s %s: %v", c.key, reads, code)
				if unseen {
					fmt.Fprintf(doc, "| %s | %s | %s | |\n", c.title, reads, why)
					return
				}
				fmt.Fprintf(doc, "| %s | %s | `%v` | %.0f s |\n", c.title, reads, code, after.Seconds())
			})
		}
	}
}

// news ticks until the permit goes or a finding comes.
func (r *rig) news(most time.Duration) (code interlock.Code, after time.Duration) {
	before := r.loop.Pictures()[0].Codes()
	after, _ = r.until(most, func(p *bay.Picture) bool {
		if !p.Permit.Granted {
			code = p.FirstReason()
			return true
		}
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			if p.Findings[c].Raised && !slices.Contains(before, c.String()) {
				code = c
				return true
			}
		}
		return false
	})
	return code, after
}

// writeOutputs writes what the faults between the Pi and the contactor lead to.
func writeOutputs(t *testing.T, doc *strings.Builder) {
	t.Helper()
	kinds := map[string][]string{}
	closes := func(c *circuit.Circuit, f circuit.Fault) bool {
		s, err := c.With(f.Part.Name, f.Failure).Solve()
		require.NoError(t, err)
		return circuit.Energised(s)
	}
	for _, f := range circuit.Enable(true, true).Faults() {
		name, kind := fmt.Sprintf("%s %v", f.Part.Name, f.Failure), "same"
		require.False(t, closes(circuit.Enable(false, false), f), name)
		switch {
		case !closes(circuit.Enable(true, true), f):
			kind = "open"
		case closes(circuit.Enable(false, true), f):
			kind = "relay"
		case closes(circuit.Enable(true, false), f):
			kind = "watchdog"
		}
		kinds[kind] = append(kinds[kind], name)
	}
	found := func(f sim.FaultKind, hold bool) (code interlock.Code, told, opened time.Duration) {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, nil, nil)
			defer func() { _ = r.loop.Stop(time.Second) }()
			r.charge()
			r.truth.SetFault(f, true)
			if hold {
				r.order(order.Hold, "")
				told, _ = r.until(time.Minute, func(p *bay.Picture) bool { return p.Findings[interlock.ContactorStuck].Raised })
				more, ok := r.until(time.Minute, func(*bay.Picture) bool { return !r.truth.Truth().ContactorClosed })
				if ok {
					opened = told + more
				}
				code = interlock.ContactorStuck
				return
			}
			code, told = r.news(time.Minute)
		})
		return code, told, opened
	}
	doc.WriteString("\n## From the Pi to the contactor\n\n| failed part | what follows | found | after |\n| --- | --- | --- | --- |\n")
	code, told, _ := found(sim.ContactorStuckOpen, false)
	fmt.Fprintf(doc, "| %s | no charge | `%v` | %.0f s |\n", strings.Join(kinds["open"], "; "), code, told.Seconds())
	code, told, opened := found(sim.RelayStuck, true)
	require.NotZero(t, opened)
	fmt.Fprintf(doc, "| %s | K1 does not open; the heartbeat stops and KW opens Q1 %.0f s after the order | `%v` | %.0f s |\n", strings.Join(kinds["relay"], "; "), opened.Seconds(), code, told.Seconds())
	fmt.Fprintf(doc, "| %s | KW does not drop; K1 still opens Q1 | the walk stops the heartbeat | once a year |\n", strings.Join(kinds["watchdog"], "; "))
	writeWatchdog(t, doc)
	code, told, opened = found(sim.ContactorWelded, true)
	require.Zero(t, opened)
	fmt.Fprintf(doc, "| pole of Q1 welded | **nothing here stops the charge**: the independent cut-off and Q2 do | `%v` | %.0f s |\n", code, told.Seconds())
	fmt.Fprintf(doc, "| %s | %s | | |\n", strings.Join(kinds["same"], "; "), protection)
}

// writeWatchdog writes what the faults of the watchdog's pump lead to, whose relay is in
// series.
func writeWatchdog(t *testing.T, doc *strings.Builder) {
	t.Helper()
	kinds, slowest := map[string][]string{}, 0.0
	for _, f := range circuit.PumpFaults() {
		a, b := circuit.NewPump(f).Watch(40), circuit.NewPump(f).Watch(41)
		name, holds := fmt.Sprintf("%s %v", f.Part.Name, f.Failure), max(a.HoldsS, b.HoldsS)
		switch {
		case a.Share == 0 && b.Share == 0:
			kinds["open"] = append(kinds["open"], name)
		case a.Share < 1 || b.Share < 1:
			kinds["chatters"] = append(kinds["chatters"], name)
		case holds > 10:
			kinds["slow"] = append(kinds["slow"], name)
			slowest = max(slowest, holds)
		default:
			kinds["same"] = append(kinds["same"], name)
		}
	}
	var code interlock.Code
	var after time.Duration
	synctest.Test(t, func(t *testing.T) { // as if each other look met one of the short closings
		r := newRig(t, nil, nil)
		defer func() { _ = r.loop.Stop(time.Second) }()
		r.charge()
		for after = tick; after <= time.Minute && code == interlock.NoCode; after += tick {
			r.truth.SetFault(sim.ContactorStuckOpen, int(after/tick)%2 == 1)
			if p := r.tick(); p.Findings[interlock.ContactorOpen].Raised {
				code = interlock.ContactorOpen
			}
		}
	})
	require.Equal(t, interlock.ContactorOpen, code, "a contactor that chatters")
	fmt.Fprintf(doc, "| watchdog: %s | KW stays open: no charge | `contactor-open` | 5 s |\n", strings.Join(kinds["open"], "; "))
	fmt.Fprintf(doc, "| watchdog: %s | KW closes for a moment at each edge: no charge | `%v` | %.0f s |\n", strings.Join(kinds["chatters"], "; "), code, (after - tick).Seconds())
	fmt.Fprintf(doc, "| watchdog: %s | KW drops within %.0f s; K1 opens at once | the walk measures it | once a year |\n", strings.Join(kinds["slow"], "; "), math.Ceil(slowest))
	fmt.Fprintf(doc, "| watchdog: %s | drops within 10 s, as before: a protection is lost, and only a second fault does harm | an ohmmeter across each C1, the Pi off: it must rise above 100 kΩ | once a year |\n", strings.Join(kinds["same"], "; "))
}

// writeOneWire writes what the faults of the 1-wire run lead to.
func writeOneWire(t *testing.T, doc *strings.Builder) {
	t.Helper()
	kinds := map[bool][]string{}
	for _, f := range circuit.OneWire(true).Faults() {
		volts := map[bool]float64{}
		var feed float64
		for _, pulls := range []bool{true, false} {
			s, err := circuit.OneWire(pulls).With(f.Part.Name, f.Failure).Solve()
			require.NoError(t, err)
			volts[pulls], feed = s.Volts("pin", "gnd"), s.Volts("feed", "gnd")
		}
		// 3.0 V: DS18B20, supply; the Pi's lines from memory. A sensor that is open or
		// short is no sensor.
		answers := volts[true] < 0.8 && volts[false] > 2.2 && feed >= 3 && f.Part.Name != "sensor"
		kinds[answers] = append(kinds[answers], fmt.Sprintf("%s %v", f.Part.Name, f.Failure))
	}
	var code interlock.Code
	var after time.Duration
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, nil, nil)
		defer func() { _ = r.loop.Stop(time.Second) }()
		r.charge()
		r.truth.SetFault(sim.TemperatureUnplugged, true)
		code, after = r.news(time.Minute)
	})
	doc.WriteString("\n## 1-wire run to the pack's sensor\n\n| failed part | what follows | found | after |\n| --- | --- | --- | --- |\n")
	fmt.Fprintf(doc, "| %s | the sensor does not answer | `%v`, blocked | %.0f s |\n", strings.Join(kinds[false], "; "), code, after.Seconds())
	fmt.Fprintf(doc, "| %s | %s | | |\n", strings.Join(kinds[true], "; "), protection)
}
