package config

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	reflector "github.com/invopop/jsonschema"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/sensors/converter"
	"bayward/sensors/families"
	"bayward/sensors/level"
)

var update = flag.Bool("update", false, "write the schema again")

const (
	embedded    = "bayward.schema.json"
	shipped     = "../../deploy/bayward.schema.json"
	shippedYAML = "../../deploy/bayward.yaml"
)

// build generates the schema from the types and their comments.
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

// tune adds the rules of the checks to the schema of the types.
func tune(name string, s *reflector.Schema) {
	typ := types[name]
	if s.Properties == nil || typ == nil {
		return
	}
	for _, f := range fieldsOf(typ) {
		r, ok := ruleOf(f)
		if ok && !r.optional || f.Tag.Get("required") != "" {
			s.Required = append(s.Required, r.key)
		}
		p, _ := s.Properties.Get(r.key)
		if ok {
			describe(p, &r, f.Type)
		}
		switch r.key {
		case "i2c":
			p.Type = ""
			p.AnyOf = []*reflector.Schema{{Type: "integer"}, {Type: "string"}} // a number and a word are both accepted
		case "site", "agent", "name":
			if name == "Config" || name == "Bay" || name == "Pack" {
				p.Pattern, p.MaxLength = nameForm.String(), ref(uint64(48))
			}
		}
	}
	if typ.Kind() == reflect.Struct && embedsInput(typ) {
		tuneInput(s)
	}
	switch name {
	case "Level":
		tuneLevel(s)
	case "Rod":
		for _, key := range level.RodKeys {
			bound(s, key.Name, key.Low, key.High)
			s.Required = append(s.Required, key.Name)
		}
	}
}

// describe adds what a rule accepts.
func describe(p *reflector.Schema, r *rule, typ reflect.Type) {
	value := func(text string) any {
		if typ.Kind() == reflect.String {
			return text
		}
		return number(numeral(text))
	}
	if r.ranged && r.open {
		p.ExclusiveMinimum, p.Maximum = number(r.low), number(r.high)
	} else if r.ranged {
		p.Minimum, p.Maximum = number(r.low), number(r.high)
	}
	for _, one := range r.choices {
		p.Enum = append(p.Enum, value(one))
	}
	if r.fallback != "" {
		p.Default = value(r.fallback)
	}
}

// fieldsOf lists the fields of a type that have a key, inline fields included.
func fieldsOf(typ reflect.Type) []reflect.StructField {
	var all []reflect.StructField
	for i := range typ.NumField() {
		if f := typ.Field(i); f.Anonymous {
			all = append(all, fieldsOf(f.Type)...)
		} else {
			all = append(all, f)
		}
	}
	return all
}

// types maps the names of the configuration's types to the types.
var types = func() map[string]reflect.Type {
	all := map[string]reflect.Type{}
	var look func(reflect.Type)
	look = func(typ reflect.Type) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
			typ = typ.Elem()
		}
		if typ.Kind() != reflect.Struct || all[typ.Name()] != nil {
			return
		}
		all[typ.Name()] = typ
		for _, f := range fieldsOf(typ) {
			look(f.Type)
		}
	}
	look(reflect.TypeFor[Config]())
	return all
}()

// limits has a key for each row of the limits.
func limits() *reflector.Schema {
	s := properties()
	s.Type, s.AdditionalProperties, s.Description = "object", reflector.FalseSchema, "The limits; one that is left out keeps its default."
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		s.Properties.Set(row.Key, &reflector.Schema{
			Type: "number", Minimum: number(row.Low), Maximum: number(row.High), Default: number(row.Default),
			Description: fmt.Sprintf("%s (%s). Source: %s", row.What, row.Unit, row.Source),
		})
	}
	return s
}

func bound(s *reflector.Schema, key string, low, high float64) {
	p, ok := s.Properties.Get(key)
	if !ok {
		p = &reflector.Schema{}
		s.Properties.Set(key, p)
	}
	p.Minimum, p.Maximum = number(low), number(high)
}

func embedsInput(typ reflect.Type) bool {
	f, ok := typ.FieldByName("Input")
	return ok && f.Anonymous
}

// tuneInput adds what each family of converters accepts.
func tuneInput(s *reflector.Schema) {
	for _, f := range families.All() {
		is, own := properties(), properties()
		is.Properties.Set("converter", &reflector.Schema{Const: f.Name})
		if f.Name != families.Names()[0] {
			is.Required = []string{"converter"}
		}
		own.Description = "An input of an " + f.Title + "."
		there, away := "adc", "spi"
		if f.Bus == converter.SPI {
			there, away = away, there
		} else {
			bound(own, there, float64(f.FirstAddr), float64(f.LastAddr))
		}
		own.Required = append(own.Required, there)
		own.Properties.Set(away, reflector.FalseSchema)
		bound(own, "channel", 0, float64(len(f.Channels)-1))
		own.Properties.Set("range_v", rangesOf(f))
		if f.Rates == nil {
			own.Properties.Set("rate", reflector.FalseSchema)
		} else {
			own.Properties.Set("rate", &reflector.Schema{Enum: numbers(f.Rates), Default: f.DefaultRate})
		}
		s.AllOf = append(s.AllOf, &reflector.Schema{If: is, Then: own})
	}
}

// rangesOf accepts the full scales of any of a family's channels.
func rangesOf(f *converter.Family) *reflector.Schema {
	p := &reflector.Schema{}
	for i := range f.Channels {
		c := &f.Channels[i]
		if c.Ranges == nil {
			p.Minimum, p.Maximum = number(c.LowV), number(c.HighV)
			continue
		}
		for _, v := range numbers(c.Ranges) {
			if !slices.Contains(p.Enum, v) {
				p.Enum = append(p.Enum, v)
			}
		}
	}
	return p
}

func numbers[T int | float64](all []T) []any {
	out := make([]any, len(all))
	for i, v := range all {
		out[i] = number(float64(v))
	}
	return out
}

// tuneLevel adds the required and forbidden keys of each kind of probe.
func tuneLevel(s *reflector.Schema) {
	for _, kind := range level.Kinds() {
		is, own := properties(), properties()
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
		if kind.Pulses() == level.NoPulses {
			own.Properties.Set("expander", reflector.FalseSchema)
		} else {
			bound(own, "expander", 0x20, 0x3f)
			own.Required = append(own.Required, "expander")
		}
		for _, key := range level.SettingKeys() {
			if !kind.Takes(key) {
				own.Properties.Set(key, reflector.FalseSchema)
			}
		}
		s.AllOf = append(s.AllOf, &reflector.Schema{If: is, Then: own})
	}
}

func properties() *reflector.Schema { return &reflector.Schema{Properties: reflector.NewProperties()} }

func ref[T any](v T) *T { return &v }

func number(v float64) json.Number { return json.Number(plain(v)) }

// TestSchemaIsOfTheTypes: the embedded and shipped schema is the one generated from
// the types.
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

// judged validates a YAML text as an editor does.
func judged(t *testing.T, s *jsonschema.Schema, text string) error {
	t.Helper()
	raw, err := yaml.YAMLToJSON([]byte(text))
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	require.NoError(t, err)
	return s.Validate(v)
}

// TestSchemaTakesTheExample: as shipped, and with every commented line switched on.
func TestSchemaTakesTheExample(t *testing.T) {
	s := compiled(t)
	text, err := os.ReadFile(shippedYAML)
	require.NoError(t, err)
	require.NoError(t, judged(t, s, string(text)))
	require.NoError(t, judged(t, s, small))
	require.NoError(t, judged(t, s, strings.Replace(small, transmitter, ladder, 1)))
	require.Contains(t, string(text), "# yaml-language-server: $schema=")
}

// TestSchemaRefuses: an editor also marks what Parse refuses because of one value
// alone.
func TestSchemaRefuses(t *testing.T) {
	s := compiled(t)
	for _, row := range [][2]string{
		{"capacity_ah", "capcity_ah"}, {"agent: shed-2", "agent: shed-2\ncolour: red"}, {"    cells: 12\n", ""},
		{"cells: 12", "cells: twelve"}, {"cells: 12", "cells: 1.5"}, {"cells: 12", "cells: 49"}, {"capacity_ah: 225", `capacity_ah: "225"`},
		{"capacity_ah: 225", "capacity_ah: -225"}, {"full_gravity: 1.277", "full_gravity: 1277"}, {"site: quarry-road", "site: Quarry Road"},
		{"agent: shed-2", "agent: shed-2\nunits: metric"}, {"agent: shed-2", "agent: shed-2\nsensors: none"},
		{"adc: 0x48, channel: 0", "adc: 0x40, channel: 0"}, {"channel: 0, ratio", "channel: 4, ratio"}, {"ratio: 11", "ratio: 0.5"},
		{"ratio: 11", "ratio: 11, range_v: 3.3"}, {"ratio: 11", "ratio: 11, rate: 100"}, {"kind: hall", "kind: magnet"},
		{"kind: 4-20ma", "kind: float"}, {"shunt_ohm: 100", "shunt_ohm: 100, end_ohm: 1000"}, {"shunt_ohm: 100", "shunt_ohm: 100, expander: 0x20"}, {"shunt_ohm: 100, ", ""}, {"low_mm: -20", "low_mm: 5"}, {"packs:", "limits: {charge_max_c: 60}\npacks:"}, {"packs:", "limits: {stale_seconds: 1}\npacks:"},
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

// TestSchemaRangesAreParses: Parse accepts each bound and complains about the range
// just outside it.
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
	for _, f := range fieldsOf(reflect.TypeFor[Pack]()) {
		r, ok := ruleOf(f)
		if !ok || f.Type.Kind() != reflect.Float64 {
			continue
		}
		text := small
		if at := strings.Index(text, "    "+r.key+":"); at >= 0 {
			_, rest, _ := strings.Cut(text[at:], "\n")
			text = text[:at] + rest
		}
		check(text+"    "+r.key+": %s\n", "packs[0]."+r.key, r.low, r.high)
	}
}

// just returns a value slightly beyond a bound.
func just(v, sign float64) float64 { return v + sign*math.Max(0.001, 1e-6*math.Abs(v)) }

// TestSchemaKnowsEveryKey: the schema has the keys that the decoder has, and no
// other.
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
			props := whole.Definitions[typ.Name()].Properties
			for _, k := range allKeys(typ) {
				require.True(t, props[k] != nil, "the schema has no %s of %s", k, typ.Name())
			}
			require.Equal(t, len(allKeys(typ)), len(props), typ.Name())
			return
		}
		if typ.Kind() != reflect.Struct || seen[typ] {
			return
		}
		seen[typ] = true
		for i := range typ.NumField() {
			if f := typ.Field(i); !f.Anonymous { // inline fields belong to the type that embeds them
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
