package alive_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/alive"
	"bayward/agent/reading"
)

// bench steps a watch through a script. In its pack of 250 Ah, 1 A is the current of a
// charger that is off, 2.5 A shows life and 12.5 A is a twentieth of the capacity.
type bench struct {
	w    *alive.Watch
	in   alive.Inputs
	tick time.Duration
}

func bigPack() alive.Config {
	return alive.Config{CapacityAh: 250, ElectrolyteML: 1500, FreeSurfaceCM2: 100, FullGravity: 1.277, GasHoldUpMM: 5, Current: true}
}

// newBench begins an hour after the machine, as a restarted program does.
func newBench(cfg alive.Config) *bench {
	b := &bench{w: alive.New(cfg), tick: 10 * time.Second}
	b.in.Now = time.Hour
	b.in.PackC, b.in.AmbientC = reading.Good(25, 0), reading.Good(20, 0)
	b.in.CellV, b.in.CurrentA = reading.Good(2.1, 0), reading.Good(0, 0)
	b.in.Level = reading.LevelBetween(5, 5, 0)
	return b
}

// step runs n ticks.
func (b *bench) step(n int) {
	for range n {
		b.w.Step(&b.in)
		b.in.Now += b.tick
	}
}

// show runs n ticks with a voltage and a current.
func (b *bench) show(n int, v, a float64) {
	b.in.CellV.Value, b.in.CurrentA.Value = v, a
	b.step(n)
}

func (b *bench) doubts(s reading.Sensor) bool { return b.w.Fault(s) == reading.NotMoving }

// provenNow reports whether a sensor showed life in the last tick.
func (b *bench) provenNow(s reading.Sensor) bool {
	at, ok := b.w.Proof(s)
	return ok && at == b.in.Now-b.tick
}

func (b *bench) proven(s reading.Sensor) bool {
	_, ok := b.w.Proof(s)
	return ok
}

// gone makes a reading a fault.
func gone() reading.Reading { return reading.Bad(reading.NoAnswer, 0) }

// TestVoltageRisesWithoutCurrent: from rest, below 2.20 V, to 2.35 V for ten minutes while
// the current never moves by 0.4 % of the capacity. A minute at rest comes before each.
func TestVoltageRisesWithoutCurrent(t *testing.T) {
	const tenMin = 60 // ticks
	for name, c := range map[string]struct {
		restV, restA, v, a float64
		ticks              int
		want               bool
	}{
		"ten minutes":                {2.10, 0, 2.40, 0, tenMin, true},
		"a tick less":                {2.10, 0, 2.40, 0, tenMin - 1, false},
		"2.35 V":                     {2.10, 0, 2.35, 0, tenMin, true},
		"below 2.35 V":               {2.10, 0, 2.349, 0, 3 * tenMin, false},
		"2.199 V is rest":            {2.199, 0, 2.40, 0, tenMin, true},
		"2.20 V is none":             {2.20, 0, 2.40, 0, 3 * tenMin, false},
		"1 % of the capacity is not": {2.10, 2.5, 2.40, 2.5, 3 * tenMin, false},
		"nor when it flows out":      {2.10, -2.5, 2.40, -2.5, 3 * tenMin, false},
		"less is":                    {2.10, 2.4, 2.40, 2.4, tenMin, true},
		"a load":                     {2.10, -60, 2.40, -60, 3 * tenMin, false},
		"a current that moves":       {2.10, 0, 2.40, 1, 3 * tenMin, false},
		"and one that hardly does":   {2.10, 0, 2.40, 0.9, tenMin, true},
		"reversed":                   {2.10, 0, 2.40, -50, tenMin, true},
	} {
		b := newBench(bigPack())
		b.show(6, c.restV, c.restA)
		b.show(c.ticks, c.v, c.a)
		require.Equal(t, c.want, b.doubts(reading.PackCurrent), name)
	}
}

// TestRestIsSeen: what the current is compared with must have been seen at rest, without
// a gap, and is the lowest that was shown there.
func TestRestIsSeen(t *testing.T) {
	for name, rest := range map[string]func(b *bench){
		"never":                   func(*bench) {},
		"without a voltage":       func(b *bench) { b.in.CellV = gone(); b.step(6); b.in.CellV = reading.Good(0, 0) },
		"then the current failed": func(b *bench) { b.step(6); b.in.CurrentA = gone(); b.step(1); b.in.CurrentA = reading.Good(0, 0) },
		"lower at first":          func(b *bench) { b.show(6, 2.1, -0.6); b.show(6, 2.1, 0.3) },
	} {
		b := newBench(bigPack())
		rest(b)
		b.show(180, 2.40, 0.5)
		require.False(t, b.doubts(reading.PackCurrent), name)
	}
	b := newBench(bigPack())
	b.show(6, 2.1, 0)
	b.show(60, 2.3, 1.6) // moves by more than the 1 A of a charger that is off
	b.show(180, 2.40, 0)
	require.False(t, b.doubts(reading.PackCurrent), "it moved, and rests no more")
}

// TestCurrentLives when it is first shown after a rest: 1 % of the capacity.
func TestCurrentLives(t *testing.T) {
	for name, c := range map[string]struct {
		rest int
		a    float64
		want bool
	}{"1 %": {6, 2.5, true}, "less": {6, 2.4, false}, "shown always": {0, 30, false}} {
		b := newBench(bigPack())
		b.show(c.rest, 2.1, 0)
		b.show(1, 2.40, c.a)
		require.Equal(t, c.want, b.proven(reading.PackCurrent), name)
	}
}

// TestCurrentIsBelievedAgain: a current shown where none was, or the end of one that was
// shown always; each a movement of 1 % of the capacity, and that it falls to less than
// nothing is none.
func TestCurrentIsBelievedAgain(t *testing.T) {
	for name, c := range map[string]struct {
		restA, stuckA, a float64
		want             bool
	}{
		"shown":               {0, 0, 2.5, true},
		"hardly":              {0, 0, 2.4, false},
		"reversed":            {0, 0, -40, false},
		"the end of one":      {2, 2.5, 0, true},
		"of less":             {2, 2.4, -0.5, false},
		"it stays":            {2, 2.5, 2.5, false},
		"it hardly gets more": {2, 2.5, 4.5, false},
		"it gets more":        {2, 2.5, 5, true},
	} {
		b := newBench(bigPack())
		b.show(6, 2.1, c.restA)
		b.show(60, 2.40, c.stuckA)
		require.True(t, b.doubts(reading.PackCurrent), name)
		b.show(2, 2.1, c.a)
		require.Equal(t, !c.want, b.doubts(reading.PackCurrent), name)
	}
}

// TestCurrentThroughADrop: the voltage falls at once by 80 mV, as it does when a current
// stops, while the same current is shown: the same within 2 %, and at least 2 % of the
// capacity.
func TestCurrentThroughADrop(t *testing.T) {
	for name, c := range map[string]struct {
		a, v, then float64
		ticks      int
		tick       time.Duration
		want       bool
	}{
		"stuck":                     {100, 2.35, 100, 24, 10 * time.Second, true},
		"a fall that shows at once": {100, 1.50, 100, 4, 10 * time.Second, true},
		"and not yet for 30 s":      {100, 1.50, 100, 3, 10 * time.Second, false},
		"not yet for 30 s":          {100, 2.35, 100, 7, 10 * time.Second, false},
		"changed by 2 %":            {100, 2.35, 98, 24, 10 * time.Second, true},
		"by more":                   {100, 2.35, 97.9, 90, 10 * time.Second, false},
		"stopped":                   {100, 2.35, 0, 90, 10 * time.Second, false},
		"a fall of 70 mV":           {100, 2.43, 100, 90, 10 * time.Second, false},
		"2 % of the capacity":       {5, 2.35, 5, 24, 10 * time.Second, true},
		"less":                      {4.9, 2.35, 4.9, 90, 10 * time.Second, false},
		"a tick in two minutes":     {100, 2.30, 100, 5, 2 * time.Minute, true},
		"three ticks are needed":    {100, 2.30, 100, 3, 2 * time.Minute, false},
		"a tick in more than that":  {100, 2.30, 100, 90, 2*time.Minute + time.Second, false},
		"30 s are needed":           {100, 2.00, 100, 28, time.Second, false},
		"and are not all it needs":  {100, 2.00, 100, 7, 30 * time.Second, true},
		"a slow fall of a charge":   {100, 2.50, 100, 90, 10 * time.Second, false},
		"current out of the pack":   {-100, 2.35, -100, 90, 10 * time.Second, false},
		"half, and no gas":          {100, 2.35, 50, 90, 10 * time.Second, false},
	} {
		for phase := range 7 { // of the figures that are taken each minute
			b := newBench(bigPack())
			b.tick = c.tick
			b.show(30+phase, 2.50, c.a)
			b.show(c.ticks, c.v, c.then)
			require.Equal(t, c.want, b.doubts(reading.PackCurrent), "%s, %d", name, phase)
		}
	}
	b := newBench(bigPack())
	b.show(30, 2.50, 100)
	for i := range 60 { // 120 mV in ten minutes: no more than 24 in two
		b.show(1, 2.50-0.002*float64(i), 100)
	}
	require.False(t, b.doubts(reading.PackCurrent), "a fall over ten minutes")
}

// TestVoltageMustMove by 5 mV within ten minutes after a twentieth of the capacity begins
// or ends, be it over a soft start of a minute.
func TestVoltageMustMove(t *testing.T) {
	const tenMin = 60
	for name, c := range map[string]struct {
		before, mid, after float64
		midTicks, ticks    int
		v                  float64
		want               bool
	}{
		"begins":                {0, 0, 50, 0, tenMin, 0, true},
		"a tick less":           {0, 0, 50, 0, tenMin - 1, 0, false},
		"ends":                  {50, 0, 0, 0, tenMin, 0, true},
		"a twentieth":           {0, 0, 12.5, 0, tenMin, 0, true},
		"less than that":        {0, 0, 12.4, 0, 3 * tenMin, 0, false},
		"ends with a remainder": {50, 0, 0.9, 0, tenMin, 0, true},
		"does not end":          {50, 0, 1, 0, 3 * tenMin, 0, false},
		"ends below nothing":    {50, 0, -0.9, 0, tenMin, 0, true},
		"a load comes":          {50, 0, -1, 0, 3 * tenMin, 0, false},
		"a load goes on":        {-50, 0, -50, 0, 3 * tenMin, 0, false},
		"goes on":               {50, 0, 50, 0, 3 * tenMin, 0, false},
		"soft start":            {0, 6, 50, 6, tenMin, 0, true},
		"softer":                {0, 6, 50, 7, 3 * tenMin, 0, false},
		"moves by 5 mV":         {0, 0, 50, 0, tenMin, 0.005, false},
		"by less":               {0, 0, 50, 0, tenMin, 0.0049, true},
	} {
		b := newBench(bigPack())
		b.show(6, 0, c.before) // 0 V: so that the differences are exact
		b.show(c.midTicks, 0, c.mid)
		b.show(c.ticks, c.v, c.after)
		require.Equal(t, c.want, b.doubts(reading.PackVoltage), name)
	}
}

// TestNoEdgeIsMadeUp: what lies in a gap of voltage or current is not known, and a fault
// is not a current that ended.
func TestNoEdgeIsMadeUp(t *testing.T) {
	for name, gap := range map[string]func(b *bench){
		"voltage": func(b *bench) { b.in.CellV = gone(); b.step(1); b.in.CellV = reading.Good(2.1, 0) },
		"current": func(b *bench) { b.in.CurrentA = gone(); b.step(1); b.in.CurrentA = reading.Good(0, 0) },
		"no more of it": func(b *bench) {
			b.show(6, 2.1, 50)
			b.in.CurrentA = gone()
			b.step(120)
			b.in.CurrentA = reading.Good(0, 0)
		},
	} {
		b := newBench(bigPack())
		b.show(6, 2.1, 0)
		gap(b)
		b.show(120, 2.1, 50)
		require.False(t, b.doubts(reading.PackVoltage), name)
	}
}

// TestVoltageLives by 20 mV, counted again from each sign of life; that ends a doubt too.
func TestVoltageLives(t *testing.T) {
	b := newBench(bigPack())
	for i, v := range []float64{0, 0.02, 0.04} {
		b.show(1, v, 0)
		require.Equal(t, i > 0, b.provenNow(reading.PackVoltage), "%v V", v)
	}
	b = newBench(bigPack())
	b.show(1, 0, 0)
	b.show(9, 0.0199, 0)
	require.False(t, b.proven(reading.PackVoltage))

	for v, want := range map[float64]bool{0.0199: true, 0.02: false} {
		b = newBench(bigPack())
		b.show(6, 0, 0)
		b.show(60, 0, 50)
		b.show(1, v, 50)
		require.Equal(t, want, b.doubts(reading.PackVoltage), "%v V", v)
	}
}

// TestGaps: ticks up to a quarter of an hour apart are followed; over a longer gap, and
// when time goes back, nothing is counted.
func TestGaps(t *testing.T) {
	for name, c := range map[string]struct {
		gap  time.Duration
		want bool
	}{"a quarter": {15 * time.Minute, true}, "more": {15*time.Minute + time.Second, false}} {
		b := newBench(bigPack())
		b.show(6, 2.1, 0)
		b.in.Now += c.gap - b.tick
		b.show(1, 2.40, 0)
		require.Equal(t, c.want, b.doubts(reading.PackCurrent), name)
	}
	b := newBench(bigPack())
	b.show(6, 2.1, 0)
	b.show(30, 2.40, 0)
	b.in.Now -= 30 * time.Minute
	b.show(31, 2.40, 0)
	require.True(t, b.doubts(reading.PackCurrent), "time went back")
}

// TestContactsLive by each change; the first sight is none.
func TestContactsLive(t *testing.T) {
	for first, then := range map[float64]float64{0: 1, 1: 0} {
		b := newBench(bigPack())
		b.in.Feedback, b.in.Airflow, b.in.Complete = reading.Good(first, 0), gone(), gone()
		b.step(3)
		require.False(t, b.proven(reading.ContactorFeedback))
		b.in.Feedback.Value = then
		b.step(1)
		require.True(t, b.provenNow(reading.ContactorFeedback))
		require.False(t, b.proven(reading.Airflow))
	}
}
