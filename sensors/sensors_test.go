package sensors

import (
	"bytes"
	"context"
	"log/slog"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// TestEveryPart samples a fully wired bay. The expected values are the formulas of
// the configuration, calculated by hand.
func TestEveryPart(t *testing.T) {
	b := newBench(t)
	b.bus.pins = [4]float64{2.26, 1.9, 0.275, 0.75}
	bays := mustOpen(t, wired(), b.hardware())
	b.pins["GPIO5"].(*gpiotest.Pin).L = gpio.Low
	got := sample(t, bays[0])
	for name, want := range map[string]float64{
		"pack voltage":     24.75, // (2.26 − 0.01) × 11
		"current":          -20,   // (1.9 − 1.65) × −80
		"pack temperature": 30.75, // 31.25 − 0.5
		"ambient":          18.5,
		"hydrogen":         0.5, // (0.75 − 0.5) × 2
		"feedback":         1,   // low, active low
		"airflow":          0,   // pulled up, active low
		"complete":         0,   // pulled down, active high
	} {
		r := all(&got)[name]
		if !r.OK() || math.Abs(r.Value-want) > 0.01 || r.At != time.Hour {
			t.Errorf("%s: got %+v, want %g", name, *r, want)
		}
	}
	if c := got.Level; !c.Usable() || math.Abs(c.LowMM-3.375) > 0.01 || c.LowMM != c.HighMM || c.At != time.Hour { // 11 mA: -20 + 7/16 × 50 + 1.5
		t.Errorf("level: got %+v, want 3.375 mm", c)
	}
	if got.Now != 0 || got.Orders != nil || got.RecordFailing {
		t.Error("a source filled another source's field")
	}
	var names []string
	for _, s := range bays[0].Sources() {
		names = append(names, s.Name())
	}
	if want := []string{"i2c 1", "1-wire", "contacts"}; !slices.Equal(names, want) || bays[0].Name() != "bay-1" {
		t.Errorf("sources of %s: got %q, want %q", bays[0].Name(), names, want)
	}
}

// TestSourcesAreSeparate: each source changes only its own fields.
func TestSourcesAreSeparate(t *testing.T) {
	bays := mustOpen(t, wired(), newBench(t).hardware())
	own := map[string][]string{
		"i2c 1":    {"pack voltage", "current", "hydrogen"},
		"1-wire":   {"pack temperature", "ambient"},
		"contacts": {"feedback", "airflow", "complete"},
	}
	for _, s := range bays[0].Sources() {
		mark := reading.Reading{Value: 42, At: 7, Fault: reading.Stale}
		var out bay.Readings
		for _, r := range all(&out) {
			*r = mark
		}
		s.Sample(t.Context(), &out)
		for name, r := range all(&out) {
			if changed := *r != mark; changed != slices.Contains(own[s.Name()], name) {
				t.Errorf("%s: %s changed: %v", s.Name(), name, changed)
			}
		}
		if changed := out.Level != (reading.Level{}); changed != (s.Name() == "i2c 1") {
			t.Errorf("%s: level changed: %v", s.Name(), changed)
		}
	}
}

func TestNotWiredStaysMissing(t *testing.T) {
	cfg := &config.Config{Bays: []config.Bay{{Name: "bay-1", Wiring: wiring.Parts{Relay: &wiring.Relay{Pin: "GPIO17"}}}}}
	bays := mustOpen(t, cfg, newBench(t).hardware())
	if got := sample(t, bays[0]); len(bays[0].Sources()) != 0 || got.PackV.Fault != reading.Missing || got.Level.Fault != reading.Missing {
		t.Errorf("got %d sources and %+v", len(bays[0].Sources()), got)
	}
}

// TestShunt: 20 A through a shunt of 75 mV at 150 A are 10 mV between two inputs.
func TestShunt(t *testing.T) {
	b, cfg, minus := newBench(t), wired(), 3
	cfg.Bays[0].Wiring.Current = &wiring.Current{
		Input: wiring.Input{ADC: 0x48, Channel: 1, RangeV: 0.256, Rate: 8}, Kind: "shunt", Minus: &minus, AmperesPerVolt: 2000,
	}
	b.bus.pins = [4]float64{1, 1.01, 0, 1}
	got := sample(t, mustOpen(t, cfg, b.hardware())[0])
	if !got.CurrentA.OK() || math.Abs(got.CurrentA.Value-20) > 0.02 {
		t.Errorf("got %+v, want 20 A", got.CurrentA)
	}
}

// TestUnpluggedConverter: the agent starts without the converter and reads it when
// it is back.
func TestUnpluggedConverter(t *testing.T) {
	b := newBench(t)
	b.bus.err = errAbsent
	b.bus.pins[0] = 2.26
	bays := mustOpen(t, wired(), b.hardware())
	got := sample(t, bays[0])
	if got.PackV.Fault != reading.NoAnswer || got.Level.Fault != reading.NoAnswer || got.Level.At != time.Hour || !got.PackC.OK() {
		t.Errorf("unplugged: got %+v", got)
	}
	b.bus.err = nil
	if got = sample(t, bays[0]); !got.PackV.OK() {
		t.Errorf("plugged in again: got %+v", got.PackV)
	}
}

// TestStuckBus: after one failed transfer, the other inputs are skipped.
func TestStuckBus(t *testing.T) {
	b := newBench(t)
	bays := mustOpen(t, wired(), b.hardware())
	b.bus.err, b.bus.txs = errStuck, 0
	got := sample(t, bays[0])
	for name, r := range map[string]reading.Fault{
		"voltage": got.PackV.Fault, "current": got.CurrentA.Fault, "level": got.Level.Fault, "hydrogen": got.HydrogenPct.Fault,
	} {
		if r != reading.BusStuck {
			t.Errorf("%s: got %s", name, r)
		}
	}
	if b.bus.txs != 1 {
		t.Errorf("%d transfers on a stuck bus, want 1", b.bus.txs)
	}
}

func TestCanceledRound(t *testing.T) {
	bays := mustOpen(t, wired(), newBench(t).hardware())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var got bay.Readings
	for _, s := range bays[0].Sources() {
		s.Sample(ctx, &got)
	}
	if got.PackV.Fault != reading.Timeout || got.Level.Fault != reading.Timeout || got.PackC.Fault != reading.Timeout {
		t.Errorf("got %+v", got)
	}
}

// TestBeyondTheSensor: over range, a hydrogen sensor without supply, and a
// calibration whose result is not a number.
func TestBeyondTheSensor(t *testing.T) {
	b, cfg := newBench(t), wired()
	cfg.Bays[0].Wiring.Current.AmperesPerVolt = math.Inf(1)
	b.bus.pins = [4]float64{5, 1.9, 0.275, 0}
	got := sample(t, mustOpen(t, cfg, b.hardware())[0])
	if got.PackV.Fault != reading.OverRange || got.CurrentA.Fault != reading.Implausible || got.HydrogenPct.Fault != reading.Open {
		t.Errorf("got %+v, %+v, %+v", got.PackV, got.CurrentA, got.HydrogenPct)
	}
}

// TestGasSensorHasALiveZero: a sensor that sends 0.5 V in clean air is dead below
// 0.25 V, with a pull-down at a broken wire and with the 0.12 V at which an open input
// of a converter rests; and 0.3 % below its zero it is not drift.
func TestGasSensorHasALiveZero(t *testing.T) {
	b := newBench(t)
	set := mustOpen(t, wired(), b.hardware())[0]
	for _, row := range []struct {
		volts, pct float64
		fault      reading.Fault
	}{
		{0, 0, reading.Open}, {-0.3, 0, reading.Open}, {0.12, 0, reading.Open}, {0.2499, 0, reading.Open},
		{0.2501, 0, reading.Implausible}, {0.35, 0, reading.Implausible},
		{0.4, -0.2, reading.None}, {0.5, 0, reading.None}, {1.5, 2, reading.None},
	} {
		b.bus.pins = [4]float64{2.26, 1.9, 0.275, row.volts}
		got := sample(t, set).HydrogenPct
		if got.Fault != row.fault || got.OK() && math.Abs(got.Value-row.pct) > 0.001 {
			t.Errorf("%g V: got %+v, want %g %% and %s", row.volts, got, row.pct, row.fault)
		}
	}
}

func TestLevelKinds(t *testing.T) {
	current := &wiring.Level{
		Input: channel(2), Kind: level.FourTwentyMA,
		Settings: level.Settings{ShuntOhm: 100, LowMM: -20, HighMM: 30, OffsetMM: 2},
	}
	for _, tc := range []struct {
		name  string
		level *wiring.Level
		volts float64
		want  reading.Level
	}{
		{"4-20 mA, broken", current, 0, reading.Level{At: time.Hour, Fault: reading.Open}},
		{"4-20 mA, 22 mA", current, 2.2, reading.Level{At: time.Hour, Fault: reading.OverRange}},
		{"4-20 mA, 3.7 mA", current, 0.37, reading.Level{At: time.Hour, Fault: reading.Implausible}},
	} {
		b, cfg := newBench(t), wired()
		cfg.Bays[0].Wiring.Level = tc.level
		b.bus.pins[2] = tc.volts
		if got := sample(t, mustOpen(t, cfg, b.hardware())[0]).Level; got != tc.want {
			t.Errorf("%s: got %+v, want %+v", tc.name, got, tc.want)
		}
	}
	b, cfg := newBench(t), wired()
	cfg.Bays[0].Wiring.Level, b.bus.pins[2] = current, 1.2 // 12 mA: halfway from −20 to 30, plus 2
	if got := sample(t, mustOpen(t, cfg, b.hardware())[0]).Level; !got.Usable() || math.Abs(got.LowMM-7) > 0.01 || got.LowMM != got.HighMM {
		t.Errorf("12 mA: got %+v, want 7 mm", got)
	}
}

// pad returns a scratchpad whose bytes are all the same.
func pad(b string) *fstest.MapFile {
	bytes := strings.Repeat(b+" ", 9)
	return &fstest.MapFile{Data: []byte(bytes + ": crc=" + b + " YES\n" + bytes + "t=0\n")}
}

func TestTemperatureFaults(t *testing.T) {
	b := newBench(t)
	bays := mustOpen(t, wired(), b.hardware())
	for _, tc := range []struct {
		name string
		file *fstest.MapFile
		want reading.Fault
	}{
		{"power-on", w1("85000"), reading.PowerOn},
		{"too hot", w1("130000"), reading.Implausible},
		{"too cold", w1("-60000"), reading.Implausible},
		{"data line held low", pad("00"), reading.Short},
		{"data line not driven", pad("ff"), reading.NoAnswer},
		{"not the kernel's text", &fstest.MapFile{Data: []byte("72 01 4b\n")}, reading.BadCRC},
		{"empty", &fstest.MapFile{}, reading.NoAnswer},
		{"crc", &fstest.MapFile{Data: []byte("73 01 4b 46 7f ff 0e 10 41 : crc=57 NO\n72 t=23125\n")}, reading.BadCRC},
		{"good", w1("20000"), reading.None},
	} {
		b.files[packID+"/w1_slave"] = tc.file
		b.now += reading.PackTemperature.Every()
		if got := sample(t, bays[0]); got.PackC.Fault != tc.want || !got.AmbientC.OK() {
			t.Errorf("%s: got %+v, ambient %+v", tc.name, got.PackC, got.AmbientC)
		}
	}
	delete(b.files, packID+"/w1_slave")
	b.now += reading.PackTemperature.Every()
	if got := sample(t, bays[0]); got.PackC.Fault != reading.NoAnswer {
		t.Errorf("unplugged: got %+v", got.PackC)
	}
}

// TestSamplingInterval: an input whose sensor has an interval keeps its reading until the
// interval is over, and is read in each tick while it has a fault. The gas sensor's input
// stands in for such a sensor.
func TestSamplingInterval(t *testing.T) {
	b := newBench(t)
	b.bus.pins = [4]float64{2.26, 1.9, 0.275, 0.75}
	source := mustOpen(t, wired(), b.hardware())[0].Sources()[0].(*analog)
	slow := &source.inputs[len(source.inputs)-1]
	slow.of = reading.AmbientTemperature
	slow.value.(*gas).sensor = slow.of
	var out bay.Readings
	read := func() reading.Reading {
		source.Sample(t.Context(), &out)
		return out.AmbientC
	}
	first := read()
	for _, row := range []struct {
		after time.Duration
		pin   float64
		want  bool // a new reading
	}{
		{time.Second, 0.8, false}, {time.Second, 0.8, true}, {time.Second, 0.9, false}, {time.Second, -0.9, true}, {time.Second, 0.7, true},
	} {
		b.now += row.after
		b.bus.pins[3] = row.pin
		got := read()
		if (got != first) != row.want || got.At != b.now && row.want || out.PackV.At != b.now {
			t.Errorf("%v: got %+v after %+v; the voltage is of %s", row, got, first, out.PackV.At)
		}
		first = got
	}
}

// twoBays returns two bays that share converter and ambient sensor and use different
// names for the bus.
func twoBays() *config.Config {
	cfg := wired()
	second := wired().Bays[0]
	second.Name, second.Wiring.I2C = "bay-2", "I2C1"
	second.Wiring.Relay = &wiring.Relay{Pin: "GPIO22"}
	second.Wiring.Airflow, second.Wiring.Complete = nil, nil
	cfg.Bays = append(cfg.Bays, second)
	return cfg
}

func TestSharedParts(t *testing.T) {
	b := newBench(t)
	b.bus.pins = [4]float64{2.26, 1.9, 0.275, 0.75}
	bays := mustOpen(t, twoBays(), b.hardware())
	if len(bays) != 2 || bays[0].Name() != "bay-1" || bays[1].Name() != "bay-2" {
		t.Fatalf("got %d bays out of order", len(bays))
	}
	if len(b.busAsked) != 1 {
		t.Errorf("the bus was opened as %q, want only once", b.busAsked)
	}
	first, _ := bays[0].sources[0].(*analog)
	other, _ := bays[1].sources[0].(*analog)
	if first.inputs[0].dev != other.inputs[0].dev {
		t.Error("one converter has two drivers")
	}
	sample(t, bays[0])
	b.files[ambientID+"/w1_slave"] = w1("99000")
	b.now += time.Second
	if got := sample(t, bays[1]); got.AmbientC.Value != 18.5 || got.AmbientC.At != time.Hour {
		t.Errorf("shared sensor: got %+v, want what the other bay read, with its time", got.AmbientC)
	}
	b.now += time.Second
	if got := sample(t, bays[1]); got.AmbientC.Value != 99 {
		t.Errorf("shared sensor, later: got %+v, want a new reading", got.AmbientC)
	}
}

// TestBaysAtTheSameTime is for the race detector. A value of one input must not show
// up as another's.
func TestBaysAtTheSameTime(t *testing.T) {
	b := newBench(t)
	b.bus.pins = [4]float64{2.26, 1.9, 0.275, 0.75}
	bays := mustOpen(t, twoBays(), b.hardware())
	var wg sync.WaitGroup
	for _, y := range bays {
		for _, s := range y.Sources() {
			wg.Go(func() {
				for range 50 {
					var out bay.Readings
					s.Sample(t.Context(), &out)
					if out.PackV.OK() && math.Abs(out.PackV.Value-24.75) > 0.01 {
						t.Errorf("got %+v", out.PackV)
					}
				}
			})
		}
	}
	wg.Wait()
}

func TestContacts(t *testing.T) {
	b := newBench(t)
	bays := mustOpen(t, wired(), b.hardware())
	fan, done := b.pins["GPIO6"].(*gpiotest.Pin), b.pins["GPIO13"].(*gpiotest.Pin)
	if fan.P != gpio.PullUp || done.P != gpio.PullDown {
		t.Errorf("pulls: got %s for active low and %s for active high", fan.P, done.P)
	}
	for _, level := range []gpio.Level{gpio.Low, gpio.High} {
		fan.L, done.L = level, level
		got := sample(t, bays[0])
		closed := map[bool]float64{true: 1}
		if got.Airflow.Value != closed[level == gpio.Low] || got.ChargerComplete.Value != closed[level == gpio.High] {
			t.Errorf("%s: active low reads %g, active high %g", level, got.Airflow.Value, got.ChargerComplete.Value)
		}
	}
}

// unreadable is a line whose read can fail.
// TestContactKinds: what each kind of contact reads as while what it shows is so,
// while it is not, and with its wire broken: the pull resistor then sets the line.
func TestContactKinds(t *testing.T) {
	for name, row := range map[string]struct {
		contact       wiring.Contact
		closed        gpio.Level
		atRest, shows float64
		broken        float64
	}{
		"make contact to ground":   {wiring.Contact{ActiveLow: true}, gpio.Low, 0, 1, 0},
		"make contact to supply":   {wiring.Contact{Normally: "open"}, gpio.High, 0, 1, 0},
		"mirror contact to ground": {wiring.Contact{ActiveLow: true, Normally: "closed"}, gpio.Low, 0, 1, 1},
		"mirror contact to supply": {wiring.Contact{Normally: "closed"}, gpio.High, 0, 1, 1},
	} {
		t.Run(name, func(t *testing.T) {
			b, cfg := newBench(t), wired()
			line := &gpiotest.Pin{N: "GPIO5"}
			b.pins["GPIO5"] = line
			row.contact.Pin = "GPIO5"
			cfg.Bays[0].Wiring.Relay.Feedback = &row.contact
			bays := mustOpen(t, cfg, b.hardware())
			reads := func(l gpio.Level, want float64, what string) {
				line.L = l
				if got := sample(t, bays[0]).ContactorClosed; !got.OK() || got.Value != want {
					t.Errorf("%s: got %+v, want %g", what, got, want)
				}
			}
			resting := row.closed
			if row.contact.Normally != "closed" {
				resting = !row.closed
			}
			reads(resting, row.atRest, "released")
			reads(!resting, row.shows, "closed")
			reads(line.P == gpio.PullUp, row.broken, "broken wire")
		})
	}
}

type unreadable struct {
	*gpiotest.Pin
	err error
}

func (p *unreadable) Level() (gpio.Level, error) { return p.L, p.err }

// TestContactUnreadable: a line that cannot be read is a fault of its sensor, even if
// its level would mean a closed contact, and the others are still read.
func TestContactUnreadable(t *testing.T) {
	b := newBench(t)
	fan := &unreadable{Pin: &gpiotest.Pin{N: "GPIO6"}}
	b.pins["GPIO6"] = fan
	var text bytes.Buffer
	hw := b.hardware()
	hw.Log = slog.New(slog.NewTextHandler(&text, nil))
	bays := mustOpen(t, wired(), hw)
	fan.L = gpio.Low
	if got := sample(t, bays[0]); !got.Airflow.OK() || got.Airflow.Value != 1 {
		t.Fatalf("low with active_low: got %+v", got.Airflow)
	}
	fan.err = errAbsent
	if got := sample(t, bays[0]); got.Airflow.Fault != reading.NoAnswer || got.Airflow.Value != 0 || !got.ChargerComplete.OK() || !got.ContactorClosed.OK() {
		t.Errorf("unreadable: got %+v; the others %+v, %+v", got.Airflow, got.ChargerComplete, got.ContactorClosed)
	}
	if !strings.Contains(text.String(), "sensor=airflow fault=no-answer") {
		t.Errorf("log: %s", text.String())
	}
	fan.err = nil
	if got := sample(t, bays[0]); !got.Airflow.OK() {
		t.Errorf("readable again: got %+v", got.Airflow)
	}
}

// TestLog: one line for a change, none for a repetition, and a limit for a sensor
// whose faults come and go.
func TestLog(t *testing.T) {
	b, cfg := newBench(t), wired()
	cfg.Bays[0].Wiring = wiring.Parts{I2C: "1", Voltage: cfg.Bays[0].Wiring.Voltage, Relay: cfg.Bays[0].Wiring.Relay}
	cfg.Bays[0].Wiring.Relay.Feedback = nil
	var text bytes.Buffer
	hw := b.hardware()
	hw.Log = slog.New(slog.NewTextHandler(&text, nil))
	bays := mustOpen(t, cfg, hw)
	round := func(err error) int {
		text.Reset()
		b.bus.err = err
		sample(t, bays[0])
		b.now += quietFor / 4
		return strings.Count(text.String(), "\n")
	}
	if round(nil) != 0 {
		t.Error("a good start was logged")
	}
	if round(errAbsent) != 1 || !strings.Contains(text.String(), "bay=bay-1 sensor=voltage fault=no-answer") || !strings.Contains(text.String(), "remote I/O error") {
		t.Errorf("a fault: got %q", text.String())
	}
	if round(errAbsent)+round(nil)+round(errAbsent) != 0 {
		t.Errorf("repetition and flapping: got %q", text.String())
	}
	if round(nil) != 1 || !strings.Contains(text.String(), "good again") {
		t.Errorf("recovery: got %q", text.String())
	}
}

// BenchmarkSample samples the inputs and contacts of a bay once.
func BenchmarkSample(b *testing.B) {
	h := newBench(b)
	h.bus.pins = [4]float64{2.26, 1.9, 0.275, 0.75}
	bays := mustOpen(b, wired(), h.hardware())
	var out bay.Readings
	b.ReportAllocs()
	for b.Loop() {
		for _, s := range bays[0].Sources() {
			if s.Name() != "1-wire" {
				s.Sample(b.Context(), &out)
			}
		}
	}
}

// BenchmarkSampleOneWire reads one temperature from a file in memory.
func BenchmarkSampleOneWire(b *testing.B) {
	h, cfg := newBench(b), wired()
	cfg.Bays[0].Wiring.Temperature.Ambient = ""
	bays := mustOpen(b, cfg, h.hardware())
	var out bay.Readings
	b.ReportAllocs()
	for b.Loop() {
		h.now += reading.PackTemperature.Every()
		bays[0].Sources()[1].Sample(b.Context(), &out)
	}
}

func TestSampleDoesNotAllocate(t *testing.T) {
	h := newBench(t)
	h.bus.pins = [4]float64{2.26, 1.9, 0.275, 0.75}
	bays := mustOpen(t, wired(), h.hardware())
	var out bay.Readings
	ctx := t.Context()
	for _, i := range []int{0, 2} {
		s := bays[0].Sources()[i]
		if n := testing.AllocsPerRun(100, func() { s.Sample(ctx, &out) }); n != 0 {
			t.Errorf("%s: %g allocations", s.Name(), n)
		}
	}
}
