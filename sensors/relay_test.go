package sensors

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"syscall"
	"testing"

	"periph.io/x/conn/v3/gpio"
	"pgregory.net/rapid"

	"bayward/agent/config"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

func TestRelay(t *testing.T) {
	b := newBench(t)
	r := mustOpen(t, wired(), b.hardware())[0].Relay()
	for _, l := range b.relay.levels {
		if l != gpio.Low {
			t.Fatalf("opening drove the relay %v", b.relay.levels)
		}
	}
	if len(b.relay.levels) == 0 || b.beat.last() != gpio.Low || r.Closed() {
		t.Fatal("opening did not drive the lines low")
	}
	before := len(b.relay.levels)
	for _, closed := range []bool{true, true, false, false, true} {
		if err := r.Set(closed); err != nil {
			t.Fatal(err)
		}
		if b.relay.last() != gpio.Level(closed) || r.Closed() != closed {
			t.Errorf("set %v: line %s, remembered %v", closed, b.relay.last(), r.Closed())
		}
	}
	if got := len(b.relay.levels) - before; got != 5 {
		t.Errorf("5 commands made %d writes: each must refresh the line", got)
	}
	for _, want := range []gpio.Level{gpio.High, gpio.Low, gpio.High} {
		if err := r.Beat(); err != nil || b.beat.last() != want {
			t.Errorf("beat: %v, %s, want %s", err, b.beat.last(), want)
		}
	}
	if err := errors.Join(r.Halt(), r.Halt()); err != nil || r.Closed() || b.relay.last() != gpio.Low || b.beat.last() != gpio.Low {
		t.Errorf("halt: %v, relay %s, heartbeat %s", err, b.relay.last(), b.beat.last())
	}
	if err := r.Set(true); !errors.Is(err, ErrHalted) || b.relay.last() != gpio.Low {
		t.Errorf("a halted relay was closed: %v, %s", err, b.relay.last())
	}
	if err := r.Beat(); !errors.Is(err, ErrHalted) || b.beat.last() != gpio.Low {
		t.Errorf("a halted relay beats: %v", err)
	}
	if err := r.Set(false); err != nil {
		t.Errorf("opening a halted relay: %v", err)
	}
}

func TestRelayLineFails(t *testing.T) {
	b := newBench(t)
	r := mustOpen(t, wired(), b.hardware())[0].Relay()
	if err := r.Set(true); err != nil {
		t.Fatal(err)
	}
	gone := errors.New("line is gone")
	b.relay.err = gone
	if err := r.Set(false); !errors.Is(err, gone) || !r.Closed() || !strings.Contains(err.Error(), `bay bay-1: wiring.relay.pin: pin "GPIO17"`) {
		t.Errorf("failed to open: %v, remembered closed %v; it may still be closed", err, r.Closed())
	}
	if err := r.Set(true); !errors.Is(err, gone) || r.Closed() {
		t.Errorf("failed to close: %v, remembered closed %v", err, r.Closed())
	}
	if err := r.Halt(); !errors.Is(err, gone) || b.beat.last() != gpio.Low {
		t.Errorf("halt: %v, heartbeat %s", err, b.beat.last())
	}
	b.beat.err = gone
	r.halted = false
	if err := r.Beat(); !errors.Is(err, gone) {
		t.Errorf("beat: got %v", err)
	}
}

// TestRelayCommands: whatever happens, a working line is high only after a command
// to close that nothing else has followed.
func TestRelayCommands(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		pin := &outPin{t: t, name: "relay"}
		r, err := newRelay(pin, nil)
		if err != nil {
			rt.Fatal(err)
		}
		allowed, halted := false, false
		rt.Repeat(map[string]func(*rapid.T){
			"close": func(*rapid.T) { allowed = r.Set(true) == nil },
			"open":  func(*rapid.T) { _ = r.Set(false); allowed = false },
			"halt":  func(*rapid.T) { _ = r.Halt(); allowed, halted = false, true },
			"beat":  func(*rapid.T) { _ = r.Beat() },
			"": func(rt *rapid.T) {
				if bool(pin.last()) != allowed || r.Closed() != allowed || allowed && halted {
					rt.Fatalf("line %s, remembered %v, allowed %v, halted %v", pin.last(), r.Closed(), allowed, halted)
				}
			},
		})
	})
}

func TestOpenErrors(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*wiring.Parts)
		want   string
	}{
		{"no relay", func(w *wiring.Parts) { w.Relay = nil }, "bay bay-1: wiring.relay: no relay is configured"},
		{"relay line", func(w *wiring.Parts) { w.Relay.Pin = "GPIO99" }, `bay bay-1: wiring.relay.pin: pin "GPIO99": no such line`},
		{"heartbeat line", func(w *wiring.Parts) { w.Relay.Heartbeat = "GPIO99" }, `wiring.relay.heartbeat: pin "GPIO99"`},
		{"feedback line", func(w *wiring.Parts) { w.Relay.Feedback.Pin = "GPIO99" }, `wiring.relay.feedback: pin "GPIO99"`},
		{"dead line", func(w *wiring.Parts) { w.Airflow.Pin = "dead" }, `wiring.airflow: pin "dead": make it an input with PullUp`},
		{"bus", func(w *wiring.Parts) { w.I2C = "9" }, `wiring.voltage: i2c "9": no such bus`},
		{"address", func(w *wiring.Parts) { w.Current.ADC = 0x50 }, "wiring.current: ads1115: address 0x50"},
		{"channel", func(w *wiring.Parts) { w.Level.Channel = 4 }, "wiring.level: the converter cannot measure channel 4"},
		{"range", func(w *wiring.Parts) { w.Hydrogen.RangeV = 5 }, "wiring.hydrogen: range_v 5 is not one of"},
		{"rate", func(w *wiring.Parts) { w.Voltage.Rate = 100 }, "wiring.voltage: rate 100 is not one of"},
		{"kind", func(w *wiring.Parts) { w.Level.Kind = "float" }, `wiring.level: kind "float" is not one of`},
		{"circuit", func(w *wiring.Parts) { w.Level.EndOhm = 1e9 }, "wiring.level: level: "},
		{"transmitter", func(w *wiring.Parts) { w.Level = &wiring.Level{Input: channel(2), Kind: level.FourTwentyMA} }, "wiring.level: level: shunt"},
		{"sensor number", func(w *wiring.Parts) { w.Temperature.Ambient = "first" }, "wiring.temperature.ambient: w1therm:"},
	} {
		b, cfg := newBench(t), wired()
		b.pins["dead"] = gpio.INVALID
		tc.change(&cfg.Bays[0].Wiring)
		bays, err := Open(cfg, b.hardware())
		if err == nil || !strings.Contains(err.Error(), tc.want) || bays != nil {
			t.Errorf("%s: got %v, want %q", tc.name, err, tc.want)
		}
		for _, l := range b.relay.levels {
			if l != gpio.Low {
				t.Errorf("%s: the relay was driven high", tc.name)
			}
		}
	}
	if _, err := Open(wired(), Hardware{}); err == nil || !strings.Contains(err.Error(), "bug:") {
		t.Errorf("no hardware: got %v", err)
	}
	hw := newBench(t).hardware()
	hw.OneWire = nil
	if _, err := Open(wired(), hw); err == nil || !strings.Contains(err.Error(), "no 1-wire bus") {
		t.Errorf("no 1-wire bus: got %v", err)
	}
}

// takenPin is a line that another program has, as reported by periph's kernel driver
// v3.8.5 (gpioioctl/gpio.go), as text only: the first command returns the error,
// later ones have no line at all.
type takenPin struct {
	gpio.PinIO
	asked int
}

func (p *takenPin) Out(gpio.Level) error {
	p.asked++
	if p.asked > 1 {
		return syscall.ENOTTY
	}
	return fmt.Errorf("GPIOLine.Out(): line_request ioctl: %w", errors.New(syscall.EBUSY.Error()))
}

func (p *takenPin) In(gpio.Pull, gpio.Edge) error { return p.Out(gpio.Low) }

// TestTakenLine: whichever line another program has, the error names it and what to
// do, and every other line is low.
func TestTakenLine(t *testing.T) {
	for field, pin := range map[string]string{
		"wiring.relay.pin": "GPIO17", "wiring.relay.heartbeat": "GPIO27", "wiring.relay.feedback": "GPIO5", "wiring.airflow": "GPIO6",
	} {
		b := newBench(t)
		b.pins[pin] = &takenPin{}
		_, err := Open(wired(), b.hardware())
		for _, want := range []string{"bay bay-1: " + field, pin, "busy. Another program has this line", "systemctl stop bayward", "gpioinfo"} {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: got %v, want %q", field, err, want)
			}
		}
		for _, o := range []*outPin{b.relay, b.beat} {
			if o.name != pin && (len(o.levels) == 0 || slices.Contains(o.levels, gpio.High)) {
				t.Errorf("%s is taken: %s was driven to %v", pin, o.name, o.levels)
			}
		}
	}
}

// TestOutputsSafe: a line that cannot be driven does not stop the others.
func TestOutputsSafe(t *testing.T) {
	b, cfg := newBench(t), twoBays()
	last := &outPin{t: t, name: "GPIO22"}
	b.pins["GPIO22"] = last
	b.relay.err = errors.New("line is busy")
	cfg.Bays = append(cfg.Bays, config.Bay{Name: "bay-3"}, config.Bay{Name: "bay-4", Wiring: wiring.Parts{Relay: &wiring.Relay{Pin: "GPIO99"}}})
	hw := Hardware{Pin: b.hardware().Pin} // no clock, no bus
	err := OutputsSafe(cfg, hw)
	if err == nil || !strings.Contains(err.Error(), `bay bay-1: wiring.relay.pin: pin "GPIO17" to Low: line is busy`) || !strings.Contains(err.Error(), `bay bay-4: wiring.relay.pin: pin "GPIO99"`) {
		t.Errorf("got %v", err)
	}
	if len(b.beat.levels) != 1 || len(last.levels) != 1 || b.beat.last() != gpio.Low || last.last() != gpio.Low {
		t.Errorf("heartbeat %v, second relay %v, want low once each", b.beat.levels, last.levels)
	}
	b.relay.err = nil
	cfg.Bays = cfg.Bays[:3]
	if err := OutputsSafe(cfg, hw); err != nil || b.relay.last() != gpio.Low {
		t.Errorf("all well: got %v", err)
	}
}
