package sensors

import (
	"errors"
	"fmt"
	"strings"
	"syscall"
	"testing"

	"periph.io/x/conn/v3/gpio"

	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

func TestOpenErrors(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*wiring.Parts)
		want   string
	}{
		{"feedback line", func(w *wiring.Parts) { w.Relay.Feedback.Pin = "GPIO99" }, `wiring.relay.feedback: pin "GPIO99"`},
		{"dead line", func(w *wiring.Parts) { w.Airflow.Pin = "dead" }, `wiring.airflow: pin "dead": make it an input with PullUp`},
		{"bus", func(w *wiring.Parts) { w.I2C = "9" }, `wiring.voltage: i2c "9": no such bus`},
		{"address", func(w *wiring.Parts) { w.Current.ADC = 0x50 }, "wiring.current: ads1115: address 0x50"},
		{"channel", func(w *wiring.Parts) { w.Level.Channel = 4 }, "wiring.level: channel 4 is not between 0 and 3"},
		{"range", func(w *wiring.Parts) { w.Hydrogen.RangeV = 5 }, "wiring.hydrogen: range_v 5 must be 6.144, 4.096"},
		{"rate", func(w *wiring.Parts) { w.Voltage.Rate = 100 }, "wiring.voltage: rate 100 is not one of"},
		{"kind", func(w *wiring.Parts) { w.Level.Kind = "float" }, `wiring.level: kind "float" is not one of`},
		{"circuit", func(w *wiring.Parts) { *w.Level = crossed(channel(0)) }, "wiring.level: level: "},
		{"expander", func(w *wiring.Parts) {
			*w.Level = crossed(channel(0))
			w.Level.Rods, w.Level.Expander = w.Level.Rods[:1], 0x30
		}, "wiring.level: expander: tca9534: address 0x30"},
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
	gpio.PinIn
	asked int
}

func (p *takenPin) In(gpio.Pull, gpio.Edge) error {
	p.asked++
	if p.asked > 1 {
		return syscall.ENOTTY
	}
	return fmt.Errorf("GPIOLine.In(): line_request ioctl: %w", errors.New(syscall.EBUSY.Error()))
}

// TestTakenLine: whichever line another program has, the error names it and what to
// do.
func TestTakenLine(t *testing.T) {
	for field, pin := range map[string]string{"wiring.relay.feedback": "GPIO5", "wiring.airflow": "GPIO6"} {
		b := newBench(t)
		b.pins[pin] = &takenPin{}
		_, err := Open(wired(), b.hardware())
		for _, want := range []string{"bay bay-1: " + field, pin, "busy. Another program has this line", "systemctl stop bayward", "gpioinfo"} {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: got %v, want %q", field, err, want)
			}
		}
	}
}
