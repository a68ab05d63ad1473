package sensors_test

import (
	"bytes"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// garage is two simulated bays whose packs have their own sensors, each bay with its
// own 1-wire bus.
type garage struct {
	t     *testing.T
	bench *sim.Bench
	truth [2]*sim.Stand
	bays  []*sensors.Set
	log   bytes.Buffer
}

func newGarage(t *testing.T) *garage {
	t.Helper()
	g := &garage{t: t, bench: sim.NewBench()}
	cfg := &config.Config{Packs: []config.Pack{
		{Name: "lift-a", Sensor: "28-00000000000a"}, {Name: "lift-b", Sensor: "28-00000000000b"}, {Name: "lift-c", Sensor: "28-00000000000c"},
	}}
	for i, bus := range []string{"w1_bus_master2", "w1_bus_master3"} {
		name := []string{"bay-1", "bay-2"}[i]
		parts := func(offsetC float64) wiring.Parts {
			return wiring.Parts{
				I2C: name, Temperature: &wiring.Temperature{Ambient: "28-0000000000ff", Bus: bus, OffsetC: offsetC}, Relay: &wiring.Relay{Pin: name},
			}
		}
		var err error
		g.truth[i], err = g.bench.Add(g.pack(name, cfg.Packs[i].Sensor, 20+10*float64(i)), parts(0))
		require.NoError(t, err)
		cfg.Bays = append(cfg.Bays, config.Bay{Name: name, Packs: []string{"lift-a", "lift-b", "lift-c"}, Wiring: parts(0.5)})
	}
	var err error
	g.bays, err = sensors.Open(cfg, sensors.Hardware{
		Bus: g.bench.Bus, SPI: g.bench.SPI, Pin: g.bench.Input, OneWire: g.bench.OneWire(), Wait: g.bench.Wait, Now: g.bench.Now,
		Log: slog.New(slog.NewTextHandler(&g.log, nil)),
	})
	require.NoError(t, err)
	return g
}

func (g *garage) pack(name, sensor string, packC float64) sim.Opts {
	return sim.Opts{
		Name: name, Cells: 12, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130, StateOfCharge: 0.5, LevelMM: 8,
		AmbientC: 20, PackC: packC, Connected: true, Seed: 1, OwnSensor: sensor,
	}
}

// look samples a bay's 1-wire bus after the time of a kernel's search.
func (g *garage) look(i int) bay.Readings {
	g.bench.Advance(3 * time.Second)
	var r bay.Readings
	for _, s := range g.bays[i].Sources() {
		if s.Name() == "1-wire" {
			s.Sample(g.t.Context(), &r)
		}
	}
	return r
}

func (g *garage) wants(i int, name string, fault reading.Fault) bay.Readings {
	g.t.Helper()
	r := g.look(i)
	require.Equal(g.t, name, r.Pack.Name)
	require.Equal(g.t, fault, r.Pack.Fault)
	require.Equal(g.t, g.bench.Now(), r.Pack.At)
	return r
}

// TestPacksAreIdentified: packs are identified by their own sensors, each at the bay
// whose bus it is on, and their temperature moves with them.
func TestPacksAreIdentified(t *testing.T) {
	g := newGarage(t)
	require.InDelta(t, 20.5, g.wants(0, "lift-a", reading.None).PackC.Value, 0.1)
	require.InDelta(t, 30.5, g.wants(1, "lift-b", reading.None).PackC.Value, 0.1)

	_, err := g.truth[0].Exchange(&sim.Battery{})
	require.ErrorIs(t, err, sim.ErrPlugged)
	g.truth[0].Unplug()
	g.truth[1].Unplug()
	require.False(t, g.wants(0, "", reading.NoAnswer).PackC.OK(), "the kernel still lists it")
	c, err := g.bench.NewBattery(g.pack("", "28-00000000000c", 25))
	require.NoError(t, err)
	a, err := g.truth[0].Exchange(c)
	require.NoError(t, err)
	b, err := g.truth[1].Exchange(a)
	require.NoError(t, err)
	_, err = g.truth[0].Exchange(b)
	require.NoError(t, err)
	g.truth[0].Connect()
	g.truth[1].Connect()
	require.InDelta(t, 30.5, g.wants(0, "lift-b", reading.None).PackC.Value, 0.2)
	require.InDelta(t, 20.5, g.wants(1, "lift-a", reading.None).PackC.Value, 0.2)
	require.True(t, g.look(0).AmbientC.OK(), "the air has a sensor on another bus")
}

// TestSensorsThatDoNotAnswer: a damaged answer identifies no pack; a sensor that was
// only just switched on identifies its pack, without a temperature.
func TestSensorsThatDoNotAnswer(t *testing.T) {
	g := newGarage(t)
	g.truth[0].SetFault(sim.TemperatureCRC, true)
	g.wants(0, "", reading.NoAnswer)
	g.truth[0].SetFault(sim.TemperatureCRC, false)
	g.truth[0].SetFault(sim.TemperaturePowerOn, true)
	r := g.wants(0, "lift-a", reading.None)
	require.Equal(t, reading.PowerOn, r.PackC.Fault)
	g.truth[0].SetFault(sim.TemperaturePowerOn, false)
	g.truth[0].SetFault(sim.TemperatureUnplugged, true)
	g.wants(0, "", reading.NoAnswer)
	g.bench.Advance(2 * time.Minute)
	g.wants(0, "", reading.NoAnswer)
	g.truth[0].SetFault(sim.TemperatureUnplugged, false)
	g.wants(0, "lift-a", reading.None)
}

// TestStrangeSensor: an unknown number identifies no pack, and is logged for the person
// who has to enter it in the configuration.
func TestStrangeSensor(t *testing.T) {
	g := newGarage(t)
	g.truth[0].Unplug()
	strange, err := g.bench.NewBattery(g.pack("", "28-0000000000ee", 25))
	require.NoError(t, err)
	_, err = g.truth[0].Exchange(strange)
	require.NoError(t, err)
	g.truth[0].Connect()
	g.wants(0, "", reading.NoAnswer)
	g.wants(0, "", reading.NoAnswer)
	require.Equal(t, 1, bytes.Count(g.log.Bytes(), []byte("found a thermometer that belongs to no pack in the configuration")))
	require.Contains(t, g.log.String(), "number=28-0000000000ee")
}

// TestTwoSensorsOnOneBus: two packs' sensors on one bus contradict each other.
func TestTwoSensorsOnOneBus(t *testing.T) {
	g := newGarage(t)
	_, err := g.bench.Add(sim.Opts{
		Name: "crossed", Cells: 12, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130, StateOfCharge: 0.5, LevelMM: 8,
		AmbientC: 20, Connected: true, Seed: 9, OwnSensor: "28-00000000000c",
	}, wiring.Parts{I2C: "other", Temperature: &wiring.Temperature{Bus: "w1_bus_master2"}})
	require.NoError(t, err)
	r := g.wants(0, "", reading.Contradictory)
	require.Equal(t, reading.Contradictory, r.PackC.Fault)
	g.wants(1, "lift-b", reading.None)
}
