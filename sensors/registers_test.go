package sensors_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/spi"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/reading"
	"bayward/sensors"
	"bayward/sensors/families"
	"bayward/sensors/modbus"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

var yardPack = config.Pack{Name: "lift-24v", Cells: 12, CapacityAh: 225, VentWellMM: 22, FillMarkMM: 13, FreeSurfaceCM2: 130}

// otherWires wires one bay as change does, and opens it with hw changed by spoil.
func otherWires(t *testing.T, change func(*wiring.Parts), spoil func(*sensors.Hardware)) (*yard, error) {
	t.Helper()
	w := config.DefaultWiring(0, yardPack)
	change(&w)
	y := &yard{bench: sim.NewBench()}
	var err error
	y.truth, err = y.bench.Add(sim.Opts{
		Name: "bay-1", Cells: 12, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130,
		StateOfCharge: 0.5, LevelMM: 9, AmbientC: 20, PackC: 26, Connected: true, Seed: 1,
	}, w)
	if err != nil {
		t.Fatal(err)
	}
	hw := hardware.OfBench(y.bench)
	if spoil != nil {
		spoil(&hw)
	}
	bays, err := sensors.Open(&config.Config{Modbus: []wiring.Line{configtest.Meters}, Bays: []config.Bay{{Name: "bay-1", Wiring: w}}}, hw)
	if err != nil {
		return nil, err
	}
	if y.relay, err = y.bench.Pin(w.Relay.Pin); err != nil {
		t.Fatal(err)
	}
	y.bay = bays[0]
	y.bench.Advance(10 * time.Second)
	return y, nil
}

// onFamily puts every input on converters of a family.
func onFamily(name string) func(*wiring.Parts) {
	return func(w *wiring.Parts) {
		if f, ok := families.Named(name); ok {
			configtest.OnFamily(w, f, yardPack.Cells)
		}
	}
}

// agrees compares what is read with the truth.
func (y *yard) agrees(t *testing.T) {
	t.Helper()
	got, so := y.sample(t), y.truth.Truth()
	near(t, "pack voltage", got.PackV, so.PackV, 0.05)
	near(t, "current", got.CurrentA, so.CurrentA, 0.1)
	near(t, "pack temperature", got.PackC, so.PackC, 0.2)
	near(t, "ambient", got.AmbientC, so.AmbientC, 0.1)
	near(t, "hydrogen", got.HydrogenPct, so.HydrogenPct, 0.01)
	if mm := so.Cells[y.truth.PilotCell()-1].LevelMM; !got.Level.Usable() || got.Level.LowMM < mm-0.2 || got.Level.HighMM > mm+0.2 {
		t.Errorf("level %+v, want %g", got.Level, mm)
	}
	if !got.Airflow.OK() || got.Airflow.Value != 1 || !got.ChargerComplete.OK() || got.ChargerComplete.Value != 0 {
		t.Errorf("fan %+v, complete %+v", got.Airflow, got.ChargerComplete)
	}
}

// TestOtherWires: whatever a bay is read through, it reads the true state, at rest and on
// charge.
func TestOtherWires(t *testing.T) {
	for name, change := range map[string]func(*wiring.Parts){
		"registers": configtest.OnRegisters,
		"platinum":  configtest.OnPlatinum,
		"ads1118":   onFamily("ads1118"),
		"ina228":    onFamily("ina228"),
		"platinum with an offset": func(w *wiring.Parts) {
			configtest.OnPlatinum(w)
			w.Temperature.OffsetC = 3
		},
	} {
		t.Run(name, func(t *testing.T) {
			y, err := otherWires(t, change, nil)
			if err != nil {
				t.Fatal(err)
			}
			y.agrees(t)
			if err := y.relay.Out(gpio.High); err != nil {
				t.Fatal(err)
			}
			y.bench.Advance(time.Minute)
			y.agrees(t)
		})
	}
}

// TestOtherFaults: each fault of devices and thermometers has its name, and is gone with
// its cause.
func TestOtherFaults(t *testing.T) {
	level := func(r *bay.Readings) reading.Fault { return r.Level.Fault }
	warm := func(r *bay.Readings) reading.Fault { return r.PackC.Fault }
	air := func(r *bay.Readings) reading.Fault { return r.Airflow.Fault }
	for _, tc := range []struct {
		change func(*wiring.Parts)
		fault  sim.FaultKind
		of     func(*bay.Readings) reading.Fault
		want   reading.Fault
	}{
		{configtest.OnRegisters, sim.ModbusSilent, level, reading.NoAnswer},
		{configtest.OnRegisters, sim.ModbusDamaged, level, reading.BadCRC},
		{configtest.OnRegisters, sim.ModbusShort, level, reading.BadCRC},
		{configtest.OnRegisters, sim.ModbusOther, level, reading.Exchanged},
		{configtest.OnRegisters, sim.ModbusException, level, reading.Contradictory},
		{configtest.OnRegisters, sim.ModbusBusy, level, reading.Timeout},
		{configtest.OnRegisters, sim.ModbusFrozen, level, reading.NotMoving},
		{configtest.OnRegisters, sim.ModbusFrozen, air, reading.NotMoving}, // by the counter of the level's device
		{configtest.OnRegisters, sim.ModbusSwapped, level, reading.Implausible},
		{configtest.OnRegisters, sim.ModbusFailure, level, reading.Open},
		{configtest.OnRegisters, sim.ModbusFailure, warm, reading.Open},
		{configtest.OnRegisters, sim.ModbusLineGone, air, reading.BusStuck},
		{configtest.OnPlatinum, sim.TemperatureUnplugged, warm, reading.Open},
		{configtest.OnPlatinum, sim.TemperatureShorted, warm, reading.Short},
		{configtest.OnPlatinum, sim.ADCAbsent, warm, reading.NoAnswer},
		{configtest.OnPlatinum, sim.BusStuck, warm, reading.BusStuck},
		{configtest.OnPlatinum, sim.ConversionStuck, warm, reading.Timeout},
		{configtest.OnPlatinum, sim.ConfigReset, warm, reading.Contradictory},
	} {
		y, err := otherWires(t, tc.change, nil)
		if err != nil {
			t.Fatal(err)
		}
		y.sample(t)
		y.truth.SetFault(tc.fault, true)
		for range 10 {
			y.bench.Advance(time.Second)
			y.sample(t)
		}
		if got := y.sample(t); tc.of(&got) != tc.want {
			t.Errorf("%s: got %s, want %s", tc.fault, tc.of(&got), tc.want)
		}
		y.truth.SetFault(tc.fault, false)
		y.bench.Advance(time.Minute)
		if got := y.sample(t); tc.of(&got) != reading.None {
			t.Errorf("%s repaired: got %s", tc.fault, tc.of(&got))
		}
	}
}

// TestASilentLineIsAskedOnce: a pass over a dead line takes the time of one answer for
// each device, and of one opening for a line that is gone.
func TestASilentLineIsAskedOnce(t *testing.T) {
	opened := 0
	y, err := otherWires(t, configtest.OnRegisters, func(hw *sensors.Hardware) {
		open := hw.Modbus
		hw.Modbus = func(l *wiring.Line) (modbus.Master, error) { opened++; return open(l) }
	})
	if err != nil {
		t.Fatal(err)
	}
	y.truth.SetFault(sim.ModbusLineGone, true)
	y.sample(t)
	if opened != 1 {
		t.Errorf("opened %d times in one pass over a line that is gone", opened)
	}
	y.truth.SetFault(sim.ModbusLineGone, false)
	y.bench.Advance(time.Second)
	y.sample(t)
	y.truth.SetFault(sim.ModbusSilent, true)
	opened = 0
	y.sample(t)
	if opened > 5 { // the bay has five devices
		t.Errorf("opened %d times in one pass over five silent devices", opened)
	}
}

// TestHardwareThatLacksABus: the error names the part.
func TestHardwareThatLacksABus(t *testing.T) {
	for name, tc := range map[string]struct {
		change func(*wiring.Parts)
		spoil  func(*sensors.Hardware)
		want   string
	}{
		"no Modbus":              {configtest.OnRegisters, func(hw *sensors.Hardware) { hw.Modbus = nil }, "wiring.registers[0]: this hardware has no Modbus"},
		"no SPI":                 {configtest.OnPlatinum, func(hw *sensors.Hardware) { hw.SPI = nil }, "wiring.temperature.rtd[0]: this hardware has no SPI"},
		"no SPI for a converter": {onFamily("ads1118"), func(hw *sensors.Hardware) { hw.SPI = nil }, "wiring.voltage: this hardware has no SPI"},
		"no such port": {onFamily("ads1118"), func(hw *sensors.Hardware) {
			hw.SPI = func(string) (spi.Port, error) { return nil, errors.New("no such file or directory") }
		}, `wiring.voltage: spi "0.0": no such file or directory`},
		"no such line": {func(w *wiring.Parts) {
			configtest.OnRegisters(w)
			w.Registers[2].Line = "yard"
		}, nil, `wiring.registers[2]: there is no Modbus line "yard"`},
	} {
		if _, err := otherWires(t, tc.change, tc.spoil); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: got %v, want %q", name, err, tc.want)
		}
	}
}
