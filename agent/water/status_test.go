package water_test

import (
	"reflect"
	"testing"

	"bayward/agent/water"
)

// TestCopyTo: what is spared is nothing but the cells that the pack has not.
func TestCopyTo(t *testing.T) {
	var from, to water.Status
	v := reflect.ValueOf(&from).Elem()
	fill(v)
	from.Cells = 12
	from.CopyTo(&to)
	for _, cells := range []*[water.MaxCells]float64{&from.LevelMM, &from.NeedML, &from.CoverPlatesML, &from.OddRatio} {
		clear(cells[from.Cells:])
	}
	if to != from {
		t.Errorf("copied\n%+v\nfrom\n%+v", to, from)
	}
}

// fill gives every field a value, so that a new one is seen here.
func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i))
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i))
		}
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Float64:
		v.SetFloat(1.5)
	case reflect.Int:
		v.SetInt(3)
	case reflect.Uint64:
		v.SetUint(5)
	default:
		panic("a kind of field that this test does not know: " + v.Kind().String())
	}
}
