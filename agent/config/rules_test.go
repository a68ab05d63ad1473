package config

import (
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"bayward/agent/config/exampletest"
	"bayward/agent/water"
	"bayward/sensors/families"
	"bayward/sensors/wiring"
)

// whole has every part that contains keys with rules.
var whole = strings.Replace(`site: quarry-road
agent: shed-2
units: us
language: es
sensors: wired
logbook: {path: /tmp/l.db, keep_days: 100}
mqtt:
  broker: tcp://broker.example:1883
  keep_alive_seconds: 20
  max_in_flight: 8
  other_agents: ignore
  qos: {status: 2, state: 2, event: 2, notice: 2, command: 2, response: 2}
modbus:
  - {name: meters, url: 'rtu:///dev/ttyUSB0', baud: 9600, parity: none, stop_bits: 2, timeout_ms: 500}
bays:
  - name: bay-1
    pack: lift-24v
    charger: {curve: iui, rated_a: 40}
    wiring:
      i2c: 1
      voltage: {converter: ads1115, adc: 0x48, channel: 0, range_v: 4.096, rate: 250, ratio: 11, offset_v: 0.01}
      current: {kind: hall, converter: ads1115, adc: 0x48, channel: 1, range_v: 4.096, rate: 250, amperes_per_volt: 100, zero_v: 1.65}
      temperature: {offset_c: 1, on: electrolyte, rtd: [{of: pack, spi: SPI0.1, element: pt1000, wires: 4, reference_ohm: 4000, mains_hz: 60}]}
      level: {kind: 4-20ma, converter: ads1115, adc: 0x48, channel: 2, range_v: 4.096, rate: 860, shunt_ohm: 100, low_mm: -20, high_mm: 30, offset_mm: 1, fast_ms: 40}
      hydrogen: {converter: ads1115, adc: 0x48, channel: 3, range_v: 4.096, rate: 250, zero_v: 0.5, per_volt: 2}
      relay: {pin: GPIO17, heartbeat: GPIO27, feedback: {pin: GPIO23, active_low: true, normally: closed}}
      CONTACTS
      registers:
        - {reading: ambient-temperature, line: meters, unit: 3, table: input, address: 5, type: int16, bit: 0, scale: 0.1, zero: 1, low: -40, high: 80,
           status: {address: 6, good: 1}, counter: {address: 7, within_seconds: 4}, age: {address: 8, unit_seconds: 0.5}}
packs:
  - {name: lift-24v, cells: 12, capacity_ah: 225, rate_hours: 5, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22,
     free_surface_cm2: 130, electrolyte_ml: 1350, charge_factor: 1.1, probe_cell: 1, weight_kg: 238, numbered_from: negative}
people:
  - {name: A. Person, role: visit, pin_hash: $2a$11$iY8GzQJPoDx1o0XnUHnPHOAcJ0hCMgkmxgWMFdXZZ0cL1f3G9L3sK}
notify:
  daily_round_for: agent
  mail:
    - {server: 'mail.example:587', security: tls, from: shed-2@yard.example, to: [technician@yard.example]}
  webhooks:
    - {name: yard-push, url: 'http://push.example/yard', method: PUT, headers: [{name: Title, value: x}]}
`, "      CONTACTS\n", wholeContacts(), 1)

// wholeContacts has every contact that is a part of its own, each on its line.
func wholeContacts() string {
	var b strings.Builder
	pins := []int{24, 25, 26, 22, 5, 6, 12, 13, 16}
	for _, row := range wiring.ContactTable {
		if !strings.Contains(row.Key, ".") {
			fmt.Fprintf(&b, "      %s: {pin: GPIO%d, normally: open}\n", row.Key, pins[0])
			pins = pins[1:]
		}
	}
	return b.String()
}

// place is one key of whole.
type place struct {
	field string // as in complaints
	path  []any  // keys and indexes of its part
	of    reflect.StructField
	rule  rule
	ruled bool
}

// places lists every key of a part and of the parts below it.
func places(typ reflect.Type, at string, path []any) []place {
	var all []place
	for _, f := range fieldsOf(typ) {
		r, ruled := ruleOf(f)
		field := strings.TrimPrefix(at+"."+r.key, ".")
		all = append(all, place{field, path, f, r, ruled})
		below, to := f.Type, append(append([]any{}, path...), r.key)
		for below.Kind() == reflect.Pointer || below.Kind() == reflect.Slice {
			if below.Kind() == reflect.Slice {
				field, to = field+"[0]", append(to, 0)
			}
			below = below.Elem()
		}
		if below.Kind() == reflect.Struct && below.Name() != "Rod" {
			all = append(all, places(below, field, to)...)
		}
	}
	return all
}

// changed parses whole with one key set, or removed if the value is nil.
func (p *place) changed(t *testing.T, value any) error {
	t.Helper()
	_, err := p.parse(t, value)
	return err
}

func (p *place) parse(t *testing.T, value any) (*Config, error) {
	t.Helper()
	var doc map[string]any
	require.NoError(t, yaml.Unmarshal([]byte(whole), &doc))
	var at any = doc
	for _, step := range p.path {
		switch step := step.(type) {
		case string:
			at = at.(map[string]any)[step]
		case int:
			at = at.([]any)[step]
		}
	}
	part, ok := at.(map[string]any)
	require.True(t, ok, "whole has no part for %s", p.field)
	if value == nil {
		require.Contains(t, part, p.rule.key, "whole has no %s", p.field)
		delete(part, p.rule.key)
	} else {
		part[p.rule.key] = value
	}
	text, err := yaml.Marshal(doc)
	require.NoError(t, err)
	return Parse("f", text)
}

// complains reports whether an error has a complaint about a field that contains a
// text.
func complains(err error, field, text string) bool {
	all, _ := errors.AsType[*Error](err)
	if all == nil {
		return false
	}
	for _, p := range all.Problems {
		if p.Field == field && p.Accepted == text {
			return true
		}
	}
	return false
}

// TestRulesAreKept: for each key with a rule, Parse accepts what the rule accepts
// and complains about the rest in the rule's words. An optional key gets its
// default; a required key is reported as missing.
func TestRulesAreKept(t *testing.T) {
	_, err := Parse("f", []byte(whole))
	require.NoError(t, err)
	ruled := 0
	for _, p := range places(reflect.TypeFor[Config](), "", nil) {
		if p.of.Tag.Get("required") != "" || p.ruled && !p.rule.optional {
			err := p.changed(t, nil)
			require.ErrorContains(t, err, "field "+p.field+": is missing: ", "%s left out", p.field)
		}
		if !p.ruled {
			continue
		}
		ruled++
		must := "must be " + p.rule.text
		if p.rule.ranged {
			for v, good := range map[float64]bool{p.rule.low: !p.rule.open, p.rule.high: true, just(p.rule.low, -1): false, just(p.rule.high, +1): false} {
				require.Equal(t, !good, complains(p.changed(t, p.typed(v)), p.field, must), "%s: %v", p.field, v)
			}
		} else {
			for _, one := range p.rule.choices {
				require.False(t, complains(p.changed(t, p.spelled(one)), p.field, must), "%s: %s", p.field, one)
			}
			require.True(t, complains(p.changed(t, p.spelled("7")), p.field, must), p.field)
		}
		if p.rule.optional {
			c, err := p.parse(t, nil)
			require.NoError(t, err, p.field)
			if p.rule.fallback != "" {
				require.Equal(t, p.rule.fallback, fmt.Sprint(valueAt(reflect.ValueOf(c), append(p.path, p.rule.key))), p.field)
			}
		}
	}
	require.Greater(t, ruled, 40)
}

// typed converts a number to the key's type; for integers, a step out of range is a
// whole one.
func (p *place) typed(v float64) any {
	if k := p.of.Type.Kind(); k == reflect.Float64 {
		return v
	}
	switch {
	case v < p.rule.low:
		return int(p.rule.low) - 1
	case v > p.rule.high:
		return int(p.rule.high) + 1
	}
	return int(v)
}

func (p *place) spelled(one string) any {
	switch p.of.Type.Kind() {
	case reflect.String:
		return one
	case reflect.Float64:
		return numeral(one)
	default:
		return int(numeral(one))
	}
}

// valueAt follows a path of keys and indexes.
func valueAt(v reflect.Value, path []any) any {
	for _, step := range path {
		for v.Kind() == reflect.Pointer {
			v = v.Elem()
		}
		if i, ok := step.(int); ok {
			v = v.Index(i)
			continue
		}
		found := map[string]reflect.Value{}
		keysOf(v, found)
		v = found[step.(string)]
	}
	return v.Interface()
}

// TestRulesAreReadable: each tag can be parsed, and each default satisfies its own
// rule.
func TestRulesAreReadable(t *testing.T) {
	for _, p := range places(reflect.TypeFor[Config](), "", nil) {
		if _, tagged := p.of.Tag.Lookup("default"); tagged {
			require.True(t, p.ruled, "%s has a default and no rule", p.field)
		}
		if p.ruled && p.rule.fallback != "" {
			v := reflect.New(p.of.Type).Elem()
			p.rule.fill(v)
			require.True(t, p.rule.takes(v), "%s: its default is %s, and it must be %s", p.field, p.rule.fallback, p.rule.text)
		}
		require.False(t, p.ruled && p.rule.ranged && !(p.rule.low < p.rule.high), p.field)
	}
	r, _ := ruleOf(fieldNamed[Pack](t, "Cells"))
	require.InDelta(t, water.MaxCells, r.high, 0, "the core has room for as many cells")
	for _, bad := range []string{"what it likes", "1 or", "<colours>", "a to b of c"} {
		require.Panics(t, func() {
			ruleOf(reflect.StructField{Tag: reflect.StructTag(`yaml:"x" accept:"` + bad + `"`)})
		}, bad)
	}
}

func fieldNamed[T any](t *testing.T, name string) reflect.StructField {
	t.Helper()
	f, ok := reflect.TypeFor[T]().FieldByName(name)
	require.True(t, ok)
	return f
}

var (
	spanSaid = regexp.MustCompile(`(-?[0-9][0-9a-fx.]*) to (-?[0-9][0-9a-fx.]*)`)
	lineForm = `(?m)^[ #-]*%s: *(\S*) *(?:#(.*))?$`
)

// TestExampleAgreesWithTheRules: ranges in the example match the rules, it shows
// each default, and it names every option of a choice. Languages are the exception:
// they have their own list.
func TestExampleAgreesWithTheRules(t *testing.T) {
	text, spans := exampletest.Example(t), 0
	for _, p := range places(reflect.TypeFor[Config](), "", nil) {
		if !p.ruled {
			continue
		}
		lines := regexp.MustCompile(fmt.Sprintf(lineForm, p.rule.key)).FindAllStringSubmatch(text, -1)
		require.NotEmpty(t, lines, p.field)
		shown := ""
		for _, line := range lines {
			shown += " " + strings.Trim(line[1], `"`) + " " + line[2]
			said := spanSaid.FindStringSubmatch(line[2])
			if said == nil || !p.rule.ranged {
				continue
			}
			spans++
			require.InDelta(t, p.rule.low, numeral(said[1]), 0, "%s: %s", p.field, line[0])
			require.InDelta(t, p.rule.high, numeral(strings.TrimSuffix(said[2], ".")), 0, "%s: %s", p.field, line[0])
		}
		if p.rule.fallback != "" {
			require.Contains(t, split(shown), p.rule.fallback, "the example does not show the default of %s", p.field)
		}
		if p.of.Tag.Get("accept") == "<languages>" {
			continue // a new language needs no line here
		}
		for _, one := range p.rule.choices {
			require.Contains(t, split(shown), one, "the example does not name a possibility of %s", p.field)
		}
	}
	require.Greater(t, spans+inputsOfExample(t, text), 5)
}

// inputsOfExample compares what the example says of the default converter's keys with
// its row, and returns how many ranges it found.
func inputsOfExample(t *testing.T, text string) (spans int) {
	t.Helper()
	f := families.All()[0]
	for key, want := range map[string][2]float64{
		"adc": {float64(f.FirstAddr), float64(f.LastAddr)}, "channel": {0, float64(len(f.Channels) - 1)},
	} {
		for _, line := range regexp.MustCompile(fmt.Sprintf(lineForm, key)).FindAllStringSubmatch(text, -1) {
			if said := spanSaid.FindStringSubmatch(line[2]); said != nil {
				spans++
				require.InDelta(t, want[0], numeral(said[1]), 0, line[0])
				require.InDelta(t, want[1], numeral(strings.TrimSuffix(said[2], ".")), 0, line[0])
			}
		}
	}
	for key, all := range map[string][]string{"range_v": numerals(f.Channels[0].Ranges), "rate": numerals(f.Rates)} {
		line := regexp.MustCompile(fmt.Sprintf(lineForm, key)).FindStringSubmatch(text)
		require.NotNil(t, line, key)
		for _, one := range all {
			spans++
			require.Contains(t, split(line[1]+" "+line[2]), one, key)
		}
	}
	return spans
}

// split returns the words of a text without surrounding punctuation.
func split(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(` ,;:()"#`, r) })
}
