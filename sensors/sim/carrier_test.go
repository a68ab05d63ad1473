package sim_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

func carried(t *testing.T) (*sim.Bench, *sim.Stand) {
	t.Helper()
	b := sim.NewBench()
	y, err := b.Add(
		sim.Opts{
			Name: "bay-1", Cells: 12, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130,
			StateOfCharge: 0.5, LevelMM: 10, AmbientC: 20, PackC: 23.125, Connected: true,
		},
		wiring.Parts{
			I2C: "1", Temperature: &wiring.Temperature{Pack: "28-00000000000a", Ambient: "28-000000000001"},
			Relay:   &wiring.Relay{Pin: "GPIO17", Feedback: &wiring.Contact{Pin: "GPIO23", ActiveLow: true}},
			Airflow: &wiring.Contact{Pin: "GPIO24"},
		})
	require.NoError(t, err)
	return b, y
}

func TestCarrierLines(t *testing.T) {
	b, y := carried(t)
	level := func(name string) bool {
		high, err := b.Contact(name)
		require.NoError(t, err)
		return high
	}
	require.True(t, level("GPIO23"), "an open contact to ground leaves the line to its pull-up")
	require.NoError(t, b.Drive("GPIO17", true))
	b.Advance(time.Second)
	require.True(t, y.Truth().ContactorClosed)
	require.False(t, level("GPIO23"), "a closed contact to ground pulls the line low")
	require.NoError(t, b.Drive("GPIO17", false))
	b.Advance(time.Second)
	require.False(t, y.Truth().ContactorClosed)

	require.True(t, level("GPIO24"))
	y.SetAirflow(false)
	require.False(t, level("GPIO24"))

	require.Error(t, b.Drive("GPIO23", true), "a contact is not driven")
	require.ErrorIs(t, b.Drive("GPIO5", true), sim.ErrNoPin)
	_, err := b.Contact("GPIO17")
	require.ErrorIs(t, err, sim.ErrNoPin, "an output is no contact")
}

func TestCarrierScratchpad(t *testing.T) {
	b, y := carried(t)
	require.Equal(t, []string{"28-000000000001", "28-00000000000a"}, b.Sensors())

	// The kernel's documentation of w1_slave shows 72 01 ... 57 for 23.125 °C
	// (Documentation/w1/slaves/w1_therm.rst shows the form; the value follows
	// DS18B20 data sheet table 1: 0x0172 / 16 = 23.125).
	pad, plugged, err := b.Scratchpad("28-00000000000a")
	require.NoError(t, err)
	require.True(t, plugged)
	require.Equal(t, []byte{0x72, 0x01}, pad[:2])

	y.SetFault(sim.TemperatureCRC, true)
	damaged, plugged, err := b.Scratchpad("28-00000000000a")
	require.NoError(t, err)
	require.True(t, plugged)
	require.False(t, slices.Equal(pad[:], damaged[:]))
	require.Equal(t, pad[8], damaged[8], "the CRC is that of the undamaged answer")

	y.SetFault(sim.TemperatureUnplugged, true)
	_, plugged, err = b.Scratchpad("28-00000000000a")
	require.NoError(t, err)
	require.False(t, plugged)
	_, _, err = b.Scratchpad("28-00000000000b")
	require.True(t, errors.Is(err, sim.ErrNoSensor))
}

func TestLeak(t *testing.T) {
	_, y := carried(t)
	before := y.Truth().Cells[0].SettledMM
	require.NoError(t, y.Leak(1, 65))
	// 65 ml over 130 cm² are 5 mm.
	require.InDelta(t, before-5, y.Truth().Cells[0].SettledMM, 1e-9)
	require.Error(t, y.Leak(13, 1))
	require.Error(t, y.Leak(1, -1))
}
