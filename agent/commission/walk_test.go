package commission_test

import (
	"encoding/json"
	"errors"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/config/exampletest"
	"bayward/agent/words"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// everyStep lists the step keys of a walk over a bay with every part.
func everyStep(t *testing.T) []string {
	t.Helper()
	rec, err := (&trial{}).run(t)
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, s := range rec.Steps {
		keys = append(keys, s.Key)
	}
	return keys
}

// TestGoodBay: on a good bay each step passes with evidence. The signed record has
// passed and is the one that was kept.
func TestGoodBay(t *testing.T) {
	c := &trial{}
	rec, err := c.run(t)
	if err != nil || rec.Result() != commission.Passed || !rec.Signed || rec.Person != "A. Person" || rec.Ended == nil {
		t.Fatalf("%v\n%s\n%s", err, rec.Text(words.EnglishSI()), c.said())
	}
	if len(rec.Steps) != 15 {
		t.Errorf("%d steps, want 15", len(rec.Steps))
	}
	rec.Simulated = false // as on a Pi
	passed, tried := rec.TriedFan(rec.Fan)
	if _, elsewhere := rec.TriedFan("GPIO1 low"); !strings.HasSuffix(rec.Fan, "AIRFLOW low") || !passed || !tried || elsewhere {
		t.Errorf("the fan's proof: passed %v, tried %v on its line %q, on another %v", passed, tried, rec.Fan, elsewhere)
	}
	rec.Simulated = true
	for _, s := range rec.Steps {
		if s.Result != commission.Passed || len(s.Evidence) == 0 || s.By != "A. Person" || s.Ended.MonoS < s.Begun.MonoS {
			t.Errorf("%s: %s %q, evidence %q", s.Key, s.Result, s.Why, s.Evidence)
		}
	}
	if !reflect.DeepEqual(c.kept, rec) {
		t.Error("the record is not the one that was kept")
	}
	if found := regexp.MustCompile(`-0(\.0+)? `).FindString(rec.Text(words.EnglishSI()) + c.said()); found != "" {
		t.Errorf("less than nothing was shown: %q", found)
	}
}

// fault is a fault that makes a step fail.
type fault struct {
	step, says string
	trial
}

// faults lists, for each step, the fault that it must find.
func faults() map[string]fault {
	lie := func(not ...commission.Action) map[commission.Action]func(*bench) {
		out := map[commission.Action]func(*bench){}
		for _, a := range not {
			out[a] = nil
		}
		return out
	}
	broken := func(k sim.FaultKind) func(*bench) {
		return func(b *bench) { b.truth.SetFault(k, true) }
	}
	types := func(at, what string) [][2]string { return [][2]string{{at, what}} }
	return map[string]fault{
		"probe open at rest":      {"rest", "wire broken", trial{spoil: broken(sim.ProbeOpen)}},
		"welded at rest":          {"rest", "contactor is closed", trial{spoil: broken(sim.ContactorWelded)}},
		"pack not plugged in":     {"rest", "or the pack is not plugged in", trial{spoil: func(b *bench) { b.truth.Unplug() }}},
		"load left on":            {"rest", "the machine is on", trial{spoil: func(b *bench) { b.truth.SetLoad(20) }}},
		"current noisy":           {"rest", "the current scatters by", trial{spoil: broken(sim.Noise), change: func(c *config.Config) { c.Bays[0].Wiring.Current.AmperesPerVolt *= 5 }}},
		"zero of the current off": {"rest", "the sensor's zero is wrong", trial{wired: func(c *config.Config) { c.Bays[0].Wiring.Current.ZeroV += 0.04 }}},
		"gas in the air":          {"rest", "stop, ventilate and leave", trial{spoil: func(b *bench) { b.truth.GiveGas(1.5) }}},
		"another pack's voltage":  {"rest", "wrong pack", trial{wired: func(c *config.Config) { c.Bays[0].Wiring.Voltage.Ratio *= 1.5 }}},
		"plug not pulled":         {"voltage", "did not follow", trial{lies: lie(commission.UnplugPack)}},
		"plug not put back":       {"voltage", "did not follow", trial{lies: lie(commission.PlugPack)}},
		"wrong divider":           {"voltage", "spread of parts", trial{wired: func(c *config.Config) { c.Bays[0].Wiring.Voltage.Ratio *= 1.06 }}},
		"meter on another range":  {"voltage", "spread of parts", trial{answer: types("Hand meter, volts", "2.46")}},
		"probe stuck":             {"level", "did not follow", trial{spoil: broken(sim.ProbeStuck)}},
		"probe not put back":      {"level", "did not follow", trial{lies: lie(commission.LowerProbe)}},
		"loop not opened":         {"level", "did not follow", trial{lies: lie(commission.OpenLoop)}},
		"resistor not put on":     {"level", "did not follow", trial{lies: lie(commission.ReplaceProbe)}},
		"resistor left on":        {"level", "did not follow", trial{lies: lie(commission.RestoreProbe)}},
		"a short, not a resistor": {"level", "it off at once", trial{lies: map[commission.Action]func(*bench){commission.ReplaceProbe: func(b *bench) { b.truth.SetFault(sim.ProbeShort, true) }}}},
		"level rod far off":       {"level", "hangs wrong", trial{answer: types("Level rod", "25")}},
		"probe hung too high":     {"level", "hang it at another height", trial{change: func(c *config.Config) { c.Bays[0].Wiring.Level.LowMM = -5 }, answer: types("Level rod", "18")}},
		"thermometers exchanged":  {"temperature", "the two are swapped", trial{wired: exchanged}},
		"sensor not warmed":       {"temperature", "did not follow", trial{lies: lie(commission.WarmPack)}},
		"thermometer elsewhere":   {"temperature", "another place or another sensor", trial{answer: types("Reference thermometer", "45")}},
		"air sensor not warmed":   {"ambient", "did not follow", trial{lies: lie(commission.WarmAir)}},
		"current turned round":    {"current", "which means charging", trial{wired: func(c *config.Config) { c.Bays[0].Wiring.Current.AmperesPerVolt *= -1 }}},
		"load not switched on":    {"current", "did not follow", trial{lies: lie(commission.LoadOn)}},
		"wrong current sensor":    {"current", "spread of parts", trial{wired: func(c *config.Config) { c.Bays[0].Wiring.Current.AmperesPerVolt *= 1.3 }}},
		"fan not switched off":    {"airflow", "did not follow", trial{lies: lie(commission.FanOff)}},
		"contact not bridged":     {"complete", "did not follow", trial{lies: lie(commission.BridgeComplete)}},
		"gas sensor spent":        {"hydrogen", "within a quarter", trial{lies: lie(commission.GasOn)}},
		"gas does not leave":      {"hydrogen", "did not follow", trial{lies: lie(commission.GasOff)}},
		"contactor does not move": {"relay", "did not close", trial{spoil: broken(sim.ContactorStuckOpen)}},
		"contacts weld":           {"relay", "the contacts are welded", trial{spoil: func(b *bench) { b.closing = func() { b.truth.SetFault(sim.ContactorWelded, true) } }}},
		"charger not off":         {"relay", "the charger is not off", trial{lies: lie(commission.ChargerOff)}},
		"plates bare":             {"relay", "plates are dry", trial{spoil: leaky}},
		"bay held by a person":    {"relay", "on hold", trial{held: true}},
		"level lost when closed":  {"relay", "the level could not be read while the relay was closed", trial{spoil: func(b *bench) { b.closed = func() { b.truth.SetFault(sim.ProbeOpen, true) } }}},
		"voltage lost":            {"relay", "while the relay was closed", trial{spoil: func(b *bench) { b.closed = func() { b.truth.SetFault(sim.ADCAbsent, true) } }}},
		"watchdog relay stuck":    {"heartbeat", "the watchdog relay is bridged", trial{spoil: broken(sim.WatchdogStuck)}},
		"relay stuck":             {"relay", "still shows closed", trial{spoil: broken(sim.RelayStuck)}},
		"watchdog relay bridged":  {"heartbeat", "the watchdog relay is bridged", trial{spoil: func(b *bench) { b.looking = bridged(b) }}},
		"insulation bad":          {"insulation", "acid on lids and tray", trial{spoil: func(b *bench) { b.truth.SetInsulation(300e3, 5e6) }}},
		"mirror contact bridged":  {"mirror", "did not follow", trial{lies: lie(commission.OpenFeedback)}},
		"no charge current":       {"charge", "no current of more than", trial{lies: lie(commission.ChargerOn)}},
		"welds on a charge":       {"charge", "Switch it off at its own switch NOW", trial{spoil: onCharge(func(b *bench) { b.truth.SetFault(sim.ContactorWelded, true) })}},
		"enable not obeyed": {"charge", "does not obey its enable", trial{lies: map[commission.Action]func(*bench){commission.ChargerOn: func(b *bench) {
			b.truth.SetMains(true)
			b.truth.SetFault(sim.ContactorWelded, true)
			b.truth.SetFault(sim.FeedbackShorted, true)
		}}}},
		"current lost on charge": {"charge", "the current could not be read", trial{spoil: onCharge(func(b *bench) { b.truth.SetFault(sim.CurrentOpen, true) })}},
		"the line stays high":    {"death", "bayward-keeper has not opened it", trial{spoil: func(b *bench) { b.killed = func() { b.line(b.wires.Pin, gpio.High) } }}},
	}
}

func exchanged(c *config.Config) {
	temperature := c.Bays[0].Wiring.Temperature
	temperature.Pack, temperature.Ambient = temperature.Ambient, temperature.Pack
}

// onCharge spoils the bay when the relay closes with the charger on.
func onCharge(spoil func(*bench)) func(*bench) {
	return func(b *bench) {
		b.closed = func() {
			if b.truth.Truth().Mains {
				spoil(b)
			}
		}
	}
}

// bridged lets the heartbeat go on whatever the walk does.
func bridged(b *bench) func() {
	level := gpio.Low
	return func() {
		level = !level
		b.line(b.wires.Heartbeat, level)
	}
}

func leaky(b *bench) {
	for cell := 1; cell <= 12; cell++ {
		if err := b.truth.Leak(cell, 170); err != nil {
			panic(err)
		}
	}
}

// relaySteps close the relay; needed must pass first.
var (
	relaySteps = []string{"relay", "heartbeat", "death", "charge"}
	needed     = map[string]bool{"rest": true, "voltage": true, "level": true, "temperature": true, "current": true, "airflow": true}
)

// TestFaults: each step finds its fault and names it, and the record has failed. The
// relay is never closed on a bay whose sensors are not proven.
func TestFaults(t *testing.T) {
	found := map[string]bool{}
	for name, f := range faults() {
		t.Run(name, func(t *testing.T) {
			closings := 0
			spoil, closing := f.spoil, func() {}
			f.spoil = func(b *bench) {
				if spoil != nil {
					spoil(b)
				}
				if b.closing != nil {
					closing = b.closing
				}
				b.closing = func() { closings++; closing() }
			}
			rec, err := f.run(t)
			if err != nil {
				t.Fatal(err, f.said())
			}
			s := stepOf(t, rec, f.step)
			if s.Result != commission.Failed || !strings.Contains(s.Why, f.says) {
				t.Errorf("%s: %s %q, want %q\n%s", s.Key, s.Result, s.Why, f.says, rec.Text(words.EnglishSI()))
			}
			if rec.Result() != commission.Failed {
				t.Errorf("the walk as a whole: %s", rec.Result())
			}
			if needed[f.step] {
				relayStaysOpen(t, rec, closings)
			}
			if in := f.b.truth.Truth().Totals.InAh; in > 0.05 {
				t.Errorf("%.3f Ah were charged by a walk", in)
			}
		})
		found[f.step] = true
	}
	for _, key := range everyStep(t) {
		if !found[key] {
			t.Errorf("no test lets the step %q fail", key)
		}
	}
}

func relayStaysOpen(t *testing.T, rec *commission.Record, closings int) {
	t.Helper()
	if closings != 0 {
		t.Errorf("the relay was closed %d times", closings)
	}
	for _, key := range relaySteps {
		if s := stepOf(t, rec, key); s.Result != commission.Failed || !strings.Contains(s.Why, "has not been proven") {
			t.Errorf("%s: %s %q", key, s.Result, s.Why)
		}
	}
}

// TestLeftOut: a skipped step is on record with the reason. If a safe charge depends
// on it, the signed record has not passed.
func TestLeftOut(t *testing.T) {
	rows := map[string]struct {
		at   string // the prompt at which "skip" is typed
		want commission.Result
	}{
		"rest":        {"nobody touches anything", commission.Failed},
		"voltage":     {"pull the pack's plug", commission.Failed},
		"level":       {"Lift the probe out", commission.Failed},
		"temperature": {"hand around the pack's temperature sensor", commission.Failed},
		"ambient":     {"hand around the sensor of the air", commission.Passed},
		"current":     {"Switch the load on", commission.Failed},
		"airflow":     {"Switch the fan off", commission.Failed},
		"complete":    {"Bridge the charger's", commission.Passed},
		"hydrogen":    {"Hydrogen in the test gas", commission.Passed},
		"relay":       {"The relay obeys, and opens", commission.NotDone},
		"heartbeat":   {"Without heartbeat the watchdog relay opens", commission.NotDone},
		"death":       {"When the program dies", commission.NotDone},
		"insulation":  {"Resistor at plus", commission.Passed},
		"mirror":      {"terminal of the contactor's mirror contact", commission.Passed},
		"charge":      {"unlocks the charger and switches it on", commission.NotDone},
	}
	for _, key := range everyStep(t) {
		t.Run(key, func(t *testing.T) {
			row, ok := rows[key]
			if !ok {
				t.Fatal("no test leaves this step out")
			}
			c := &trial{answer: [][2]string{{row.at, "skip"}}}
			rec, err := c.run(t)
			if err != nil || !rec.Signed {
				t.Fatalf("%v\n%s", err, rec.Text(words.EnglishSI()))
			}
			if s := stepOf(t, rec, key); s.Result != commission.Skipped || s.Why == "" || rec.Result() != row.want {
				t.Errorf("%s %q; the walk: %q, want %q\n%s", s.Result, s.Why, rec.Result(), row.want, rec.Text(words.EnglishSI()))
			}
			if needed[key] && row.want == commission.Passed {
				t.Error("a walk passes without a step that a safe charge rests on")
			}
		})
	}
}

// TestNotFitted: a part that is not fitted is on record as such and does not prevent
// a pass. The parts that every bay has cannot be left out.
func TestNotFitted(t *testing.T) {
	for name, row := range map[string]struct {
		without func(*wiring.Parts)
		step    string // "" for no step at all
	}{
		"air":       {func(w *wiring.Parts) { w.Temperature.Ambient = "" }, "ambient"},
		"charge":    {func(w *wiring.Parts) { w.Current = nil }, "charge"},
		"mirror":    {func(w *wiring.Parts) { w.Relay.Feedback.Normally = "" }, ""},
		"current":   {func(w *wiring.Parts) { w.Current = nil }, "current"},
		"heartbeat": {func(w *wiring.Parts) { w.Relay.Heartbeat = "" }, "heartbeat"},
		"fan":       {func(w *wiring.Parts) { w.Airflow = nil }, ""},
		"contact":   {func(w *wiring.Parts) { w.Complete = nil }, ""},
		"gas":       {func(w *wiring.Parts) { w.Hydrogen = nil }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			rec, err := (&trial{change: func(c *config.Config) { row.without(&c.Bays[0].Wiring) }}).run(t)
			if err != nil || rec.Result() != commission.Passed {
				t.Fatalf("%v\n%s", err, rec.Text(words.EnglishSI()))
			}
			if row.step == "" {
				if len(rec.Steps) != 14 {
					t.Errorf("%d steps, want 14", len(rec.Steps))
				}
				return
			}
			if s := stepOf(t, rec, row.step); s.Result != commission.NotFitted || s.Why == "" {
				t.Errorf("%s %q", s.Result, s.Why)
			}
		})
	}
}

// TestNoFeedback: without a feedback contact the record states that a person saw the
// contactor move. If the person did not see it, the step fails.
func TestNoFeedback(t *testing.T) {
	blind := func(c *config.Config) { c.Bays[0].Wiring.Relay.Feedback = nil }
	saw := [][2]string{
		{`"it closed and opened"`, "it closed and opened"}, {`"it opened by itself"`, "it opened by itself"}, {`"it opened when killed"`, "it opened when killed"},
	}
	rec, err := (&trial{change: blind, answer: saw}).run(t)
	if err != nil || rec.Result() != commission.Passed {
		t.Fatalf("%v\n%s", err, rec.Text(words.EnglishSI()))
	}
	for i, key := range relaySteps[:len(saw)] {
		if s := stepOf(t, rec, key); !strings.Contains(strings.Join(s.Evidence, "; "), "A. Person saw that "+saw[i][1]) {
			t.Errorf("%s: %q", key, s.Evidence)
		}
		not := append([][2]string{{saw[i][0], "yes"}}, saw...)
		rec, err := (&trial{change: blind, answer: not}).run(t)
		if s := stepOf(t, rec, key); err != nil || s.Result != commission.Failed || !strings.Contains(s.Why, "nobody saw") {
			t.Errorf("%s: %v, %s %q", key, err, s.Result, s.Why)
		}
	}
}

// mostV is the converter's supply in the wiring guide, and what its data sheet allows
// above it (SBAS444E, "Absolute Maximum Ratings"). No input may get more.
const mostV = 3.3 + 0.3

var rodsAnswer = regexp.MustCompile(`([a-z][a-z ]+): ([0-9.]+) kΩ between the wires, a pulse leaves ([0-9.]+) mV, back`)

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestEveryKindOfProbe: a walk works with each kind of level probe, and asks for
// nothing that puts more than the converter's supply on its input. A measuring probe
// is calibrated; for the others the record states that there is nothing to calibrate.
func TestEveryKindOfProbe(t *testing.T) {
	for _, kind := range level.Kinds() {
		t.Run(string(kind), func(t *testing.T) {
			example, err := config.Parse("example", []byte(exampletest.WithLevel(t, string(kind))))
			if err != nil {
				t.Fatal(err)
			}
			probe := func(c *config.Config) { c.Bays[0].Wiring.Level = example.Bays[0].Wiring.Level }
			c := &trial{change: probe}
			rec, err := c.run(t)
			if err != nil || rec.Result() != commission.Passed {
				t.Fatalf("%v\n%s", err, rec.Text(words.EnglishSI()))
			}
			if most := c.b.truth.Truth().InputMaxV; most > mostV {
				t.Errorf("the walk put %.1f V on a converter's input", most)
			}
			evidence := strings.Join(stepOf(t, rec, "level").Evidence, "; ")
			_, calibrated := rec.Calibration["level.offset_mm"]
			if calibrated != kind.Measures() || strings.Contains(evidence, "nothing to calibrate") == kind.Measures() {
				t.Errorf("it measures: %v, calibrated: %v, evidence %q", kind.Measures(), calibrated, evidence)
			}
			answers := rodsAnswer.FindAllStringSubmatch(evidence, -1)
			if pulsed := kind.Pulses() == level.BothPulses; pulsed != (len(answers) > 0) {
				t.Fatalf("rods %v: %q", pulsed, evidence)
			} else if pulsed {
				wet, dry := answers[0], answers[1]
				if wet[1] != "in its cell" || dry[1] != "lifted out" || number(t, wet[2]) >= number(t, dry[2]) || number(t, wet[3]) < 1 || number(t, dry[3]) >= 1 {
					t.Errorf("wet %q, dry %q: acid conducts and keeps a voltage", wet, dry)
				}
			}
			for name, bad := range map[string]*trial{
				"stuck":        {spoil: func(b *bench) { b.truth.SetFault(sim.ProbeStuck, true) }},
				"not lifted":   {lies: map[commission.Action]func(*bench){commission.LiftProbe: nil}},
				"not opened":   {lies: map[commission.Action]func(*bench){commission.OpenLoop: nil}},
				"not replaced": {lies: map[commission.Action]func(*bench){commission.ReplaceProbe: nil}},
				"exchanged":    {lies: map[commission.Action]func(*bench){commission.OpenLoop: func(b *bench) { b.truth.SetFault(sim.ProbeShort, true) }}},
			} {
				if errors.Is(kind.Opened(), kind.Shorted()) && name == "exchanged" {
					continue // a break and a short look the same
				}
				bad.change = probe
				rec, err := bad.run(t)
				if s := stepOf(t, rec, "level"); err != nil || s.Result != commission.Failed {
					t.Errorf("%s: %v, %s %q", name, err, s.Result, s.Why)
				}
			}
		})
	}
}

// TestCalibration: the walk finds the error of each part within the uncertainty that
// it states.
func TestCalibration(t *testing.T) {
	c := &trial{wired: func(c *config.Config) {
		w := &c.Bays[0].Wiring
		w.Voltage.Ratio *= 1.02
		w.Voltage.OffsetV += 0.01
		w.Current.AmperesPerVolt *= 0.95
		w.Current.ZeroV += 0.01
		w.Temperature.OffsetC = 1.2
		probe := *w.Level
		probe.OffsetMM = 2
		w.Level = &probe
	}}
	rec, err := c.run(t)
	if err != nil || rec.Result() != commission.Passed {
		t.Fatalf("%v\n%s", err, rec.Text(words.EnglishSI()))
	}
	w := &c.cfg.Bays[0].Wiring
	for key, want := range map[string]struct{ is, within float64 }{
		"voltage.ratio":            {w.Voltage.Ratio * 1.02, 0.005 * w.Voltage.Ratio},
		"voltage.offset_v":         {0.01, 0.002},
		"current.amperes_per_volt": {w.Current.AmperesPerVolt * 0.95, 0.01 * w.Current.AmperesPerVolt},
		"current.zero_v":           {w.Current.ZeroV + 0.01, 0.002},
		"temperature.offset_c":     {1.2, 0.2},
		"level.offset_mm":          {2, rec.Uncertain["level"]},
	} {
		if got, ok := rec.Calibration[key]; !ok || got < want.is-want.within || got > want.is+want.within {
			t.Errorf("%s: %v (%v), want %v within %v", key, got, ok, want.is, want.within)
		}
	}
	if len(rec.Calibration) != 6 || len(rec.Uncertain) != 4 {
		t.Errorf("calibration %v, uncertain %v", rec.Calibration, rec.Uncertain)
	}
}

// TestNoInstruments: a person without a meter proves everything else, and nothing is
// calibrated.
func TestNoInstruments(t *testing.T) {
	rec, err := (&trial{answer: [][2]string{
		{"Hand meter", "skip"}, {"clamp meter", "skip"}, {"Clamp meter", "skip"}, {"Reference thermometer", "skip"}, {"Level rod", "skip"},
	}}).run(t)
	if err != nil || rec.Result() != commission.Passed || len(rec.Calibration) != 0 || rec.Fragment(words.EnglishSI()) != "" {
		t.Errorf("%v, calibration %v\n%s", err, rec.Calibration, rec.Text(words.EnglishSI()))
	}
}

// TestAgain: a failed step is tried again on request, and only its last outcome is
// on record.
func TestAgain(t *testing.T) {
	c := &trial{answer: [][2]string{{`Type "again"`, "again"}}}
	lifts := 0
	c.lies = map[commission.Action]func(*bench){commission.FanOff: func(b *bench) {
		if lifts++; lifts > 1 {
			b.truth.SetAirflow(false)
		}
	}}
	rec, err := c.run(t)
	if err != nil || rec.Result() != commission.Passed || lifts != 2 {
		t.Fatalf("%v, tried %d times\n%s", err, lifts, rec.Text(words.EnglishSI()))
	}
	if s := stepOf(t, rec, "airflow"); s.Result != commission.Passed || s.Why != "" || len(rec.Steps) != 15 {
		t.Errorf("%s %q, %d steps", s.Result, s.Why, len(rec.Steps))
	}
}

// TestSignature: only the name given at the start signs. Without it the record is
// unsigned and has not passed.
func TestSignature(t *testing.T) {
	rec, err := (&trial{answer: [][2]string{{"to sign", "quit"}}}).run(t)
	if !errors.Is(err, commission.ErrQuit) || rec.Signed || rec.Ended != nil || rec.Result() != commission.NotDone {
		t.Errorf("quit: %v, signed %v, %q", err, rec.Signed, rec.Result())
	}
	c := &trial{answer: [][2]string{{"not the name from the beginning", "quit"}, {"to sign", "A. Stranger"}}}
	rec, err = c.run(t)
	if !errors.Is(err, commission.ErrQuit) || rec.Signed || rec.Result() != commission.NotDone {
		t.Errorf("another name: %v, signed %v, %q", err, rec.Signed, rec.Result())
	}
	c = &trial{answer: [][2]string{{`"charger locked off"`, "yes"}}}
	rec, err = c.run(t)
	if !errors.Is(err, commission.ErrQuit) || len(rec.Steps) != 0 || rec.Result() != commission.NotDone {
		t.Errorf("charger not locked off: %v, %q", err, rec.Result())
	}
}

// TestHardwareFails: a relay that cannot be opened ends the walk instead of failing
// a step.
func TestHardwareFails(t *testing.T) {
	broken := errors.New("the line cannot be driven")
	c := &trial{spoil: func(b *bench) { b.closed = func() { b.openFails = broken } }}
	rec, err := c.run(t)
	if !errors.Is(err, broken) || rec.Signed || rec.Result() == commission.Passed {
		t.Errorf("%v, signed %v, %q", err, rec.Signed, rec.Result())
	}
}

// TestTwoBays: the walk names leads that were swapped between two bays.
func TestTwoBays(t *testing.T) {
	text := strings.Replace(usual, "\npacks:", "\n  - {name: bay-2, pack: lift-a}\npacks:", 1)
	for name, row := range map[string]struct {
		step, says string
		swap       func(a, b *wiring.Parts)
	}{
		"sense leads": {"voltage", "sense leads of the two bays are swapped", func(a, b *wiring.Parts) {
			a.Voltage.ADC, b.Voltage.ADC = b.Voltage.ADC, a.Voltage.ADC
		}},
		"level probes": {"level", "the probes of the two bays are swapped", func(a, b *wiring.Parts) {
			a.Level.ADC, b.Level.ADC = b.Level.ADC, a.Level.ADC
		}},
		"thermometers": {"temperature", "the pack's sensor of bay-2 followed", func(a, b *wiring.Parts) {
			a.Temperature.Pack, b.Temperature.Pack = b.Temperature.Pack, a.Temperature.Pack
		}},
	} {
		t.Run(name, func(t *testing.T) {
			c := &trial{text: text, change: onOneBus, wired: func(c *config.Config) { row.swap(&c.Bays[0].Wiring, &c.Bays[1].Wiring) }}
			rec, err := c.run(t)
			if err != nil {
				t.Fatal(err)
			}
			if s := stepOf(t, rec, row.step); s.Result != commission.Failed || !strings.Contains(s.Why, row.says) {
				t.Errorf("%s %q, want %q", s.Result, s.Why, row.says)
			}
		})
	}
}

// onOneBus puts the second bay's converter on the bus of the first.
func onOneBus(c *config.Config) {
	a, b := &c.Bays[0].Wiring, &c.Bays[1].Wiring
	b.I2C = a.I2C
	for _, in := range []*wiring.Input{&b.Voltage.Input, &b.Current.Input, &b.Level.Input, &b.Hydrogen.Input} {
		in.ADC = 0x49
	}
}

// TestOtherLanguage: a walk in another language asks and answers in it. Its record has
// the same English text as an English walk, and can be read in either language.
func TestOtherLanguage(t *testing.T) {
	english, err := (&trial{}).run(t)
	if err != nil {
		t.Fatal(err)
	}
	for _, language := range words.Languages()[1:] {
		c := &trial{voice: language, answer: [][2]string{{words.New(language, "").Say("walk.hydrogen.how"), words.New(language, "").Say("walk.type.skip")}}}
		rec, err := c.run(t)
		if err != nil || rec.Result() != commission.Passed {
			t.Fatalf("%s: %v\n%s", language, err, c.said())
		}
		if s := stepOf(t, rec, "hydrogen"); s.Result != commission.Skipped || s.Why != "no instrument here" {
			t.Errorf("%s: %s %q", language, s.Result, s.Why)
		}
		own := rec.Text(words.New(language, "")) + rec.Fragment(words.New(language, ""))
		for i, s := range rec.Steps {
			if want := english.Steps[i]; s.Key != "hydrogen" && !reflect.DeepEqual(s.Evidence, want.Evidence) {
				t.Errorf("%s: %s: archived %q, want %q", language, s.Key, s.Evidence, want.Evidence)
			}
			for _, text := range append([]string{s.Title}, s.Evidence...) {
				if strings.Contains(c.said()+own, text) {
					t.Errorf("%s: in English: %q", language, text)
				}
			}
		}
		if found := regexp.MustCompile(`⟦|%!|\d\.\d`).FindString(c.said() + rec.Text(words.New(language, ""))); found != "" {
			t.Errorf("%s: %q in\n%s", language, found, c.said())
		}
	}
}

// TestStoredWords: a record read from the logbook is worded again, one of an older
// program is shown as it was stored, and so is a sentence of a newer program.
func TestStoredWords(t *testing.T) {
	rec, err := (&trial{}).run(t)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := json.Marshal(rec)
	if err != nil {
		t.Fatal(err)
	}
	spanish := words.New("es", "")
	read := &commission.Record{}
	if err := json.Unmarshal(raw, read); err != nil || read.Text(spanish) != rec.Text(spanish) {
		t.Fatalf("%v\n%s\n%s", err, read.Text(spanish), rec.Text(spanish))
	}
	first := &read.Steps[0]
	archived := first.Evidence[0]
	first.Proof[0].Key = "walk.from-a-newer-program"
	if text := read.Text(spanish); !strings.Contains(text, archived) || strings.Contains(text, "⟦") {
		t.Errorf("newer: %s", text)
	}
	first.Proof = nil
	for _, want := range first.Evidence {
		if text := read.Text(spanish); !strings.Contains(text, want) {
			t.Errorf("older: no %q in\n%s", want, text)
		}
	}
}
