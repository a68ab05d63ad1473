package commission_test

import (
	"strings"
	"testing"

	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/reading"
	"bayward/agent/words"
	"bayward/sensors/families"
	"bayward/sensors/wiring"
)

// TestEveryFamily: a good bay passes the whole walk on each family of converters.
func TestEveryFamily(t *testing.T) {
	for _, f := range families.All() {
		t.Run(f.Name, func(t *testing.T) {
			c := &trial{change: func(c *config.Config) {
				c.Bays = c.Bays[:1]
				configtest.OnFamily(&c.Bays[0].Wiring, f, c.Packs[0].Cells)
			}}
			rec, err := c.run(t)
			if err != nil || rec.Result() != commission.Passed || !rec.Signed {
				t.Fatalf("%v\n%s", err, rec.Text(words.EnglishSI()))
			}
		})
	}
}

// TestPlatinum: a good bay with platinum thermometers passes the walk.
func TestPlatinum(t *testing.T) {
	c := &trial{change: func(c *config.Config) {
		c.Bays = c.Bays[:1]
		configtest.OnPlatinum(&c.Bays[0].Wiring)
	}}
	rec, err := c.run(t)
	text := rec.Text(words.EnglishSI())
	if err != nil || rec.Result() != commission.Passed || !strings.Contains(text, "sensor pt100 behind a MAX31865 at SPI 0.0") {
		t.Fatalf("%v\n%s", err, text)
	}
}

// onRegisters reads the walked bay over Modbus.
func onRegisters(c *config.Config) {
	c.Bays, c.Modbus = c.Bays[:1], []wiring.Line{configtest.Meters}
	configtest.OnRegisters(&c.Bays[0].Wiring)
}

// TestRegisters: a good bay that is read over Modbus passes the walk; its devices are
// compared and not calibrated.
func TestRegisters(t *testing.T) {
	c := &trial{change: onRegisters}
	rec, err := c.run(t)
	text := rec.Text(words.EnglishSI())
	if err != nil || rec.Result() != commission.Passed || !rec.Signed {
		t.Fatalf("%v\n%s", err, text)
	}
	for _, says := range []string{"pack voltage: instrument", "probe taken off its device", "register 0, holding, unit 2 of meters"} {
		if !strings.Contains(text, says) {
			t.Errorf("the record does not say %q:\n%s", says, text)
		}
	}
	if len(rec.Calibration) > 0 {
		t.Errorf("calibrated: %v", rec.Calibration)
	}
}

// TestRegistersThatLie: what the walk finds of devices.
func TestRegistersThatLie(t *testing.T) {
	register := func(c *config.Config, s reading.Sensor) *wiring.Register { return c.Bays[0].Wiring.Register(s) }
	for name, tc := range map[string]struct {
		change, wired func(*config.Config)
		step, says    string
	}{
		"level that is kept without its probe": {
			change: func(c *config.Config) { onRegisters(c); register(c, reading.ElectrolyteLevel).Status = nil },
			step:   "level", says: "keeps after its probe is gone",
		},
		"voltage off by a fiftieth": {
			change: onRegisters, wired: func(c *config.Config) { register(c, reading.PackVoltage).Scale *= 1.02 },
			step: "voltage", says: "the instrument shows",
		},
		"current of the wrong sign": {
			change: onRegisters, wired: func(c *config.Config) { register(c, reading.PackCurrent).Scale *= -1 },
			step: "current", says: "",
		},
		"level off by a centimetre": {
			change: onRegisters, wired: func(c *config.Config) { register(c, reading.ElectrolyteLevel).Zero = 8 },
			step: "level", says: "more than 3.000 apart",
		},
	} {
		t.Run(name, func(t *testing.T) {
			c := &trial{change: tc.change, wired: tc.wired}
			rec, err := c.run(t)
			if err != nil {
				t.Fatal(err)
			}
			if s := stepOf(t, rec, tc.step); s.Result != commission.Failed || !strings.Contains(s.Why, tc.says) {
				t.Errorf("%s %q, want %q", s.Result, s.Why, tc.says)
			}
		})
	}
}
