package view_test

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/view"
	"bayward/agent/view/viewtest"
)

// everything returns a picture with every value known and every finding raised,
// so its view has every field.
func everything() *bay.Picture {
	const now = 100 * time.Hour
	setup := baytest.Setup("bay-1")
	setup.Fitted, setup.Packs = bay.Optional, baytest.Packs("lift-24v", "lift-24v")
	setup.Watchdog.Line = "GPIO27"
	core := bay.New(setup)
	good := func(v float64) reading.Reading { return reading.Good(v, now) }
	p, _ := core.Step(&bay.Readings{
		Now: now, PackV: good(25), CurrentA: good(1), PackC: good(30), AmbientC: good(20), HydrogenPct: good(0.1),
		Level: reading.LevelBetween(4, 6, now),
	})
	p = p.Clone()
	limits := *p.Limits
	p.Pack, p.Limits, p.Naming = &setup.Packs[0], &limits, bay.ByPerson
	p.Charge.Gravity = &charge.GravityRound{Of: 12, Sound: 2}
	for i := range 3 {
		p.Charge.Gravity.Cells[i] = charge.CellGravity{Verdict: charge.GravityBelow, Others: 1}
	}
	p.Water.Cells, p.Water.Doubted, p.Water.Over, p.Water.SurelyMM, p.Visit.By = 12, 3, 1, 2, "A. Person"
	p.Holds, p.Visit.People = bay.Locks{{By: "A. Person", Since: time.Hour, Reason: "plug burnt"}}, bay.Locks{{By: "A. Person"}}
	walk(reflect.ValueOf(p).Elem(), "", func(_ string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Bool:
			v.SetBool(true)
		case reflect.Float64:
			if v.Float() == 0 {
				v.SetFloat(1.5)
			}
		default:
		}
	})
	p.Permit.Granted, p.Findings[interlock.NoCode] = false, bay.Finding{}
	p.Visit.Cells[11], p.Water.ReadAsk, p.Water.ReadFirst[0] = bay.CellVisit{}, 1<<11, 12
	p.Cells.Verdict = 1
	p.Charge.Evidence, p.Charge.Doubt, p.Charge.Equalize.Due = 1, 1, 1
	return p
}

// walk visits every settable value in a picture, with its name.
func walk(v reflect.Value, name string, see func(string, reflect.Value)) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			walk(v.Elem(), name, see)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() {
				walk(v.Field(i), name+"."+f.Name, see)
			}
		}
	case reflect.Array, reflect.Slice:
		for i := range v.Len() {
			walk(v.Index(i), fmt.Sprintf("%s[%d]", name, i), see)
		}
	default:
		see(name, v)
	}
}

// members returns the members of the view of a picture, as JSON.
func members(t *testing.T, p *bay.Picture) map[string]any {
	t.Helper()
	text, err := json.Marshal(view.Of(p))
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, json.Unmarshal(text, &m))
	return m
}

// most is how many members of a view may depend on one number: an estimate and the
// ends of its range.
const most = 3

// TestNoNumberIsAbsent: JSON has no NaN and no infinity (RFC 8259, section 6).
// Whichever number of a picture is not finite, the view is still sent, and at
// most the members that depend on that number are absent.
func TestNoNumberIsAbsent(t *testing.T) {
	p := everything()
	all := members(t, p)
	for _, f := range viewtest.Fields(reflect.TypeFor[view.View]()) {
		require.True(t, all[f.Name] != nil, "give the picture of this test what %s is made from", f.Name)
	}
	numbers, absent := 0, map[string]bool{}
	walk(reflect.ValueOf(p).Elem(), "picture", func(name string, v reflect.Value) {
		if v.Kind() != reflect.Float64 {
			return
		}
		numbers++
		was := v.Float()
		for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64} {
			v.SetFloat(bad)
			left := members(t, p)
			require.GreaterOrEqual(t, len(left), len(all)-most, "%s is %v: left %v", name, bad, left)
			for key := range all {
				absent[key] = absent[key] || left[key] == nil
			}
		}
		v.SetFloat(was)
	})
	require.Greater(t, numbers, 200, "the walk is broken")
	for _, key := range []string{"pack_v", "water_ml", "water_lost_since_fill_ml", "charge_in_ah", "forecast_early_h", "forecast_late_h", "level_high_mm"} {
		require.True(t, absent[key], "%s never hung on a number", key)
	}
	walk(reflect.ValueOf(p).Elem(), "picture", func(_ string, v reflect.Value) {
		if v.Kind() == reflect.Float64 {
			v.SetFloat(math.NaN())
		}
	})
	left := members(t, p)
	for _, key := range []string{"bay", "stage", "permit", "findings", "says"} {
		require.True(t, left[key] != nil, key)
	}
	require.True(t, left["water_ml"] == nil, "numbers that are none were published")
}

// TestWatchdog: whoever reads the state sees whether a relay outside the Pi opens when
// it hangs, and when that was last proven.
func TestWatchdog(t *testing.T) {
	walked := time.Date(2026, 3, 1, 6, 7, 8, 0, time.FixedZone("", 3600))
	for name, row := range map[string]struct {
		is   bay.Watchdog
		want string
	}{
		"simulated":  {bay.Watchdog{}, "null"},
		"not fitted": {bay.Watchdog{WhyNot: "on order"}, `{"fitted":false,"why_not":"on order","proven":false}`},
		"not proven": {bay.Watchdog{Line: "GPIO27"}, `{"fitted":true,"proven":false}`},
		"no clock":   {bay.Watchdog{Line: "GPIO27", Proven: true, By: "A. Person"}, `{"fitted":true,"proven":true,"proven_by":"A. Person"}`},
		"proven": {
			bay.Watchdog{Line: "GPIO27", Proven: true, At: walked, By: "A. Person"},
			`{"fitted":true,"proven":true,"proven_at":"2026-03-01T05:07:08Z","proven_by":"A. Person"}`,
		},
	} {
		setup := baytest.Setup("bay-1")
		setup.Watchdog = row.is
		p, _ := bay.New(setup).Step(&bay.Readings{Now: time.Hour})
		got, err := json.Marshal(view.Of(p).Watchdog)
		require.NoError(t, err)
		require.Equal(t, row.want, string(got), name)
	}
}
