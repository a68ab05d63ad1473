package config

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
)

// packLine returns the entry of another pack with twelve cells.
func packLine(name, more string) string {
	return "  - {name: " + name + ", cells: 12, capacity_ah: 300, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130" + more + "}\n"
}

const (
	sensorA = "28-00000000000a"
	sensorB = "28-00000000000b"
)

// recognised is the small file with two packs that carry their own sensors.
func recognised() string {
	text := strings.Replace(small, "pack: lift-24v", "packs: [lift-24v, lift-b]", 1)
	text = strings.Replace(text, "temperature: {pack: 28-0316a2795bff}", "temperature: {ambient: 28-0416b3d1aaff}", 1)
	return text + "    sensor: " + sensorA + "\n" + packLine("lift-b", ", sensor: "+sensorB)
}

// chosen is the same file with a sensor that stays in the bay.
func chosen() string {
	return strings.Replace(small, "pack: lift-24v", "packs: [lift-24v, lift-b]", 1) + packLine("lift-b", "")
}

func TestSeveralPacks(t *testing.T) {
	for name, tc := range map[string]struct {
		text       string
		recognises bool
	}{"recognised": {recognised(), true}, "chosen": {chosen(), false}} {
		t.Run(name, func(t *testing.T) {
			c, err := Parse("f", []byte(tc.text))
			require.NoError(t, err)
			require.Equal(t, tc.recognises, c.Bays[0].Recognises())
			setups, err := c.Setups()
			require.NoError(t, err)
			s := setups[0]
			require.Equal(t, []string{"lift-24v", "lift-b"}, []string{s.Packs[0].Name, s.Packs[1].Name})
			require.Equal(t, bay.Pack{}, s.Pack)
			require.Equal(t, tc.recognises, s.Recognises)
			require.InDelta(t, 300, s.Packs[1].CapacityAh, 0)
		})
	}
}

// TestTheSensorOfADedicatedPack: it counts as the bay's sensor and may be given in
// both places.
func TestTheSensorOfADedicatedPack(t *testing.T) {
	text := small + "    sensor: 28-0316a2795bff\n"
	for _, said := range []string{text, strings.Replace(text, "temperature: {pack: 28-0316a2795bff}", "temperature: {ambient: 28-0416b3d1aaff}", 1)} {
		c, err := Parse("f", []byte(said))
		require.NoError(t, err)
		require.Equal(t, "28-0316a2795bff", c.Bays[0].Wiring.Temperature.Pack)
		require.False(t, c.Bays[0].Recognises())
	}
}

// TestSimulatedSeveralPacks: each simulated bay with several packs gets its own bus
// without any wiring in the file.
func TestSimulatedSeveralPacks(t *testing.T) {
	text := "site: s\nagent: a\nsensors: simulated\nbays:\n  - {name: bay-1, packs: [a, b]}\n  - {name: bay-2, packs: [b, a]}\n  - {name: bay-3, packs: [c, d]}\npacks:\n" +
		packLine("a", ", sensor: "+sensorA) + packLine("b", ", sensor: "+sensorB) + packLine("c", "") + packLine("d", "")
	c, err := Parse("f", []byte(text))
	require.NoError(t, err)
	require.Equal(t, "w1_bus_master2", c.Bays[0].Wiring.Temperature.Bus)
	require.Equal(t, "w1_bus_master3", c.Bays[1].Wiring.Temperature.Bus)
	require.True(t, c.Bays[0].Recognises())
	require.False(t, c.Bays[2].Recognises())
	require.NotEmpty(t, c.Bays[2].Wiring.Temperature.Pack)
}

// TestBadIdentity: wiring is refused if a sensor number would not show which pack is
// in which bay, and the complaint gives the alternative.
func TestBadIdentity(t *testing.T) {
	second := "  - name: bay-2\n    packs: [lift-24v, lift-b]\n    wiring:\n      i2c: 1\n      voltage: {adc: 0x49, channel: 0, ratio: 11}\n      temperature: {TEMPERATURE}\n" +
		"      level: {kind: 4-20ma, adc: 0x49, channel: 2, shunt_ohm: 100, low_mm: -20, high_mm: 30}\n      relay: {pin: GPIO22, heartbeat: GPIO26}\n"
	two := func(first, other string) string {
		text := strings.Replace(recognised(), "temperature: {ambient: 28-0416b3d1aaff}", "temperature: {"+first+"}", 1)
		return strings.Replace(text, "packs:\n", strings.Replace(second, "TEMPERATURE", other, 1)+"packs:\n", 1)
	}
	_, err := Parse("f", []byte(two("bus: w1_bus_master1", "bus: w1_bus_master2")))
	require.NoError(t, err)
	for _, row := range []struct{ name, text, want string }{
		{"both", strings.Replace(recognised(), "packs: [lift", "pack: lift-24v\n    packs: [lift", 1), "f:6: field bays[0].packs: must be left out where pack names the one that the bay is for"},
		{"neither", strings.Replace(small, "    pack: lift-24v\n", "", 1), "f:4: field bays[0].pack: is missing: the name of a pack under packs, or packs with the names of several"},
		{"empty", strings.Replace(recognised(), "packs: [lift-24v, lift-b]", "packs: []", 1), "f:5: field bays[0].packs: value (0 packs) is not accepted: must be 1 to 64 names of packs under packs"},
		{"listed twice", strings.Replace(recognised(), "packs: [lift-24v, lift-b]", "packs: [lift-b, lift-b]", 1), `f:5: field bays[0].packs[1]: value "lift-b" is not accepted: must be unlike the other names; line 5 has it already`},
		{"not there", strings.Replace(recognised(), "packs: [lift-24v, lift-b]", "packs: [lift-24v, lift-x]", 1), `f:5: field bays[0].packs[1]: value "lift-x" is not accepted: must be the name of a pack under packs: lift-24v, lift-b`},
		{"other voltage", strings.Replace(recognised(), "lift-b, cells: 12", "lift-b, cells: 6", 1), `f:5: field bays[0].packs[1]: value "lift-b" is not accepted: must have 12 cells as pack lift-24v, not 6: the charger of a bay is made for one voltage`},
		{"current reach of the larger", strings.Replace(recognised(), "amperes_per_volt: 100", "amperes_per_volt: 30", 1), "f:9: field bays[0].wiring.current.amperes_per_volt: value 30 is not accepted: must be larger: the input ends at 73.4 A of charge, and a pack of 300 Ah may be given 75.0 A"},
		{"one without a sensor", strings.Replace(recognised(), ", sensor: "+sensorB, "", 1), "f:10: field bays[0].wiring.temperature.pack: is missing: pack lift-b has no sensor of its own by which it is recognised: give it one, or name here the sensor that stays in the bay; then a person says which pack is plugged in"},
		{"one number for two packs", strings.Replace(recognised(), sensorB, sensorA, 1), `f:23: field packs[1].sensor: value "28-00000000000a" is not accepted: 1-wire sensor 28-00000000000a is already used by packs[0].sensor (line 22)`},
		{"number of a pack for the air", strings.Replace(recognised(), "28-0416b3d1aaff", sensorA, 1), `f:10: field bays[0].wiring.temperature.ambient: value "28-00000000000a" is not accepted: 1-wire sensor 28-00000000000a is already used by packs[0].sensor (line 22)`},
		{"number of a pack stays in the bay", strings.Replace(recognised(), "ambient: 28-0416b3d1aaff", "pack: "+sensorA, 1), `f:10: field bays[0].wiring.temperature.pack: value "28-00000000000a" is not accepted: 1-wire sensor 28-00000000000a is already used by packs[0].sensor (line 22)`},
		{"bad number", strings.Replace(recognised(), sensorB, "28-B", 1), `f:23: field packs[1].sensor: value "28-B" is not accepted: must be a 1-wire number in lower case, such as 28-0316a2795bff`},
		{"two bays on one bus", two("bus: w1_bus_master1", "bus: w1_bus_master1"), `field bays[1].wiring.temperature.bus: value "w1_bus_master1" is not accepted: 1-wire bus w1_bus_master1 is already used by bays[0].wiring.temperature.bus (line 10)`},
		{"no bus of its own", two("bus: w1_bus_master1", "offset_c: 0"), "field bays[1].wiring.temperature.bus: is missing: must be the 1-wire bus that only the packs of this bay are plugged into, such as w1_bus_master2 (ls /sys/bus/w1/devices): on a bus that bays share a sensor does not say at which of them its pack stands"},
		{"bus that is none", two("bus: w1_bus_master1", "bus: ../../etc"), `field bays[1].wiring.temperature.bus: value "../../etc" is not accepted: must be the 1-wire bus`},
		{"bus beside a sensor of the bay", two("bus: w1_bus_master1", "bus: w1_bus_master2, pack: 28-00000000000c"), "field bays[1].wiring.temperature.bus: value \"w1_bus_master2\" is not accepted: must be left out where pack names a sensor that stays in the bay"},
		{"bus of a dedicated bay", strings.Replace(small, "{pack: 28-0316a2795bff}", "{pack: 28-0316a2795bff, bus: w1_bus_master1}", 1), `f:10: field bays[0].wiring.temperature.bus: value "w1_bus_master1" is not accepted: must be left out for a bay with one pack: the number of its sensor is enough`},
		{"another sensor than the pack's", small + "    sensor: " + sensorA + "\n", `f:10: field bays[0].wiring.temperature.pack: value "28-0316a2795bff" is not accepted: must be 28-00000000000a, the sensor of pack lift-24v, or be left out`},
		{"a pack of another bay's own", strings.Replace(two("bus: w1_bus_master1", "bus: w1_bus_master2"), "    packs: [lift-24v, lift-b]\n    wiring:\n      i2c: 1\n      voltage: {adc: 0x49", "    pack: lift-b\n    wiring:\n      i2c: 1\n      voltage: {adc: 0x49", 1), `f:5: field bays[0].packs[1]: value "lift-b" is not accepted: must not be the pack that bays[1] has for its own (line 14); list it under packs there as well`},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := Parse("f", []byte(row.text))
			require.ErrorContains(t, err, row.want)
			inEveryLanguage(t, err)
		})
	}
}
