package sensors

import (
	"context"
	"encoding/binary"
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// errStuck and errAbsent have the sysfs driver's texts on a Pi.
var (
	errStuck  = errors.New("sysfs-i2c: connection timed out")
	errAbsent = errors.New("sysfs-i2c: remote I/O error")
)

// converterBus is a bus with one converter at 0x48 that converts at once.
type converterBus struct {
	mu   sync.Mutex
	reg  [4]uint16
	pins [4]float64
	err  error
	txs  int
}

func newConverterBus() *converterBus {
	return &converterBus{reg: [4]uint16{0, 0x8583, 0x8000, 0x7fff}}
}

func (c *converterBus) String() string                  { return "fake" }
func (c *converterBus) SetSpeed(physic.Frequency) error { return nil }

func (c *converterBus) Tx(addr uint16, w, r []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.txs++
	switch {
	case c.err != nil:
		return c.err
	case addr != 0x48:
		return errAbsent
	}
	if len(w) == 3 {
		v := binary.BigEndian.Uint16(w[1:])
		c.reg[w[0]] = v
		if w[0] == 1 && v&0x8000 != 0 {
			c.reg[0] = c.code(v)
		}
	}
	if len(r) == 2 {
		v := c.reg[w[0]]
		if w[0] == 1 {
			v |= 0x8000
		}
		binary.BigEndian.PutUint16(r, v)
	}
	return nil
}

func (c *converterBus) code(config uint16) uint16 {
	pairs := [8][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}}
	fs := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}[config>>9&7]
	pair := pairs[config>>12&7]
	v := c.pins[pair[0]]
	if pair[1] >= 0 {
		v -= c.pins[pair[1]]
	}
	return uint16(int16(min(max(v/fs*32768, -32768), 32767)))
}

// bench is the hardware of a test.
type bench struct {
	bus      *converterBus
	pins     map[string]gpio.PinIn
	files    fstest.MapFS
	now      time.Duration
	busAsked []string
}

const (
	packID    = "28-000000000001"
	ambientID = "28-000000000002"
)

func w1(milli string) *fstest.MapFile {
	return &fstest.MapFile{Data: []byte("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=" + milli + "\n")}
}

func newBench(testing.TB) *bench {
	b := &bench{bus: newConverterBus(), now: time.Hour}
	b.pins = map[string]gpio.PinIn{ // without the relay's lines, which are not for us
		"GPIO5": &gpiotest.Pin{N: "GPIO5"}, "GPIO6": &gpiotest.Pin{N: "GPIO6"}, "GPIO13": &gpiotest.Pin{N: "GPIO13"},
	}
	b.files = fstest.MapFS{packID + "/w1_slave": w1("31250"), ambientID + "/w1_slave": w1("18500")}
	return b
}

func (b *bench) hardware() Hardware {
	return Hardware{
		Bus: func(name string) (i2c.Bus, error) {
			b.busAsked = append(b.busAsked, name)
			if name == "9" {
				return nil, errors.New("no such bus")
			}
			return b.bus, nil
		},
		Pin: func(name string) (gpio.PinIn, error) {
			if pin, ok := b.pins[name]; ok {
				return pin, nil
			}
			return nil, errors.New("no such line")
		},
		OneWire: b.files,
		Wait:    func(ctx context.Context, _ time.Duration) error { return ctx.Err() },
		Now:     func() time.Duration { return b.now },
	}
}

func channel(n int) wiring.Input {
	return wiring.Input{ADC: 0x48, Channel: n, RangeV: 4.096, Rate: 860}
}

// wired returns a bay with every part fitted.
func wired() *config.Config {
	return &config.Config{Bays: []config.Bay{{Name: "bay-1", Wiring: wiring.Parts{
		I2C:         "1",
		Voltage:     &wiring.Voltage{Input: channel(0), Ratio: 11, OffsetV: 0.01},
		Current:     &wiring.Current{Input: channel(1), Kind: "hall", ZeroV: 1.65, AmperesPerVolt: -80},
		Temperature: &wiring.Temperature{Pack: packID, Ambient: ambientID, OffsetC: -0.5},
		Level: &wiring.Level{
			Input: channel(2), Kind: level.FourTwentyMA, Settings: level.Settings{ShuntOhm: 25, LowMM: -20, HighMM: 30, OffsetMM: 1.5},
		},
		Hydrogen: &wiring.Analog{Input: channel(3), ZeroV: 0.5, PerVolt: 2},
		Relay:    &wiring.Relay{Pin: "GPIO17", Heartbeat: "GPIO27", Feedback: &wiring.Contact{Pin: "GPIO5", ActiveLow: true}},
		Airflow:  &wiring.Contact{Pin: "GPIO6", ActiveLow: true},
		Complete: &wiring.Contact{Pin: "GPIO13"},
	}}}}
}

func mustOpen(t testing.TB, cfg *config.Config, hw Hardware) []*Set {
	t.Helper()
	bays, err := Open(cfg, hw)
	if err != nil {
		t.Fatal(err)
	}
	return bays
}

// sample samples all sources of a bay once.
func sample(t testing.TB, b *Set) bay.Readings {
	t.Helper()
	var out bay.Readings
	for _, s := range b.Sources() {
		s.Sample(t.Context(), &out)
	}
	return out
}

// all returns the plain readings by name.
func all(r *bay.Readings) map[string]*reading.Reading {
	return map[string]*reading.Reading{
		"pack voltage": &r.PackV, "current": &r.CurrentA, "pack temperature": &r.PackC, "ambient": &r.AmbientC,
		"hydrogen": &r.HydrogenPct, "airflow": &r.Airflow, "feedback": &r.ContactorClosed, "complete": &r.ChargerComplete,
	}
}

func TestPi(t *testing.T) {
	hw, _, err := Pi()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := hw.Bus("no-such-bus"); err == nil || !strings.Contains(err.Error(), "group i2c") {
		t.Errorf("bus: got %v, want the group named", err)
	}
	if _, err := hw.Bus(""); err == nil {
		t.Error("a bus without a name was opened")
	}
	if _, err := hw.Pin("no-such-line"); err == nil || !strings.Contains(err.Error(), "group gpio") {
		t.Errorf("line: got %v, want the group named", err)
	}
	if hw.OneWire == nil {
		t.Error("no folder of 1-wire devices")
	}
}
