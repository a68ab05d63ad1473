package alive_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/alive"
	"bayward/agent/reading"
)

// newLevel is a bench with ticks of a quarter of an hour, at constant temperature, and
// without a voltage, which would demand heat: what the level must do in it is by its gas
// and its lost water alone.
func newLevel(cfg alive.Config) *bench {
	b := newBench(cfg)
	b.tick, b.in.CellV = 15*time.Minute, gone()
	b.step(12)
	return b
}

// gas charges for some ticks with a gassing current; 12.5 A is the finish rate.
func (b *bench) gas(n int, amps float64) {
	for range n {
		b.in.TotalGassingAh += amps * b.tick.Hours()
		b.in.TotalInAh += amps * b.tick.Hours()
		b.step(1)
	}
}

// wide is a pack whose cells have so much surface that lost water shows little.
func wide(holdUpMM float64) alive.Config {
	cfg := bigPack()
	cfg.FreeSurfaceCM2, cfg.GasHoldUpMM = 1000, holdUpMM
	return cfg
}

// TestLevelMustFallAtRest: a tenth of 5 mm of gas makes the half that is demanded, and
// half an hour later the probe must have moved.
func TestLevelMustFallAtRest(t *testing.T) {
	rest := func(n int, then func(*bench)) func(*bench) {
		return func(b *bench) {
			b.gas(16, 12.5)
			if then != nil {
				then(b)
			}
			b.step(n)
		}
	}
	for name, c := range map[string]struct {
		holdUpMM float64
		live     func(*bench)
		want     bool
	}{
		"half an hour":           {5, rest(2, nil), true},
		"less":                   {5, rest(1, nil), false},
		"less gas":               {4.9, rest(40, nil), false},
		"a charge that gassed":   {5, func(b *bench) { b.gas(12, 3.2); b.step(40) }, true},
		"hardly":                 {5, func(b *bench) { b.gas(1, 3); b.step(40) }, false},
		"no rest, gas goes on":   {5, rest(1, func(b *bench) { b.gas(40, 0.625) }), false},
		"not what shows as gas":  {5, rest(1, func(b *bench) { b.gas(40, 0.62) }), true},
		"a tick of no length":    {5, rest(1, func(b *bench) { b.step(1); b.in.Now -= b.tick; b.step(1) }), true},
		"or several, calm":       {5, func(b *bench) { b.gas(12, 3.2); b.step(4); b.in.Now -= b.tick; b.step(2) }, true},
		"no temperature":         {5, func(b *bench) { b.in.PackC = gone(); b.step(8); rest(40, nil)(b) }, false},
		"none at the end":        {5, rest(40, func(b *bench) { b.in.PackC = gone() }), false},
		"it fell":                {5, rest(2, func(b *bench) { b.in.Level = reading.LevelBetween(3, 3, 0); b.step(4) }), false},
		"cold, and never gassed": {5, func(b *bench) { b.in.PackC.Value = -25; b.step(40) }, false},
	} {
		b := newLevel(wide(c.holdUpMM))
		c.live(b)
		require.Equal(t, c.want, b.doubts(reading.ElectrolyteLevel), name)
	}
}

// TestNoCapacityKnown yet: what came before the pack's figures spoils nothing.
func TestNoCapacityKnown(t *testing.T) {
	cfg := wide(5)
	cfg.CapacityAh = 0
	b := newLevel(cfg)
	b.gas(4, 12.5)
	b.w.Pack(wide(5))
	b.step(2)
	b.gas(16, 12.5)
	b.step(2)
	require.True(t, b.doubts(reading.ElectrolyteLevel))
}

// TestLevelMustFallWithItsWater: half of the lost water must show as 1 mm, unless what
// the pack has warmed can hide it. In a cell of 100 cm² that is 20 ml, some 60 Ah.
func TestLevelMustFallWithItsWater(t *testing.T) {
	const slow, days = 0.6, 110 // A, and quarters of an hour for each 16.5 Ah
	for name, c := range map[string]struct {
		live func(*bench)
		want bool
	}{
		"70 Ah":           {func(b *bench) { b.gas(4*days+30, slow) }, true},
		"50 Ah":           {func(b *bench) { b.gas(3*days, slow) }, false},
		"it warmed":       {func(b *bench) { b.in.PackC.Value += 12; b.gas(4*days+30, slow) }, false},
		"it cooled":       {func(b *bench) { b.in.PackC.Value -= 12; b.gas(4*days+30, slow) }, false},
		"it gasses":       {func(b *bench) { b.gas(3*days, slow); b.gas(60, 1.3) }, false},
		"it fell":         {func(b *bench) { b.gas(2*days, slow); b.fall(); b.gas(3*days, slow) }, false},
		"known too late":  {func(b *bench) { b.lateC(4 * days) }, false},
		"too late, again": {func(b *bench) { b.lateC(4 * days); b.gas(4*days+30, slow) }, true},
	} {
		cfg := bigPack()
		cfg.GasHoldUpMM = 0
		b := newLevel(cfg)
		c.live(b)
		require.Equal(t, c.want, b.doubts(reading.ElectrolyteLevel), name)
	}
}

// fall lowers the level by 1 mm.
func (b *bench) fall() { b.in.Level = reading.LevelBetween(4, 4, 0); b.step(8) }

// lateC brings a charge with hard gassing whose temperature is known from its middle on;
// what it lost until it was calm is not counted.
func (b *bench) lateC(n int) {
	c := b.in.PackC
	cfg := bigPack()
	cfg.GasHoldUpMM = 0
	*b = *newBench(cfg)
	b.tick, b.in.CellV, b.in.PackC = 15*time.Minute, gone(), gone()
	b.step(8)
	b.gas(n/10, 12.5)
	b.in.PackC = c
	b.gas(24, 12.5)
	b.step(20)
}

// TestMeasuredLevelLives by 0.4 mm of what is smoothed: neither by noise nor by one wild
// value, also while the filter is filling.
func TestMeasuredLevelLives(t *testing.T) {
	for name, c := range map[string]struct {
		at   func(i int) float64
		want bool
	}{
		"still":        {func(int) float64 { return 5 }, false},
		"noise":        {func(i int) float64 { return 5 + 0.3*float64(i%2) }, false},
		"wild second":  {func(i int) float64 { return wildAt(i, 1) }, false},
		"wild third":   {func(i int) float64 { return wildAt(i, 2) }, false},
		"wild later":   {func(i int) float64 { return wildAt(i, 40) }, false},
		"falls by 0.5": {func(i int) float64 { return 5 - 0.5*float64(i/60) }, true},
		"by 0.35":      {func(i int) float64 { return 5 - 0.35*float64(i/60) }, false},
	} {
		b := newBench(bigPack())
		for i := range 119 {
			b.in.Level = reading.LevelBetween(c.at(i), c.at(i), 0)
			b.step(1)
		}
		require.Equal(t, c.want, b.proven(reading.ElectrolyteLevel), name)
	}
	b := newLevel(bigPack())
	b.in.Level = reading.LevelBetween(7, 7, 0)
	b.step(1) // the median of three is one tick late
	for mm := 9.0; mm < 20; mm += 2 {
		b.in.Level = reading.LevelBetween(mm, mm, 0)
		b.step(1)
		require.True(t, b.provenNow(reading.ElectrolyteLevel), "on its way to %v mm", mm)
	}
}

// wildAt is 5 mm but for one reading.
func wildAt(i, wild int) float64 {
	if i == wild {
		return 50
	}
	return 5
}

// TestRodsLive by each change, a probe with a span of 1 mm only as one that measures.
func TestRodsLive(t *testing.T) {
	b := newBench(bigPack())
	b.in.Level = reading.LevelBetween(4, 10, 0)
	b.step(20)
	require.False(t, b.proven(reading.ElectrolyteLevel))
	b.in.Level = reading.LevelBetween(10, 15, 0)
	b.step(1)
	require.True(t, b.provenNow(reading.ElectrolyteLevel))

	b = newBench(bigPack())
	b.in.Level = reading.LevelBetween(5, 6, 0)
	b.step(20)
	b.in.Level = reading.LevelBetween(5.25, 6.25, 0)
	b.step(20)
	require.False(t, b.proven(reading.ElectrolyteLevel))
}

// visit is a fill of the pilot cell, 10 ml for each mm, through which the level goes from
// one to another.
func (b *bench) visit(ml float64, from, to reading.Level) {
	b.in.Level = from
	b.step(20)
	b.w.VisitOpened()
	b.in.Level = to
	b.step(20)
	b.w.VisitClosed(ml)
	b.step(1)
}

// TestFillAtItsBounds: at least 3 mm, and two fifths of it must show.
func TestFillAtItsBounds(t *testing.T) {
	at := func(low, high float64) reading.Level { return reading.LevelBetween(low, high, 0) }
	for name, c := range map[string]struct {
		ml       float64
		from, to reading.Level
		want     bool
	}{
		"3 mm":                       {30, at(5, 5), at(5, 5), true},
		"less":                       {29, at(5, 5), at(5, 5), false},
		"two fifths":                 {50, at(5, 5), at(7, 7), false},
		"less than those":            {50, at(5, 5), at(6.9, 6.9), true},
		"a span of 1 mm":             {100, at(5, 6), at(5.25, 6.25), true},
		"rods":                       {100, at(5, 6.5), at(5.25, 6.75), false},
		"rods, just to the next":     {100, at(0, 6), at(0, 6), false},
		"rods, past it":              {101, at(0, 6), at(0, 6), true},
		"rods, the lowest bound":     {100, at(-40, -35), at(-40, -35), true},
		"rods, nothing below":        {100, at(-41, -35), at(-41, -35), false},
		"rods, one bound alone goes": {100, at(0, 5), at(1, 5), false},
	} {
		b := newLevel(bigPack())
		b.visit(c.ml, c.from, c.to)
		require.Equal(t, c.want, b.doubts(reading.ElectrolyteLevel), name)
	}
}

// TestFillOfACellThatHoldsGas: what its gas leaves when it escapes is not demanded.
func TestFillOfACellThatHoldsGas(t *testing.T) {
	for holdUpMM, want := range map[float64]bool{1: true, 1.5: false} {
		b := newLevel(wide(holdUpMM))
		b.gas(16, 12.5)
		b.w.VisitOpened()
		b.step(8)
		b.w.VisitClosed(500) // 5 mm: two of them, less the gas
		b.step(1)
		require.Equal(t, want, b.doubts(reading.ElectrolyteLevel), "%v mm", holdUpMM)
	}
}

// TestRodFillNeedsTheBalance where no rod is wet: its figure of when the visit was opened,
// less its error of 3 mm.
func TestRodFillNeedsTheBalance(t *testing.T) {
	for name, c := range map[string]struct {
		predict, after float64
		ok, want       bool
	}{
		"passes for sure": {8, 8, true, true},
		"by its error":    {6, 6, true, false},
		"not known":       {8, 8, false, false},
		"credited later":  {6, 20, true, false},
	} {
		b := newBench(bigPack())
		b.tick = time.Minute
		b.in.Level = reading.LevelBetween(-100, 10, 0)
		b.in.PredictMM, b.in.PredictOK = c.predict, c.ok
		b.step(20)
		b.w.VisitOpened()
		b.step(2)
		b.in.PredictMM = c.after
		b.step(2)
		b.w.VisitClosed(100) // 7 of 10 mm
		b.step(6)
		require.Equal(t, c.want, b.doubts(reading.ElectrolyteLevel), name)
	}
}

// TestTwoVisitsAreJudgedAsOne where the second is opened before the first was judged.
func TestTwoVisitsAreJudgedAsOne(t *testing.T) {
	b := newBench(bigPack())
	b.step(60)
	b.w.VisitOpened()
	b.step(6)
	b.w.VisitClosed(100)
	b.step(12)
	b.w.VisitOpened()
	b.step(180)
	require.False(t, b.doubts(reading.ElectrolyteLevel), "the second is open")
	b.w.VisitClosed(0)
	b.step(29)
	require.False(t, b.doubts(reading.ElectrolyteLevel), "it settles for five minutes")
	b.step(1)
	require.True(t, b.doubts(reading.ElectrolyteLevel))
}

// TestRodReading of the pilot cell ends a doubt within 3 mm, where the probe shows
// anything.
func TestRodReading(t *testing.T) {
	for name, c := range map[string]struct {
		mm   float64
		lost bool
		want bool
	}{
		"3 mm below": {2, false, true}, "lower": {1.9, false, false},
		"3 mm above": {8, false, true}, "higher": {8.1, false, false},
		"the probe shows nothing": {0, true, false},
	} {
		b := newLevel(bigPack())
		b.visit(100, b.in.Level, b.in.Level)
		require.True(t, b.doubts(reading.ElectrolyteLevel), name)
		if c.lost {
			b.in.Level = reading.Level{Fault: reading.Open}
			b.step(1)
		}
		b.w.ByHand(c.mm)
		require.Equal(t, !c.want, b.doubts(reading.ElectrolyteLevel), name)
	}
}

// TestLevelIsBelievedAgain when it moves by 2 mm.
func TestLevelIsBelievedAgain(t *testing.T) {
	for mm, want := range map[float64]bool{7: true, 6.9: false, 3: true} {
		b := newLevel(bigPack())
		b.visit(100, b.in.Level, b.in.Level)
		b.in.Level = reading.LevelBetween(mm, mm, 0)
		b.step(20)
		require.Equal(t, !want, b.doubts(reading.ElectrolyteLevel), "%v mm", mm)
	}
}
