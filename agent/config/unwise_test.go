package config

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/words"
)

// wise is the small file with everything that is advised.
const wise = `mqtt: {broker: 'tcp://broker.example:1883'}
` + small

func wiseText() string {
	return strings.NewReplacer(
		"bays:\n", "first_aid: {emergency_phone: '112', eyewash: left of the door}\nbays:\n",
		"cells: 12\n", "cells: 12\n    probe_cell: 1\n",
		"    pack: lift-24v\n    wiring:", "    pack: lift-24v\n    charger: {curve: iui, rated_a: 40}\n    wiring:",
		"temperature: {pack: 28-0316a2795bff}", "temperature: {pack: 28-0316a2795bff, ambient: 28-0416b3d1aaff}",
		"relay: {pin: GPIO17, ", "airflow: {pin: GPIO24}\n      relay: {pin: GPIO17, ",
		"feedback: {pin: GPIO23}", "feedback: {pin: GPIO23, normally: closed}",
	).Replace(wise)
}

func warned(t *testing.T, text string) []Warning {
	t.Helper()
	c, err := Parse("f", []byte(text))
	require.NoError(t, err)
	for _, language := range words.Languages() {
		for _, w := range c.Warnings(words.New(language, "")) {
			require.NotRegexp(t, "⟦|%!|^$", w.Says+w.Do+w.Basis, language)
		}
	}
	return c.Warnings(words.EnglishSI())
}

// TestWarnings: each unwise setting is reported once, with its field and a figure or
// a reason. A wise file gets no warnings.
func TestWarnings(t *testing.T) {
	require.Empty(t, warned(t, wiseText()))
	for _, row := range [][4]string{ // old text, new text, field, warning
		{"vent_well_mm: 22", "vent_well_mm: 17", "packs[0].fill_mark_mm", "the fill mark is 4 mm under the bottom of the vent well"},
		{", feedback: {pin: GPIO23, normally: closed}", "", "bays[0].wiring.relay.feedback", "welds"},
		{"feedback: {pin: GPIO23, normally: closed}", "feedback: {pin: GPIO23, normally: open}", "bays[0].wiring.relay.feedback.normally", "a welded pole need not hold it"},
		{"feedback: {pin: GPIO23, normally: closed}", "feedback: {pin: GPIO23}", "bays[0].wiring.relay.feedback.normally", "hides a weld"},
		{"airflow: {pin: GPIO24}\n", "airflow: {pin: GPIO24}\n      charger_complete: {pin: GPIO25, normally: closed}\n", "bays[0].wiring.charger_complete.normally", "reads as complete"},
		{"heartbeat: GPIO27", "no_heartbeat: ordered in May", "bays[0].wiring.relay.no_heartbeat", "(ordered in May): if the Pi hangs"},
		{"      current: {kind: hall, adc: 0x48, channel: 1, amperes_per_volt: 100, zero_v: 1.65}\n", "", "bays[0].wiring.current", "a voltage that stands still"},
		{", ambient: 28-0416b3d1aaff", "", "bays[0].wiring.temperature.ambient", "twice the rest"},
		{"airflow: {pin: GPIO24}\n", "\n", "bays[0].wiring.airflow", "ventilation has failed"},
		{"    charger: {curve: iui, rated_a: 40}\n", "", "bays[0].charger", "worst case"},
		{"mqtt: {broker: 'tcp://broker.example:1883'}\n", "", "mqtt", "nobody is called"},
		{"broker.example:1883'}", "broker.example:1883', username: a}", "mqtt.broker", "in clear"},
		{", eyewash: left of the door", "", "first_aid", "where the eyewash is"},
		{"packs:\n", "http: {listen: '0.0.0.0:8080'}\npeople: [{name: A, role: visit, pin_hash: $2a$11$iY8GzQJPoDx1o0XnUHnPHOAcJ0hCMgkmxgWMFdXZZ0cL1f3G9L3sK}]\npacks:\n", "http.listen", "without TLS"},
		{transmitter, strings.Replace(ladder, "height_mm: 4", "height_mm: 3.5", 1), "bays[0].wiring.level.rods", "only when it blocks"},
		{"full_gravity: 1.277", "full_gravity: 1.215", "packs[0].full_gravity", "1.215"},
		{"charge_level_mm: 3", "charge_level_mm: 1", "packs[0].charge_level_mm", "1 mm"},
		{"    probe_cell: 1\n", "", "packs[0].probe_cell", "which cell holds the level probe"},
		{"cells: 12\n", "cells: 12\n    charge_factor: 1.25\n", "packs[0].charge_factor", "1.25"},
		{"packs:\n", "limits: {charge_max_c: 55}\npacks:\n", "limits.charge_max_c", "55 °C is outside 38 to 51"},
		{"packs:\n", "limits: {charge_resume_c: 45}\npacks:\n", "limits.charge_resume_c", "45 °C"},
		{"packs:\n", "limits: {rest_min_minutes: 30}\npacks:\n", "limits.rest_min_minutes", "30 minutes"},
		{"packs:\n", "limits: {hydrogen_resume_pct: 1.5}\npacks:\n", "limits.hydrogen_resume_pct", "1.5"},
		{"packs:\n", "limits: {stale_seconds: 45}\npacks:\n", "limits.stale_seconds", "45 s"},
		{"packs:\n", "limits: {charge_max_hours: 30}\npacks:\n", "limits.charge_max_hours", "30 h"},
	} {
		text := strings.Replace(wiseText(), row[0], row[1], 1)
		require.NotEqual(t, wiseText(), text, row[0])
		found := warned(t, text)
		require.Len(t, found, 1, "%q: %v", row[1], found)
		w := found[0]
		require.Equal(t, row[2], w.Field)
		require.Contains(t, w.Says, row[3])
		require.NotEmpty(t, w.Do)
		require.NotEmpty(t, w.Basis)
	}
}

// TestSharedPackIsUnwise: two bays that each name the same pack as their only one
// would both write its history.
func TestSharedPackIsUnwise(t *testing.T) {
	head, tail, _ := strings.Cut(wiseText(), "  - name: bay-1\n")
	one, packs, _ := strings.Cut(tail, "packs:\n")
	second := strings.NewReplacer("0x48", "0x49", "28-0316a2795bff", "28-0516c4e2bb01", "GPIO17", "GPIO16", "GPIO27", "GPIO26", "GPIO23", "GPIO13").Replace(one)
	two := head + "  - name: bay-1\n" + one + "  - name: bay-2\n" + second + "packs:\n" + packs
	found := warned(t, two)
	require.Len(t, found, 1, "%v", found)
	require.Equal(t, "bays[1].pack", found[0].Field)
	require.Contains(t, found[0].Says, "bay-1")

	_, pack, _ := strings.Cut(two, "packs:\n")
	apart := strings.Replace(two, "bay-2\n    pack: lift-24v", "bay-2\n    pack: lift-b", 1) + strings.Replace(pack, "lift-24v", "lift-b", 1)
	require.Empty(t, warned(t, apart))
}

// TestDefaultsAreWise: no default is outside the published figures, and every limit
// has its source.
func TestDefaultsAreWise(t *testing.T) {
	c, err := Parse("f", []byte(wiseText()))
	require.NoError(t, err)
	require.Len(t, c.LimitsSet(), len(bay.LimitTable))
	for _, l := range c.LimitsSet() {
		require.False(t, l.Set)
		require.NotEmpty(t, l.Basis, l.Key)
		wise := bay.LimitNamed(l.Key).Wise
		require.GreaterOrEqual(t, l.Value, wise.Low, l.Key)
		require.LessOrEqual(t, l.Value, wise.High, l.Key)
	}
}
