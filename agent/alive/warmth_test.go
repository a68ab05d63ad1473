package alive_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/alive"
	"bayward/agent/reading"
)

// charge brings 23 Ah at 2.64 V: each ampere-hour leaves half a watt-hour in a cell of
// 16.25 kg with 1,004 J/kg K, together 2.5 °C. Half as much is less than what is judged.
func (b *bench) charge(ah float64) {
	b.in.CellV.Value, b.in.CurrentA.Value = 2.64, 50
	b.in.TotalInAh += ah
	b.step(1)
}

const enoughAh, littleAh = 23, 12

// newWarm is a bench whose pack and air show the same at first.
func newWarm(packC, airC float64) *bench {
	b := newBench(bigPack())
	b.in.PackC.Value, b.in.AmbientC.Value = packC, airC
	b.step(2)
	return b
}

// TestPackMustWarm with a charge that heats it by 2 °C: by 0.3 °C, and by 0.5 against the
// air, where that is known.
func TestPackMustWarm(t *testing.T) {
	for name, c := range map[string]struct {
		ah, pack, air float64 // how they changed
		noAir, want   bool
	}{
		"stuck":                    {enoughAh, 0, 0, false, true},
		"stuck, and the air moves": {enoughAh, 0, -4, false, true},
		"stuck, and no air":        {enoughAh, 0, 0, true, true},
		"too little to tell":       {littleAh, 0, 0, false, false},
		"by 0.3 °C":                {enoughAh, 0.3, -1, false, false},
		"by less":                  {enoughAh, 0.29, -1, false, true},
		"by 0.5 against the air":   {enoughAh, 0.5, 0, false, false},
		"by less against it":       {enoughAh, 0.49, 0, false, true},
		"that is not known":        {enoughAh, 0.49, 0, true, false},
		"both alike":               {enoughAh, 3, 3, false, true},
	} {
		b := newWarm(0, 0)
		if c.noAir {
			b = newBench(bigPack())
			b.in.PackC.Value, b.in.AmbientC = 0, gone()
			b.step(2)
		}
		b.charge(c.ah / 2)
		b.in.PackC.Value, b.in.AmbientC.Value = c.pack, c.air
		b.charge(c.ah / 2)
		require.Equal(t, c.want, b.doubts(reading.PackTemperature), name)
		require.False(t, b.doubts(reading.AmbientTemperature), name)
	}
}

// TestHeatMustBeKnown: no warming is demanded without current, voltage, capacity or a
// reading of the pack, nor by what was charged before the program or the pack came.
func TestHeatMustBeKnown(t *testing.T) {
	for name, c := range map[string]struct {
		cfg    func(*alive.Config)
		before func(*bench)
	}{
		"no current sensor": {func(c *alive.Config) { c.Current = false }, func(*bench) {}},
		"no capacity":       {func(c *alive.Config) { c.CapacityAh = 0 }, func(*bench) {}},
		"no voltage":        {nil, func(b *bench) { b.in.CellV = gone() }},
		"no reading":        {nil, func(b *bench) { b.in.PackC = gone() }},
	} {
		cfg := bigPack()
		if c.cfg != nil {
			c.cfg(&cfg)
		}
		b := newBench(cfg)
		b.step(2)
		c.before(b)
		b.in.CurrentA.Value, b.in.TotalInAh = 50, 100
		if b.in.CellV.OK() {
			b.in.CellV.Value = 2.64
		}
		b.step(3)
		require.Equal(t, reading.None, b.w.Fault(reading.PackTemperature), name)
	}

	b := newBench(bigPack())
	b.charge(500)
	require.False(t, b.doubts(reading.PackTemperature), "charged before the program started")
	b.w.Pack(bigPack())
	b.charge(500)
	require.False(t, b.doubts(reading.PackTemperature), "charged into another pack")
	b.charge(enoughAh)
	require.True(t, b.doubts(reading.PackTemperature), "charged now")

	b = newBench(bigPack())
	b.step(2)
	b.in.Now -= b.tick // two ticks with one time
	b.charge(enoughAh)
	require.True(t, b.doubts(reading.PackTemperature), "counted in a tick of no length")
}

// TestDoubtedPartnersDemandNothing: a current or a voltage that is itself doubted proves
// no heat.
func TestDoubtedPartnersDemandNothing(t *testing.T) {
	b := newBench(bigPack())
	b.show(6, 2.1, 0)
	b.show(60, 2.64, 0)
	require.True(t, b.doubts(reading.PackCurrent))
	b.in.TotalInAh += enoughAh
	b.step(1)
	require.False(t, b.doubts(reading.PackTemperature))

	b = newBench(bigPack())
	b.show(6, 2.64, 0)
	b.show(60, 2.64, 50)
	require.True(t, b.doubts(reading.PackVoltage))
	b.in.TotalInAh += enoughAh
	b.step(1)
	require.False(t, b.doubts(reading.PackTemperature))
}

// TestMovesBeforeTheChargeDoNotCount.
func TestMovesBeforeTheChargeDoNotCount(t *testing.T) {
	b := newWarm(20, 20)
	b.in.PackC.Value = 28
	b.step(6)
	b.charge(enoughAh)
	require.True(t, b.doubts(reading.PackTemperature))
}

// TestPackThermometerLives by 1 °C, counted again from each sign of life.
func TestPackThermometerLives(t *testing.T) {
	b := newWarm(0, 10)
	b.in.PackC.Value = 0.9
	b.step(1)
	require.False(t, b.proven(reading.PackTemperature))
	for _, c := range []float64{1, 2, 3} {
		b.in.PackC.Value = c
		b.step(1)
		require.True(t, b.provenNow(reading.PackTemperature), "%v °C", c)
	}
}

// TestPackThermometerIsBelievedAgain when it moves by 2 °C and not only with the air.
func TestPackThermometerIsBelievedAgain(t *testing.T) {
	for name, c := range map[string]struct {
		pack, air              float64
		noAirBefore, noAirThen bool
		want                   bool
	}{
		"in a hand":             {27, 20, false, false, true},
		"hardly":                {26.9, 20, false, false, false},
		"with the air":          {27, 22, false, false, false},
		"the air hardly with":   {27.5, 20.6, false, false, false},
		"the air with it a bit": {27.5, 20.5, false, false, true},
		"only the air":          {25, 10, false, false, false},
		"air not known now":     {40, 0, false, true, false},
		"air never known":       {27, 0, true, true, true},
		"never, and hardly":     {26.9, 0, true, true, false},
	} {
		b := newWarm(25, 20)
		if c.noAirBefore {
			b.in.AmbientC = gone()
		}
		b.charge(enoughAh)
		require.True(t, b.doubts(reading.PackTemperature), name)
		text := b.w.OfBay().Sensors[reading.PackTemperature.String()]
		require.Equal(t, c.noAirBefore, text.Apart == nil, name)

		b.in.PackC.Value, b.in.AmbientC.Value = c.pack, c.air
		if c.noAirThen {
			b.in.AmbientC = gone()
		}
		b.step(1)
		require.Equal(t, !c.want, b.doubts(reading.PackTemperature), name)
	}
}

// TestAirWarmsInsteadOfThePack: the air gets 5 °C warmer than the pack, and by 5 °C, while
// the pack warms by less than what the charge brings: they are exchanged.
func TestAirWarmsInsteadOfThePack(t *testing.T) {
	for name, c := range map[string]struct {
		pack, air, packThen, airThen float64
		noAir                        bool
		want                         bool
	}{
		"exchanged":               {20, 20, 20.5, 25.5, false, true},
		"the pack warms by more":  {10, 10, 20, 25, false, false},
		"5 °C above the pack":     {20, 19, 20, 25, false, true},
		"4.9 °C above":            {20, 19, 20.6, 25.5, false, false},
		"risen by 5 °C":           {15, 20, 15, 25, false, true},
		"risen by 4.9":            {15, 20, 15.6, 24.9, false, false},
		"a warm day, cold pack":   {10, 20, 11, 20, false, false},
		"the air rises below it":  {30, 20, 31, 25, false, false},
		"warms as it must":        {20, 20, 21, 20, false, false},
		"both, the pack by 3 °C":  {20, 20, 23, 28.5, false, false},
		"the air is lost in cold": {-10, -10, -9, 0, true, false},
	} {
		b := newWarm(c.pack, c.air)
		b.charge(enoughAh / 2)
		b.in.PackC.Value, b.in.AmbientC.Value = c.packThen, c.airThen
		if c.noAir {
			b.in.AmbientC = gone()
		}
		b.charge(enoughAh / 2)
		b.step(3)
		for _, s := range []reading.Sensor{reading.PackTemperature, reading.AmbientTemperature} {
			require.Equal(t, c.want, b.w.Fault(s) == reading.Exchanged, "%s: %s", name, s)
		}
	}
}

// evening charges for 50 minutes, heat for 1.2 °C an hour, and rests for 70. pack and air
// are their slopes in °C an hour, before the end and after it.
func evening(cfg alive.Config, pack, air [2]float64, ticks []time.Duration) *bench {
	b := newBench(cfg)
	b.tick = 10 * time.Minute
	b.in.CellV.Value, b.in.CurrentA.Value = 2.64, 50
	b.step(2)
	warm := func(phase int, ah float64, ticks []time.Duration) {
		for _, d := range ticks {
			b.tick = d
			b.in.Now += d - 10*time.Minute
			b.in.PackC.Value += pack[phase] * d.Hours()
			b.in.AmbientC.Value += air[phase] * d.Hours()
			b.in.TotalInAh += ah * d.Hours()
			b.w.Step(&b.in)
			b.in.Now += 10 * time.Minute
		}
	}
	const ten = 10 * time.Minute
	warm(0, 11.2, ticks)
	b.in.CellV.Value, b.in.CurrentA.Value = 2.15, 0
	warm(1, 0, []time.Duration{ten, ten, ten, ten, ten, ten, ten})
	return b
}

// TestSlopesTellWhichIsThePack: when a charge ends, the slope of what sits on the pack
// falls by its heat. Where the air's does and the pack's does not, they are exchanged.
func TestSlopesTellWhichIsThePack(t *testing.T) {
	const ten = 10 * time.Minute
	steady := []time.Duration{ten, ten, ten, ten, ten}
	for name, c := range map[string]struct {
		pack, air [2]float64
		ticks     []time.Duration
		want      bool
	}{
		"exchanged":             {[2]float64{0, 0}, [2]float64{1, -0.6}, steady, true},
		"and a late tick":       {[2]float64{0, 0}, [2]float64{1, -0.6}, []time.Duration{ten, ten, 595 * time.Second, 605 * time.Second, ten, ten}, true},
		"honest":                {[2]float64{1, -0.6}, [2]float64{0, 0}, steady, false},
		"both fall":             {[2]float64{1, -0.6}, [2]float64{1, -0.6}, steady, false},
		"the pack falls little": {[2]float64{0.2, -0.2}, [2]float64{1, -0.6}, steady, true},
		"by more than half":     {[2]float64{0.6, -0.2}, [2]float64{1, -0.6}, steady, false},
		"the air falls little":  {[2]float64{0, 0}, [2]float64{0.5, -0.5}, steady, false},
		"neither":               {[2]float64{0, 0}, [2]float64{0, 0}, steady, false},
		"too short a charge":    {[2]float64{0, 0}, [2]float64{1, -0.6}, []time.Duration{ten, ten}, false},
	} {
		b := evening(bigPack(), c.pack, c.air, c.ticks)
		require.Equal(t, c.want, b.w.Fault(reading.PackTemperature) == reading.Exchanged, name)
		require.Equal(t, c.want, b.w.Fault(reading.AmbientTemperature) == reading.Exchanged, name)
	}
}

// TestAirIsNeverStill for three days within 0.13 °C.
func TestAirIsNeverStill(t *testing.T) {
	b := newBench(bigPack())
	b.tick = 15 * time.Minute
	const threeDays = 3 * 24 * 4 // ticks
	for i := range threeDays {
		b.in.AmbientC.Value = float64(i%2) * 0.13
		b.step(1)
	}
	require.False(t, b.doubts(reading.AmbientTemperature), "a tick less")
	require.False(t, b.proven(reading.AmbientTemperature))
	b.step(1)
	require.True(t, b.doubts(reading.AmbientTemperature))
	for _, c := range []float64{1, 1.14, 1.28} {
		b.in.AmbientC.Value = c
		b.step(1)
		require.True(t, b.provenNow(reading.AmbientTemperature), "%v °C", c)
	}
}

// TestAThermometerThatWasNotRead through the warming does not owe it: a wire that was repaired
// late in a charge, of the pack or of the air.
func TestAThermometerThatWasNotRead(t *testing.T) {
	for name, c := range map[string]struct {
		lost func(*bench) *reading.Reading
		more float64 // Ah after the repair, with nothing moving
		want bool
	}{
		"pack":                {func(b *bench) *reading.Reading { return &b.in.PackC }, littleAh, false},
		"pack, and it stays":  {func(b *bench) *reading.Reading { return &b.in.PackC }, enoughAh, true},
		"air":                 {func(b *bench) *reading.Reading { return &b.in.AmbientC }, littleAh, false},
		"air, and both alike": {func(b *bench) *reading.Reading { return &b.in.AmbientC }, enoughAh, true},
	} {
		b := newWarm(25, 20)
		lost := c.lost(b)
		*lost = gone()
		b.step(1)
		for range 4 {
			b.in.PackC.Value += 0.5
			b.charge(enoughAh / 4.0)
		}
		*lost = reading.Good(24, 0)
		b.step(1)
		for range 2 {
			b.in.PackC.Value += 0.1
			b.in.AmbientC.Value += 0.1
			b.charge(c.more / 2)
		}
		require.Equal(t, c.want, b.doubts(reading.PackTemperature), name)
	}
}
