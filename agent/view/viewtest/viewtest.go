// Package viewtest holds the Go types that leave the program to the JSON Schemas
// that describe them, by reflection: a field that is published and not described,
// or described and never published, fails by its name.
package viewtest

import (
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"
)

// Field is one member of a published object.
type Field struct {
	Name   string
	Type   reflect.Type
	Always bool // false for one that is left out when it is empty
}

// Fields are the members of a struct as encoding/json writes them, in their order.
func Fields(typ reflect.Type) (all []Field) {
	for i := range typ.NumField() {
		f := typ.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "":
			all = append(all, Fields(f.Type)...)
		case f.IsExported() && name != "-":
			left := strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")
			all = append(all, Field{name, f.Type, !left})
		}
	}
	return all
}

// units are what a number's name ends with, and how its description must name it.
var units = map[string]string{
	"s": "s", "h": "h", "v": "V", "a": "A", "c": "°C", "mm": "mm", "pct": "%", "ml": "ml", "ah": "Ah",
}

// pure are the numbers that have no unit.
var pure = map[string]bool{
	"v": true, "seq": true, "cell": true, "ratio": true, "state_of_charge": true, "level_again": true, "read_cells": true,
	"counts": true, "gravity": true, "bare_cells": true, "overfilled_cells": true, "gravity_25c": true, "over_full": true, "over_others": true,
	"value": true, "low": true, "high": true, // of a field, in its own unit
	"state_of_charge_low": true, "state_of_charge_high": true, "depth_before": true, "return_factor": true,
	"cells_fit": true, "charges": true, "charges_full": true, "ready": true, // how often
}

// Described holds a struct to the schema of its object. A reference in it is
// followed by resolve, which may be nil where there is none.
func Described(t testing.TB, what string, typ reflect.Type, schema map[string]any, resolve func(ref string) map[string]any) {
	t.Helper()
	w := walker{t, resolve}
	w.object(what, typ, w.follow(schema))
}

type walker struct {
	testing.TB
	resolve func(string) map[string]any
}

// follow replaces a reference by what it leads to; what stands beside it wins.
func (w walker) follow(schema map[string]any) map[string]any {
	ref, ok := schema["$ref"].(string)
	if !ok || w.resolve == nil {
		return schema
	}
	out := maps.Clone(w.follow(w.resolve(ref)))
	for key, value := range schema {
		if key != "$ref" {
			out[key] = value
		}
	}
	return out
}

func (w walker) object(what string, typ reflect.Type, schema map[string]any) {
	w.Helper()
	described, _ := schema["properties"].(map[string]any)
	required, _ := schema["required"].([]any)
	published := map[string]bool{}
	for _, f := range Fields(typ) {
		at := what + "." + f.Name
		published[f.Name] = true
		property, ok := described[f.Name].(map[string]any)
		if !ok {
			w.Errorf("%s is published (%v) and described nowhere: add it to the contract", at, typ)
			continue
		}
		if always := slices.Contains(required, any(f.Name)); always != f.Always {
			w.Errorf("%s: always there in Go %v, required by the contract %v", at, f.Always, always)
		}
		w.property(at, f, w.follow(property))
	}
	for _, name := range slices.Sorted(maps.Keys(described)) {
		if !published[name] {
			w.Errorf("%s.%s stands in the contract and is never published by %v", what, name, typ)
		}
	}
}

func (w walker) property(at string, f Field, schema map[string]any) {
	w.Helper()
	about, _ := schema["description"].(string)
	if about == "" && schema["const"] == nil {
		w.Errorf("%s has no description in the contract", at)
	}
	typ := f.Type
	for typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	element := typ
	if typ.Kind() == reflect.Slice {
		element = typ.Elem()
		schema = w.items(at, schema)
	}
	if kind, want := kindOf(schema), kindIn(element); kind != want {
		w.Errorf("%s is a %s in Go and a %s in the contract", at, want, kind)
	}
	switch kindIn(element) {
	case "object":
		if element.Kind() == reflect.Struct {
			w.object(at, element, schema)
		}
	case "number", "integer":
		w.unit(at, f.Name, about)
	}
}

func (w walker) items(at string, schema map[string]any) map[string]any {
	w.Helper()
	items, ok := schema["items"].(map[string]any)
	if !ok || schema["type"] != "array" {
		w.Errorf("%s is a list in Go and a %s in the contract", at, kindOf(schema))
	}
	return w.follow(items)
}

func (w walker) unit(at, name, about string) {
	w.Helper()
	if pure[name] {
		return
	}
	unit, ok := units[name[strings.LastIndex(name, "_")+1:]]
	if !ok || !strings.Contains(name, "_") {
		w.Errorf("%s is a number whose name ends with none of the units %v; one without a unit stands in pure (agent/view/viewtest)",
			at, slices.Sorted(maps.Keys(units)))
		return
	}
	if !regexp.MustCompile(`(^|[^\pL])` + unit + `($|[^\pL])`).MatchString(about) {
		w.Errorf("%s: its description does not name its unit, %s: %q", at, unit, about)
	}
}

// kindOf is the kind of a schema's value; names are texts, be they listed or not.
func kindOf(schema map[string]any) string {
	if kind, ok := schema["type"].(string); ok {
		return kind
	}
	values, _ := schema["enum"].([]any)
	if c, ok := schema["const"]; ok {
		values = []any{c}
	}
	if len(values) == 0 {
		return "value without a type"
	}
	if text := fmt.Sprint(values[0]); unicode.IsDigit(rune(text[0])) {
		return "integer"
	}
	return "string"
}

func kindIn(typ reflect.Type) string {
	switch typ.Kind() {
	case reflect.String:
		return "string"
	case reflect.Bool:
		return "boolean"
	case reflect.Float32, reflect.Float64:
		return "number"
	case reflect.Struct, reflect.Map:
		return "object"
	default:
		return "integer"
	}
}
