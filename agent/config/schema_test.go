package config

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	reflector "github.com/invopop/jsonschema"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/words"
	"bayward/sensors/level"
)

var update = flag.Bool("update", false, "write the schema anew")

const (
	embedded    = "bayward.schema.json"
	shipped     = "../../deploy/bayward.schema.json"
	shippedYAML = "../../deploy/bayward.yaml"
)

// ranges are the bounds that the checks have, by type and key; the test below
// holds each against Parse. Those of the limits come from their own table.
var ranges = map[string][2]float64{
	"Pack.cells": {1, 48}, "Pack.capacity_ah": {1, 2000}, "Pack.rate_hours": {1, 100}, "Pack.full_gravity": {1.2, 1.35},
	"Pack.electrolyte_ml": {10, 100000}, "Pack.charge_factor": {1.02, 1.30}, "Pack.free_surface_cm2": {1, 5000},
	"Pack.charge_level_mm": {0.5, 100}, "Pack.fill_mark_mm": {1, 200}, "Pack.vent_well_mm": {2, 300},
	"Voltage.channel": {0, 3}, "Voltage.offset_v": {-0.5, 0.5}, "Voltage.ratio": {1, 1000}, "Temperature.offset_c": {-5, 5},
	"Charger.rated_a": {0.1, 1000}, "MQTT.max_in_flight": {1, 64}, "QoS.state": {0, 2}, "QoS.event": {1, 2}, "QoS.status": {1, 2},
	"QoS.notice": {0, 2}, "QoS.command": {0, 2}, "QoS.response": {0, 2}, "Current.channel": {0, 3}, "Level.channel": {0, 3}, "Analog.channel": {0, 3},
}

// choices are the only values of some keys.
var choices = map[string][]any{
	"Config.units": anys(words.Systems()), "Config.language": anys(words.Languages()), "Config.sensors": {"wired", "simulated"},
	"Current.kind": {"shunt", "hall"}, "Temperature.on": {"case", "electrolyte"},
	"Charger.curve": {"iu", "iui", "taper", "unregulated", "unknown"},
}

// must are the keys without which a part is refused.
var must = map[string][]string{
	"Config": {"site", "agent", "bays", "packs"}, "Bay": {"name"}, "Contact": {"pin"}, "Relay": {"pin"},
	"Pack":    {"name", "cells", "capacity_ah", "full_gravity", "charge_level_mm", "fill_mark_mm", "vent_well_mm", "free_surface_cm2"},
	"Voltage": {"adc", "channel", "ratio"}, "Current": {"adc", "channel", "kind", "amperes_per_volt"}, "Level": {"adc", "channel", "kind"},
	"Analog": {"adc", "channel", "per_volt"}, "Rod": {"height_mm", "series_ohm"},
}

// build makes the schema from the types and their comments.
func build(t *testing.T) []byte {
	t.Helper()
	r := &reflector.Reflector{FieldNameTag: "yaml", RequiredFromJSONSchemaTags: true, ExpandedStruct: true, Anonymous: true}
	require.NoError(t, r.AddGoComments("bayward/agent/config", ".", reflector.WithFullComment()))
	require.NoError(t, r.AddGoComments("bayward/sensors/wiring", "../../sensors/wiring", reflector.WithFullComment()))
	require.NoError(t, r.AddGoComments("bayward/sensors/level", "../../sensors/level", reflector.WithFullComment()))
	for name, text := range r.CommentMap {
		r.CommentMap[name] = strings.Join(strings.Fields(text), " ")
	}
	s := r.Reflect(&Config{})
	s.Title, s.ID = "bayward configuration", ""
	s.Definitions["Limits"] = limits()
	s.Properties.Set("limits", &reflector.Schema{Ref: "#/$defs/Limits"})
	tune("Config", s)
	for name, part := range s.Definitions {
		tune(name, part)
	}
	out, err := json.MarshalIndent(s, "", "  ")
	require.NoError(t, err)
	return append(out, '\n')
}

// tune adds what the checks say to what the types say.
func tune(name string, s *reflector.Schema) {
	s.Required = must[name]
	if s.Properties == nil {
		return
	}
	for at := s.Properties.Oldest(); at != nil; at = at.Next() {
		key, p := name+"."+at.Key, at.Value
		if b, ok := ranges[key]; ok {
			p.Minimum, p.Maximum = number(b[0]), number(b[1])
		}
		if w, ok := choices[key]; ok {
			p.Enum = w
		}
		switch at.Key {
		case "range_v":
			p.Enum = []any{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}
		case "rate":
			p.Enum = []any{8, 16, 32, 64, 128, 250, 475, 860}
		case "adc":
			p.Minimum, p.Maximum = number(0x48), number(0x4b)
		case "i2c":
			p.Type = ""
			p.AnyOf = []*reflector.Schema{{Type: "integer"}, {Type: "string"}} // a number and a word are both taken
		case "site", "agent", "name":
			if name == "Config" || name == "Bay" || name == "Pack" {
				p.Pattern, p.MaxLength = nameForm.String(), ref(uint64(48))
			}
		}
	}
	switch name {
	case "Level":
		tuneLevel(s)
	case "Rod":
		for _, key := range level.RodKeys {
			bound(s, key.Name, key.Low, key.High)
		}
	}
}

// limits has a key for each row of the limits.
func limits() *reflector.Schema {
	s := part()
	s.Type, s.AdditionalProperties, s.Description = "object", reflector.FalseSchema, "What the file says of the limits; a limit that is not there keeps its default."
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		s.Properties.Set(row.Key, &reflector.Schema{
			Type: "number", Minimum: number(row.Low), Maximum: number(row.High), Default: number(row.Default),
			Description: fmt.Sprintf("%s (%s). Source: %s", row.What, row.Unit, row.Source),
		})
	}
	return s
}

func anys(names []string) (all []any) {
	for _, name := range names {
		all = append(all, name)
	}
	return all
}

func bound(s *reflector.Schema, key string, low, high float64) {
	p, ok := s.Properties.Get(key)
	if !ok {
		p = &reflector.Schema{}
		s.Properties.Set(key, p)
	}
	p.Minimum, p.Maximum = number(low), number(high)
}

// tuneLevel says for each kind of probe what it must have and what it may not.
func tuneLevel(s *reflector.Schema) {
	at, _ := s.Properties.Get("kind")
	for _, kind := range level.Kinds() {
		at.Enum = append(at.Enum, kind)
		is, own := part(), part()
		is.Required = []string{"kind"}
		is.Properties.Set("kind", &reflector.Schema{Const: kind})
		own.Description = kind.About()
		for _, key := range kind.Keys() {
			bound(own, key.Name, key.Low, key.High)
			if !key.Optional {
				own.Required = append(own.Required, key.Name)
			}
		}
		if rods := kind.Rods(); rods.Most > 0 {
			own.Properties.Set(level.RodsKey, &reflector.Schema{MinItems: ref(uint64(rods.Least)), MaxItems: ref(uint64(rods.Most))})
			own.Required = append(own.Required, level.RodsKey)
		}
		for _, key := range level.SettingKeys() {
			if !kind.Takes(key) {
				own.Properties.Set(key, reflector.FalseSchema)
			}
		}
		s.AllOf = append(s.AllOf, &reflector.Schema{If: is, Then: own})
	}
}

func part() *reflector.Schema { return &reflector.Schema{Properties: reflector.NewProperties()} }

func ref[T any](v T) *T { return &v }

func number(v float64) json.Number { return json.Number(plain(v)) }

// TestSchemaIsOfTheTypes: what is embedded and shipped is what the types give.
func TestSchemaIsOfTheTypes(t *testing.T) {
	made := build(t)
	if *update {
		for _, path := range []string{embedded, shipped} {
			require.NoError(t, os.WriteFile(path, made, 0o644))
		}
	}
	for _, path := range []string{embedded, shipped} {
		have, err := os.ReadFile(path)
		require.NoError(t, err)
		require.True(t, bytes.Equal(made, have), "%s is not what the types give: go test ./agent/config -run Schema -update", path)
	}
}

func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(build(t)))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	require.NoError(t, c.AddResource("bayward.json", doc))
	s, err := c.Compile("bayward.json")
	require.NoError(t, err)
	return s
}

// judged is a YAML text as an editor judges it.
func judged(t *testing.T, s *jsonschema.Schema, text string) error {
	t.Helper()
	raw, err := yaml.YAMLToJSON([]byte(text))
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	require.NoError(t, err)
	return s.Validate(v)
}

// TestSchemaTakesTheExample, as it is and with every line that is commented out.
func TestSchemaTakesTheExample(t *testing.T) {
	s := compiled(t)
	text, err := os.ReadFile(shippedYAML)
	require.NoError(t, err)
	require.NoError(t, judged(t, s, string(text)))
	require.NoError(t, judged(t, s, small))
	require.NoError(t, judged(t, s, strings.Replace(small, transmitter, ladder, 1)))
	require.Contains(t, string(text), "# yaml-language-server: $schema=")
}

// TestSchemaRefuses: what Parse refuses for one value alone an editor marks too.
func TestSchemaRefuses(t *testing.T) {
	s := compiled(t)
	for _, row := range [][2]string{
		{"capacity_ah", "capcity_ah"}, {"agent: shed-2", "agent: shed-2\ncolour: red"}, {"    cells: 12\n", ""},
		{"cells: 12", "cells: twelve"}, {"cells: 12", "cells: 1.5"}, {"cells: 12", "cells: 49"}, {"capacity_ah: 225", `capacity_ah: "225"`},
		{"capacity_ah: 225", "capacity_ah: -225"}, {"full_gravity: 1.277", "full_gravity: 1277"}, {"site: quarry-road", "site: Quarry Road"},
		{"agent: shed-2", "agent: shed-2\nunits: metric"}, {"agent: shed-2", "agent: shed-2\nsensors: none"},
		{"adc: 0x48, channel: 0", "adc: 0x40, channel: 0"}, {"channel: 0, ratio", "channel: 4, ratio"}, {"ratio: 11", "ratio: 0.5"},
		{"ratio: 11", "ratio: 11, range_v: 3.3"}, {"ratio: 11", "ratio: 11, rate: 100"}, {"kind: hall", "kind: magnet"},
		{"kind: 4-20ma", "kind: float"}, {"shunt_ohm: 100", "shunt_ohm: 100, pull_ohm: 1000"}, {"shunt_ohm: 100, ", ""}, {"low_mm: -20", "low_mm: 5"}, {"packs:", "limits: {charge_max_c: 60}\npacks:"}, {"packs:", "limits: {stale_seconds: 1}\npacks:"},
		{"packs:", "limits: {charge_max: 50}\npacks:"}, {"packs:", "mqtt: {broker: 'tcp://b:1883', qos: {event: 0}}\npacks:"},
		{"relay: {pin: GPIO17, ", "relay: {"}, {"agent: shed-2", "agent: [shed-2]"},
	} {
		text := strings.Replace(small, row[0], row[1], 1)
		require.NotEqual(t, small, text, row[0])
		_, err := Parse("f", []byte(text))
		require.Error(t, err, "Parse takes %q", row[1])
		require.Error(t, judged(t, s, text), "the schema takes %q", row[1])
	}
}

// TestSchemaRangesAreParses: at each bound Parse does not complain of the range,
// just outside it does.
func TestSchemaRangesAreParses(t *testing.T) {
	check := func(line, key string, low, high float64) {
		for v, good := range map[float64]bool{low: true, high: true, just(low, -1): false, just(high, +1): false} {
			_, err := Parse("f", []byte(fmt.Sprintf(line, plain(v))))
			complains := err != nil && strings.Contains(err.Error(), key+": value") && strings.Contains(err.Error(), "must be "+plain(low)+" to "+plain(high))
			require.Equal(t, !good, complains, "%s: %v: %v", key, v, err)
		}
	}
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		check(strings.Replace(small, "packs:", "limits: {"+row.Key+": %s}\npacks:", 1), "limits."+row.Key, row.Low, row.High)
	}
	for key, b := range ranges {
		part, name, _ := strings.Cut(key, ".")
		if part != "Pack" || name == "cells" {
			continue
		}
		text := small
		if at := strings.Index(text, "    "+name+":"); at >= 0 {
			_, rest, _ := strings.Cut(text[at:], "\n")
			text = text[:at] + rest
		}
		check(text+"    "+name+": %s\n", "packs[0]."+name, b[0], b[1])
	}
}

// just is a bit beyond a bound.
func just(v, sign float64) float64 { return v + sign*math.Max(0.001, 1e-6*math.Abs(v)) }

// TestSchemaKnowsEveryKey that the decoder knows, and no other.
func TestSchemaKnowsEveryKey(t *testing.T) {
	var whole struct {
		Properties  map[string]any
		Definitions map[string]struct{ Properties map[string]any } `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(Schema(), &whole))
	seen := map[reflect.Type]bool{}
	var look func(reflect.Type)
	look = func(typ reflect.Type) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
			typ = typ.Elem()
		}
		if typ.Kind() == reflect.Map {
			require.Len(t, whole.Definitions[typ.Name()].Properties, len(allKeys(typ)), typ.Name())
			for _, k := range allKeys(typ) {
				require.Contains(t, whole.Definitions[typ.Name()].Properties, k, typ.Name())
			}
			return
		}
		if typ.Kind() != reflect.Struct || seen[typ] {
			return
		}
		seen[typ] = true
		for i := range typ.NumField() {
			if f := typ.Field(i); !f.Anonymous { // what stands inline is of the part that has it
				look(f.Type)
			}
		}
		props := whole.Properties
		if typ.Name() != "Config" {
			props = whole.Definitions[typ.Name()].Properties
		}
		keys := keysOf(reflect.New(typ).Elem(), map[string]reflect.Value{})
		require.Len(t, props, len(keys), typ.Name())
		for _, k := range keys {
			require.Contains(t, props, k, typ.Name())
		}
	}
	look(reflect.TypeFor[Config]())
}
