package config

import (
	"fmt"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/config/exampletest"
	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

const examplePath = "../../deploy/bayward.yaml"

func TestExampleLoads(t *testing.T) {
	c, err := Load(examplePath)
	require.NoError(t, err)
	setups, err := c.Setups()
	require.NoError(t, err)
	require.Equal(t, []bay.Setup{{
		Name: "bay-1",
		Pack: bay.Pack{
			Name: "lift-24v", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3,
			FillMarkMM: 13, VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 3150, ChargeFactor: 1.15, ProbeCell: 1,
		},
		Limits: bay.DefaultLimits(), Fitted: reading.SensorsOf(reading.PackCurrent, reading.AmbientTemperature, reading.ContactorFeedback), TempOnCase: true,
		CurrentSensor: setups[0].CurrentSensor, // a checksum: only that it changes matters, see TestSensorID
		Watchdog:      bay.Watchdog{Line: "GPIO27"},
	}}, setups)
	require.Equal(t, "127.0.0.1:8080", c.HTTP.Listen)
	require.Equal(t, "bayward-quarry-road-shed-2", c.MQTT.ClientID)
}

// TestSensorID: another wiring of the current sensor is another sensor, the same one the
// same.
func TestSensorID(t *testing.T) {
	id := func(from, to string) string {
		text, err := os.ReadFile(examplePath)
		require.NoError(t, err)
		require.Contains(t, string(text), from)
		c, err := Parse("x.yaml", []byte(strings.Replace(string(text), from, to, 1)))
		require.NoError(t, err)
		setups, err := c.Setups()
		require.NoError(t, err)
		return setups[0].CurrentSensor
	}
	require.NotEmpty(t, id("bay-1", "bay-1"))
	require.Equal(t, id("bay-1", "bay-1"), id("capacity_ah: 225", "capacity_ah: 240"))
	require.NotEqual(t, id("bay-1", "bay-1"), id("amperes_per_volt: 100", "amperes_per_volt: 110"))
}

// TestExampleIsComplete: the example has every key of the configuration, in use or
// commented out.
func TestExampleIsComplete(t *testing.T) {
	text := exampletest.Example(t)
	for _, key := range allKeys(reflect.TypeFor[Config]()) {
		if !regexp.MustCompile(`(?m)^[ #-]*` + key + `:`).MatchString(text) {
			t.Errorf("%s has no line for the key %s", examplePath, key)
		}
	}
}

func allKeys(t reflect.Type) []string {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice:
		return allKeys(t.Elem())
	case reflect.Map:
		return reflect.Zero(t).Interface().(keyed).Keys()
	case reflect.Struct:
	default:
		return nil
	}
	var keys []string
	for i := range t.NumField() {
		name, option, _ := strings.Cut(t.Field(i).Tag.Get("yaml"), ",")
		if option != "inline" {
			keys = append(keys, name)
		}
		keys = append(keys, allKeys(t.Field(i).Type)...)
	}
	return keys
}

// TestCommentedLimitsAreTheDefaults: the defaults shown in the example are those of
// a configuration without limits.
func TestCommentedLimitsAreTheDefaults(t *testing.T) {
	text := exampletest.Example(t)
	at := strings.Index(text, "# limits:")
	require.Positive(t, at)
	said := text[:at] + regexp.MustCompile(`(?m)^# ?`).ReplaceAllString(text[at:], "")
	c, err := Parse("example", []byte(said))
	require.NoError(t, err)
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		_, shown := c.Limits[row.Key]
		require.True(t, shown, "the example does not show limits.%s", row.Key)
		require.Regexp(t, `(?m)^ +`+row.Key+`: \S+ +# `+regexp.QuoteMeta(row.What), said[at:], "the example says something else of it")
	}
	setups, err := c.Setups()
	require.NoError(t, err)
	require.Equal(t, bay.DefaultLimits(), setups[0].Limits)
}

// TestOptionalPartsOfTheExampleAreAccepted switches each commented part on.
func TestOptionalPartsOfTheExampleAreAccepted(t *testing.T) {
	text := exampletest.Example(t)
	for _, part := range []string{"hydrogen", "airflow", "charger_complete", "http"} {
		block := regexp.MustCompile(`(?m)^( *)# ` + part + `:.*\n(?:^ *#   .*\n)+`)
		on := block.ReplaceAllStringFunc(text, func(s string) string {
			return regexp.MustCompile(`(?m)^( *)# `).ReplaceAllString(s, "$1")
		})
		require.NotEqual(t, text, on, part)
		c, err := Parse("example", []byte(on))
		require.NoError(t, err, part)
		if part == "http" {
			require.Equal(t, "/etc/bayward/web.yaml", c.HTTP.WebConfigFile)
			continue
		}
		setups, err := c.Setups()
		require.NoError(t, err)
		s := setups[0]
		require.Equal(t, part == "hydrogen", s.Has(reading.Hydrogen))
		require.Equal(t, part == "airflow", s.Has(reading.Airflow))
		require.Equal(t, map[bool]bay.Fan{true: {Line: "GPIO24 low"}}[part == "airflow"], s.Fan, "no configuration proves a fan")
		require.Equal(t, part == "charger_complete", s.Has(reading.ChargerComplete))
	}
}

const simulated = `site: quarry-road
agent: shed-2
sensors: simulated
bays:
  - {name: bay-1, pack: lift-24v}
  - {name: bay-2, pack: sweeper-36v}
packs:
  - {name: lift-24v, cells: 12, capacity_ah: 225, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130}
  - {name: sweeper-36v, cells: 18, capacity_ah: 320, full_gravity: 1.280, charge_level_mm: 4, fill_mark_mm: 15, vent_well_mm: 30, free_surface_cm2: 150}
`

func TestSimulatedWiringIsFilledIn(t *testing.T) {
	c, err := Parse("sim", []byte(simulated))
	require.NoError(t, err)
	require.Equal(t, 11.0, c.Bays[0].Wiring.Voltage.Ratio)
	require.Equal(t, DefaultWiring(1, c.Packs[1]), c.Bays[1].Wiring)
	setups, err := c.Setups()
	require.NoError(t, err)
	for _, s := range setups {
		require.Equal(t, bay.Optional, s.Fitted, s.Name)
	}
}

// TestDefaultWiringPassesItsOwnChecks writes the wiring out and reads it back, for
// the smallest and the largest pack.
func TestDefaultWiringPassesItsOwnChecks(t *testing.T) {
	base, err := Parse("sim", []byte(simulated))
	require.NoError(t, err)
	for _, cells := range []int{1, 6, 12, 18, 24, 40, 48} {
		c := *base
		c.Limits = nil
		c.Packs[0].Cells, c.Packs[1].Cells = cells, cells
		for i := range c.Bays {
			c.Bays[i].Wiring = DefaultWiring(i, c.Packs[i])
		}
		data, err := yaml.MarshalWithOptions(writable(c), yaml.OmitEmpty())
		require.NoError(t, err)
		again, err := Parse("again", withChannels(data))
		require.NoError(t, err, "%d cells:\n%s", cells, data)
		require.Equal(t, c.Bays, again.Bays)
	}
}

// writable removes the parts that must not be empty in a file.
func writable(c Config) any {
	return map[string]any{
		"site": c.Site, "agent": c.Agent, "sensors": c.Sensors, "bays": c.Bays, "packs": c.Packs,
	}
}

// withChannels restores the channel 0 that OmitEmpty drops.
func withChannels(data []byte) []byte {
	return regexp.MustCompile(`(?m)^( *)voltage:\n`).ReplaceAll(data, []byte("${0}${1}  channel: 0\n"))
}

func TestPacksOnly(t *testing.T) {
	const packs = `packs:
  - {name: a, cells: 12, capacity_ah: 225, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130}
  - {name: b, cells: 6, capacity_ah: 100, full_gravity: 1.28, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 90}
limits: {rest_min_minutes: 90}
`
	c, err := Parse("p", []byte(packs), PacksOnly())
	require.NoError(t, err)
	s, err := c.PackSetup("b")
	require.NoError(t, err)
	require.Equal(t, 6, s.Pack.Cells)
	require.Equal(t, 90*time.Minute, s.Limits.RestMin)
	_, err = c.PackSetup("")
	require.EqualError(t, err, "the configuration has several packs, name one of them: a, b")
	_, err = c.PackSetup("c")
	require.EqualError(t, err, `no pack is named "c"; the configuration has a, b`)
	_, err = Parse("p", []byte(packs))
	require.ErrorContains(t, err, "p:1: field site: is missing")
	_, err = Parse("p", []byte(strings.Replace(packs, "limits:", "limts:", 1)), PacksOnly())
	require.EqualError(t, err, "p:4: field limts: unknown key; did you mean limits?")
}

func TestTooManyBays(t *testing.T) {
	text := strings.Replace(simulated, "packs:\n", strings.Repeat("  - {name: bay-X, pack: lift-24v}\n", 7)+"packs:\n", 1)
	for i := range 7 {
		text = strings.Replace(text, "bay-X", "bay-"+string(rune('3'+i)), 1)
	}
	_, err := Parse("nine", []byte(text))
	require.EqualError(t, err, "nine:13: field bays: value (9) is not accepted: must be 1 to 8 bays; one more agent can look after the others")
}

// TestSharedRoomSensors: bays in one room may share its air sensor, fan and hydrogen
// sensor, and nothing else.
func TestSharedRoomSensors(t *testing.T) {
	text := exampletest.Example(t)
	second := `  - name: bay-2
    pack: lift-24v
    wiring:
      i2c: I2C1
      voltage: {adc: 0x49, channel: 0, ratio: 11}
      temperature: {pack: 28-000000000002, ambient: 28-0416b3d1aaff}
      level: {kind: rod, adc: 0x4a, channel: 0, expander: 0x20, reference_ohm: 10000, end_ohm: 47000, rods: [{height_mm: 3, series_ohm: 4700}]}
      relay: {pin: GPIO22, heartbeat: GPIO26}

packs:
`
	text = strings.Replace(text, "packs:\n", second, 1)
	_, err := Parse("two", []byte(text))
	require.NoError(t, err)
	_, err = Parse("two", []byte(strings.Replace(text, "28-000000000002", "28-0416b3d1aaff", 1)))
	require.ErrorContains(t, err, "1-wire sensor 28-0416b3d1aaff is already used by bays[0].wiring.temperature.ambient")
	_, err = Parse("two", []byte(strings.Replace(text, "adc: 0x49, channel: 0", "adc: 0x48, channel: 0", 1)))
	require.ErrorContains(t, err, "converter 0x48 on bus 1, channel 0 is already used by bays[0].wiring.voltage.channel")
}

// TestCharger: the charger's settings are read back; without them the worst case
// applies.
func TestCharger(t *testing.T) {
	for text, want := range map[string]struct {
		curve  electrolyte.ChargerCurve
		ratedA float64
	}{
		"":                             {electrolyte.CurveUnknown, 0},
		"\n    charger: {rated_a: 40}": {electrolyte.CurveUnknown, 40},
		"\n    charger: {curve: iui, rated_a: 40}":         {electrolyte.CurveIUI, 40},
		"\n    charger: {curve: iu}":                       {electrolyte.CurveIU, 0},
		"\n    charger: {curve: unregulated, rated_a: 80}": {electrolyte.CurveUnregulated, 80},
	} {
		c, err := Parse("f", []byte(strings.Replace(small, "pack: lift-24v", "pack: lift-24v"+text, 1)))
		require.NoError(t, err, text)
		curve, ratedA := c.Bays[0].Characteristic()
		require.Equal(t, want.curve, curve, text)
		require.InDelta(t, want.ratedA, ratedA, 0, text)
	}
}

// TestReplaySetup: a replay has the set-up of the live core, also from a file that is
// no configuration of a whole agent.
func TestReplaySetup(t *testing.T) {
	pack := func(name string, cells int) string {
		return fmt.Sprintf("  - {name: %s, cells: %d, capacity_ah: 225, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130}\n", name, cells)
	}
	text := "packs:\n" + pack("a", 12) + pack("b", 12) + pack("c", 6) + `bays:
  - {name: case, pack: a, wiring: {temperature: {on: case}}}
  - {name: usual, pack: b, wiring: {temperature: {}}}
  - {name: both, packs: [a, b], wiring: {temperature: {on: electrolyte}}}
  - {name: bare, pack: c}
  - {name: odd, packs: [a, c]}
  - {name: lost, pack: d}
`
	c, err := Parse("p", []byte(text), PacksOnly())
	require.NoError(t, err)
	for _, row := range []struct {
		bay, pack string
		onCase    bool
		packs     int
		err       string
	}{
		{"case", "", true, 0, ""},
		{"usual", "", true, 0, ""}, // what the live core takes when the file does not say
		{"both", "", false, 2, ""},
		{"both", "a", false, 0, ""},
		{"bare", "", false, 0, ""},
		{"", "c", false, 0, ""},
		{"", "b", false, 0, "pack b may be in the bays usual, both, and only some of them have its sensor on the case; name one with --bay"},
		{"", "", false, 0, "the configuration has several packs, name one of them: a, b, c"},
		{"case", "b", false, 0, `bay case has no pack "b"; accepted: a`},
		{"none", "", false, 0, `no bay is named "none"; the configuration has case, usual, both, bare, odd, lost`},
		{"odd", "", false, 0, "set up bay odd: its packs must have the same number of cells"},
		{"lost", "", false, 0, `set up bay lost: no pack is named "d"`},
	} {
		s, err := c.ReplaySetup(row.bay, row.pack)
		if row.err != "" {
			require.EqualError(t, err, row.err)
			continue
		}
		require.NoError(t, err, row)
		require.Equal(t, row.onCase, s.TempOnCase, row)
		require.Len(t, s.Packs, row.packs, row)
	}
	_, err = Parse("p", []byte(strings.Replace(text, "on: case", "on: top", 1)), PacksOnly())
	require.EqualError(t, err, "p:6: field bays[0].wiring.temperature.on: value \"top\" is not accepted: must be case or electrolyte")

	whole, err := Parse("whole", []byte(simulated))
	require.NoError(t, err)
	live, err := whole.Setups()
	require.NoError(t, err)
	for i := range live {
		got, err := whole.ReplaySetup(live[i].Name, "")
		require.NoError(t, err)
		require.Equal(t, live[i], got)
	}
}
