package charge_test

import (
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestEveryValueOfAMemory: none that cannot have been saved is taken, be it of a torn write
// or of a hand that edited the file.
func TestEveryValueOfAMemory(t *testing.T) {
	notNegative := map[string]bool{
		"FlowS": true, "TotalGasAh": true, "CeilingS": true, "FlowA": true, "GasA": true, "UnsavedGasAh": true,
		"GasTimes": true, "RestAgoS": true, "AgedH": true, "FlowAgoS": true, "LowForS": true,
	}
	var m charge.Memory
	require.True(t, m.Valid())
	kind := reflect.TypeFor[charge.Memory]()
	for i := range kind.NumField() {
		name := kind.Field(i).Name
		valid := func(x float64) bool {
			var m charge.Memory
			f := reflect.ValueOf(&m).Elem().Field(i)
			switch f.Interface().(type) {
			case float64:
				f.SetFloat(x)
			case *float64:
				f.Set(reflect.ValueOf(&x))
			default:
				return false
			}
			return m.Valid()
		}
		if !valid(0) {
			continue // no number with a fraction
		}
		require.False(t, valid(math.NaN()), name)
		require.False(t, valid(math.Inf(1)), name)
		require.Equal(t, !notNegative[name], valid(-1), name)
		require.Equal(t, !notNegative[name], valid(-1e9), name)
		require.False(t, valid(-1.1e9), name)
		most := 1e9 // 31 years, which a duration still has
		if name == "GasTimes" {
			most = 12
		}
		require.True(t, valid(most), name)
		require.False(t, valid(1.1*most), name)
	}
	for name, c := range map[string]struct {
		m    charge.Memory
		want bool
	}{
		"it ended now":              {charge.Memory{Ended: true}, true},
		"it will have ended":        {charge.Memory{Ended: true, EndedAgoS: -1}, false},
		"full now":                  {charge.Memory{Full: true}, true},
		"will have been full":       {charge.Memory{Full: true, FullAgoS: -1}, false},
		"the last evidence":         {charge.Memory{Evidence: 10, Pending: 10}, true},
		"no such evidence":          {charge.Memory{Evidence: 11}, false},
		"no such evidence, pending": {charge.Memory{Pending: 11}, false},
		"the last doubt":            {charge.Memory{Doubt: 6}, true},
		"no such doubt":             {charge.Memory{Doubt: 7}, false},
		"cycles":                    {charge.Memory{EqualCycles: -1}, false},
		"marks":                     {charge.Memory{BulkMarks: -1}, false},
		"empty windows":             {charge.Memory{Run: &charge.RunMemory{}}, true},
		"four of them":              {charge.Memory{Run: &charge.RunMemory{N: 1, AgoS: 1, Means: make([][3]float64, 4)}}, true},
		"five":                      {charge.Memory{Run: &charge.RunMemory{Means: make([][3]float64, 5)}}, false},
		"fewer than no readings":    {charge.Memory{Run: &charge.RunMemory{N: -1}}, false},
		"a window to come":          {charge.Memory{Run: &charge.RunMemory{AgoS: -1}}, false},
		"one forever":               {charge.Memory{Run: &charge.RunMemory{AgoS: math.Inf(1)}}, false},
		"a sum":                     {charge.Memory{Run: &charge.RunMemory{Sum: [3]float64{0, math.NaN(), 0}}}, false},
		"a mean":                    {charge.Memory{Run: &charge.RunMemory{Means: [][3]float64{{1, 2, math.NaN()}, {1, 2, 3}}}}, false},
	} {
		require.Equal(t, c.want, c.m.Valid(), name)
	}
}

// lives are packs in states of which a memory has all that it can have.
func lives() map[string]func() *hands {
	return map[string]func() *hands{
		"in a charge": func() *hands {
			h := newHands().provenFull()
			h.a = -40
			h.pass(3*time.Hour, 15*time.Minute)
			h.tr.Watered(3)
			h.take(2.40, 40)
			h.pass(51*time.Minute, time.Minute)
			return h
		},
		"at rest, too low": func() *hands {
			h := newHands()
			h.take(2.40, 40)
			h.pass(2*time.Hour, time.Minute)
			h.a = 0
			h.v = 2.07
			h.pass(time.Hour, time.Minute)
			h.provenFull()
			h.pass(5*time.Minute, time.Minute)
			return h
		},
		"waiting for a rest": func() *hands {
			h := restored(charge.Memory{Pending: 6, Doubt: uint8(charge.AwaitsRest), OutKnown: true, OutAh: 3, BackAh: 2, UnseenAh: 1, RoundOutAh: 60, RoundBackAh: 5, RoundOK: true, Depth: 0.3, DepthKnown: true, SelfShare: 0.02, Spread: 0.02, SpreadKnown: true, EqualCycles: 4, EqualAgoS: 1e5, EqualAfterS: 7, Collapsed: true, BulkMarks: 2, UnsavedGasAh: 3, GasTimes: 2, Charges: 5, Fulls: 4, TotalGasAh: 9, MixedS: 9, Unmixed: 4, CeilingFull: true})
			return h
		},
	}
}

// TestARestartLosesNothing: what was saved and restored over no gap is saved as it was, but
// for the current that may not flow any more.
func TestARestartLosesNothing(t *testing.T) {
	for name, live := range lives() {
		h := live()
		m := h.tr.Memory()
		require.True(t, m.Valid(), name)
		again := untouched()
		again.tr.Restore(&m, 7*time.Hour, 0, true)
		got := again.tr.Memory()
		m.Flowing, m.FlowA, m.GasA = false, 0, 0
		if m.FlowAgoS == nil {
			m.FlowAgoS = new(0.0)
		}
		require.Equal(t, m, got, name)
		s := again.tr.Status()
		s.MaxPackC = h.tr.Status().MaxPackC
		require.Equal(t, h.tr.Status().Full, s.Full, name)
		require.Equal(t, h.tr.Status().Since-h.now, s.Since-7*time.Hour, name)
		again.now = 7 * time.Hour
		again.take(h.v, h.a)
		again.tick(time.Minute)
		require.Equal(t, h.tr.Status().Since-h.now, s.Since-7*time.Hour, name)
		require.InDelta(t, map[bool]float64{true: m.CeilingS + 60, false: m.CeilingS}[m.Active], again.tr.Memory().CeilingS, 1e-9, "the first tick counts: %s", name)
	}
}

// TestARestartOverAGap: a proven one of up to 15 minutes hides nothing. Over a longer or an
// unproven one, or of a pack that was moved, the ceilings and the windows of a runaway go on
// and nothing else that a charge or another pack could have changed.
func TestARestartOverAGap(t *testing.T) {
	const start = 7 * time.Hour
	for name, c := range map[string]struct {
		gap           time.Duration
		proven, moved bool
		want          bool
	}{
		"15 min":          {15 * time.Minute, true, false, true},
		"more":            {15*time.Minute + time.Second, true, false, false},
		"not proven":      {time.Minute, false, false, false},
		"moved meanwhile": {time.Minute, true, true, false},
	} {
		for life, live := range lives() {
			h := live()
			m := h.tr.Memory()
			m.Moved = c.moved
			again := untouched()
			again.tr.Restore(&m, start, c.gap, c.proven)
			got, s := again.tr.Memory(), again.tr.Status()
			require.Equal(t, m.Run, got.Run, name+", "+life)
			require.Equal(t, m.Unmixed, got.Unmixed)
			require.Equal(t, m.GasTimes, got.GasTimes)
			require.Equal(t, m.Doubt, got.Doubt)
			require.Equal(t, m.Charges, got.Charges)
			require.Equal(t, m.Ended || m.Active && !c.want, s.Ended)
			if c.want {
				require.Equal(t, m.Full, s.Full)
				require.Equal(t, m.Active, s.Active)
				require.Equal(t, m.Pending, got.Pending)
				require.Equal(t, m.RestV, got.RestV)
				if m.Resting {
					require.InDelta(t, m.RestAgoS+c.gap.Seconds(), got.RestAgoS, 1e-6)
					require.InDelta(t, m.AgedH+c.gap.Hours(), got.AgedH, 1e-9)
				}
				continue
			}
			require.False(t, s.Full || s.Active || s.OutKnown || s.SocKnown)
			require.Equal(t, charge.NoEvidence, s.Pending)
			require.Zero(t, s.InAh)
			require.False(t, got.Resting)
			if s.Ended {
				require.Equal(t, start, s.EndedAt, "at the latest")
			}
		}
	}
	m := lives()["at rest, too low"]().tr.Memory()
	require.NotNil(t, m.LowForS)
	again := untouched()
	again.tr.Restore(&m, start, time.Minute, true)
	require.InDelta(t, *m.LowForS+60, *again.tr.Memory().LowForS, 1e-6)
}

// TestWhatMayHaveFlowed after the last save counts towards the ceilings and the gas: ten
// minutes of a charge, one where only the permit was granted, and never more than the gap.
func TestWhatMayHaveFlowed(t *testing.T) {
	const gap = 4 * time.Minute
	for name, c := range map[string]struct {
		m      charge.Memory
		proven bool
		s      float64
		a      float64
	}{
		"a current flowed":              {charge.Memory{Flowing: true, FlowA: 30}, true, 240, 30},
		"it flowed, no gap is proven":   {charge.Memory{Flowing: true, FlowA: 30}, false, 600, 30},
		"a pause of a charge":           {charge.Memory{Active: true}, true, 240, 100},
		"the permit was granted":        {charge.Memory{MayFlow: true}, true, 60, 100},
		"nothing could flow":            {charge.Memory{}, false, 0, 100},
		"after full":                    {charge.Memory{Flowing: true, FlowA: 30, CeilingFull: true}, true, 240, 30},
		"a tail after full":             {charge.Memory{Flowing: true, FlowA: 9, CeilingFull: true}, true, 0, 9},
		"full, by a program before it":  {charge.Memory{Flowing: true, FlowA: 9, Full: true, Evidence: 5}, true, 0, 9},
		"a tail before full is counted": {charge.Memory{Flowing: true, FlowA: 9}, true, 240, 9},
	} {
		c.m.CeilingS, c.m.CeilingAh, c.m.GasA, c.m.UnsavedGasAh = 1000, 10, 6, 1
		h := untouched()
		h.tr.Restore(&c.m, 7*time.Hour, gap, c.proven)
		got := h.tr.Memory()
		require.Equal(t, 1000+c.s, got.CeilingS, name)
		require.InDelta(t, 10+c.a*c.s/3600, got.CeilingAh, 1e-9, name)
		lost := c.s
		if c.a == 9 && c.s == 0 {
			lost = 240 // it gassed all the same
		}
		require.InDelta(t, 1+6*lost/3600, got.UnsavedGasAh, 1e-9, name)
	}
	h := untouched(blind)
	m := charge.Memory{Flowing: true, CeilingFull: true}
	h.tr.Restore(&m, 7*time.Hour, gap, true)
	require.Equal(t, 240.0, h.tr.Memory().CeilingS, "of no known current all hours count")

	for name, c := range map[string]struct {
		m    charge.Memory
		want float64 // seconds ago
	}{
		"an hour before it":  {charge.Memory{FlowAgoS: new(3600.0)}, 3600 + 1200},
		"flowing":            {charge.Memory{FlowAgoS: new(0.0), Flowing: true}, 1200 - 600},
		"it is not known":    {charge.Memory{}, 0},
		"before a permit":    {charge.Memory{FlowAgoS: new(3600.0), MayFlow: true}, 1200 - 60},
		"a charge in a blip": {charge.Memory{FlowAgoS: new(9.0), Active: true}, 600},
	} {
		h := untouched()
		h.tr.Restore(&c.m, 7*time.Hour, 20*time.Minute, true)
		require.InDelta(t, c.want, *h.tr.Memory().FlowAgoS, 1e-6, name)
	}
}
