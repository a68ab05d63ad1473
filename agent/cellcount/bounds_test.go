package cellcount_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/cellcount"
	"bayward/agent/reading"
)

// bench is a pack of 12 cells and 250 Ah in which 1 A is the most of a charger that is off
// and 2.5 A the least of a charge; each tick is a minute.
type bench struct {
	c    *cellcount.Counter
	in   cellcount.Inputs
	tick time.Duration
}

// newBench begins an hour after the machine, as a restarted program does.
func newBench() *bench {
	b := &bench{c: cellcount.New(cellcount.Config{Cells: 12, CapacityAh: 250, FullGravity: 1.280}), tick: time.Minute}
	b.in = cellcount.Inputs{Now: time.Hour, PackC: reading.Good(25, 0), Open: true}
	b.show(1, 25.4, 0)
	return b
}

// show runs n ticks with a voltage and a current.
func (b *bench) show(n int, packV, a float64) {
	for range n {
		b.in.PackV, b.in.CurrentA = reading.Good(packV, 0), reading.Good(a, 0)
		b.c.Step(&b.in)
		b.in.Now += b.tick
	}
}

// full is a charge that ends steady: eight figures of ten minutes at 2.60 V a cell.
func (b *bench) full() { b.show(81, 31.2, 12.5) }

// rests is the rest after it, which sinks from 2.20 to 2.12 V a cell.
func (b *bench) rests(hours float64) {
	n := int(hours * float64(time.Hour/b.tick))
	for i := range n {
		b.show(1, 25.44+0.96*max(0, 1-float64(i)*b.tick.Hours()/4), 0)
	}
}

func (b *bench) judged() bool { return b.c.Status().Verdict != cellcount.Unknown }

// TestARestIsJudged four hours after a charge that ended steady, and at none of what may
// be another thing.
func TestARestIsJudged(t *testing.T) {
	charge := func(v, a float64) func(*bench) {
		return func(b *bench) { b.show(81, v, a); b.rests(4.1) }
	}
	for name, c := range map[string]struct {
		live func(*bench)
		want bool
	}{
		"after four hours":        {func(b *bench) { b.full(); b.rests(4.1) }, true},
		"not before":              {func(b *bench) { b.full(); b.rests(4) }, false},
		"without a charge":        {func(b *bench) { b.rests(6) }, false},
		"an hour is needed":       {func(b *bench) { b.show(69, 31.2, 12.5); b.rests(5) }, false},
		"a finishing current":     {charge(31.2, 17.5), true},
		"more than that":          {charge(31.2, 17.6), false},
		"the least current":       {charge(31.2, 2.5), true},
		"less is no charge":       {charge(31.2, 2.4), false},
		"gas at 2.33 V":           {charge(27.9, 12.5), true},
		"no gas":                  {charge(27.6, 12.5), false},
		"a tail of it":            {func(b *bench) { b.full(); b.show(300, 26, 2) }, false},
		"and a rest after it":     {func(b *bench) { b.full(); b.show(30, 26, 2); b.rests(4.1) }, true},
		"a charger that is off":   {func(b *bench) { b.full(); b.show(300, 25.6, 0.9) }, true},
		"just not off":            {func(b *bench) { b.full(); b.show(300, 25.6, 1) }, false},
		"a small load":            {func(b *bench) { b.full(); b.show(300, 25.6, -0.9) }, true},
		"a load":                  {func(b *bench) { b.full(); b.show(2, 25.6, -1); b.rests(5) }, false},
		"work":                    {func(b *bench) { b.full(); b.show(2, 25.6, -50); b.rests(5) }, false},
		"a reading is lost":       {func(b *bench) { b.full(); b.rests(3); b.lose(true, false); b.rests(3) }, false},
		"or that of the current":  {func(b *bench) { b.full(); b.rests(3); b.lose(false, true); b.rests(3) }, false},
		"and begins again":        {func(b *bench) { b.full(); b.rests(3); b.lose(true, true); b.rests(4.1) }, true},
		"half a volt a cell":      {func(b *bench) { b.full(); b.rests(3); b.show(1, 6, 0); b.rests(3) }, false},
		"the voltage climbs":      {func(b *bench) { b.ramp(2.40, 2.60); b.rests(5) }, false},
		"the current falls":       {func(b *bench) { b.taper(16, 11); b.rests(5) }, false},
		"by little":               {func(b *bench) { b.taper(15, 13.2); b.rests(5) }, true},
		"a quarter of an hour":    {func(b *bench) { b.full(); b.tick = 15 * time.Minute; b.rests(4.5) }, true},
		"a longer gap":            {func(b *bench) { b.full(); b.tick = 15*time.Minute + time.Second; b.rests(6) }, false},
		"time goes back":          {func(b *bench) { b.full(); b.rests(1); b.in.Now -= 30 * time.Minute; b.rests(5) }, false},
		"a second tick at a time": {func(b *bench) { b.full(); b.rests(1); b.in.Now -= b.tick; b.rests(4) }, true},
		"no temperature":          {func(b *bench) { b.in.PackC = reading.Bad(reading.Open, 0); b.full(); b.rests(6) }, false},
		"a short break":           {func(b *bench) { b.show(60, 31.2, 12.5); b.show(10, 26, 0); b.show(20, 31.2, 12.5); b.rests(4.1) }, true},
		"a longer break":          {func(b *bench) { b.show(60, 31.2, 12.5); b.show(13, 26, 0); b.show(20, 31.2, 12.5); b.rests(4.1) }, false},
		"gravities, no charge": {func(b *bench) {
			b.in.Gravity, b.in.GravityKnown = 1.275, true
			b.rests(4.1)
		}, true},
	} {
		b := newBench()
		c.live(b)
		require.Equal(t, c.want, b.judged(), name)
	}
}

// lose loses readings for a tick.
func (b *bench) lose(volts, amps bool) {
	b.in.PackV, b.in.CurrentA = reading.Good(25.5, 0), reading.Good(0, 0)
	if volts {
		b.in.PackV.Fault = reading.Open
	}
	if amps {
		b.in.CurrentA.Fault = reading.Open
	}
	b.c.Step(&b.in)
	b.in.Now += b.tick
}

// ramp is a charge whose voltage climbs, V a cell.
func (b *bench) ramp(from, to float64) {
	for i := range 81 {
		b.show(1, 12*(from+(to-from)*float64(i)/80), 12.5)
	}
}

// taper is a charge whose current falls.
func (b *bench) taper(from, to float64) {
	for i := range 81 {
		b.show(1, 31.2, from+(to-from)*float64(i)/80)
	}
}

// TestAHeldVoltageIsNoRest: a charger that is not ordered off may hold the cells, whose
// voltage then does not sink by 5 mV until it is judged, and is high.
func TestAHeldVoltageIsNoRest(t *testing.T) {
	held := func(b *bench, open bool, v float64) {
		b.in.Open = open
		b.show(300, v, 0)
	}
	for name, c := range map[string]struct {
		open bool
		v    float64
		want bool
	}{
		"held at 2.25 V":       {false, 27.0, false},
		"ordered open":         {true, 27.0, true},
		"at what rest looks":   {false, 25.4, true},
		"nothing holds it low": {false, 23.3, true},
	} {
		b := newBench()
		b.full()
		held(b, c.open, c.v)
		require.Equal(t, c.want, b.judged(), name)
	}
	b := newBench()
	b.full()
	b.in.Open = false
	b.show(60, 27.0, 0)
	held(b, true, 27.0) // open all the time from two hours on
	require.True(t, b.judged())
}

// TestALongerRestReplacesItsOwn judgement each half hour, and is one round; five are kept.
func TestALongerRestReplacesItsOwn(t *testing.T) {
	b := newBench()
	b.full()
	b.rests(4.1)
	first := b.c.Memory().Rounds[0]
	b.show(20, 25.44, 0)
	require.Equal(t, first, b.c.Memory().Rounds[0], "not yet again")
	b.show(20, 25.44, 0)
	require.Equal(t, 1, b.c.Status().Rounds)
	require.Less(t, b.c.Memory().Rounds[0].Dev, first.Dev, "less of the surface charge is left")
	for range 6 {
		b.full()
		b.rests(4.1)
	}
	require.Equal(t, 5, b.c.Status().Rounds)
	require.True(t, b.c.Memory().Valid())
}

// TestVerdicts from what rests came to: 3.2 deviations off, and near a whole number.
func TestVerdicts(t *testing.T) {
	for name, c := range map[string]struct {
		cells    int
		off, dev float64
		want     cellcount.Verdict
		best     int
	}{
		"fits":                      {12, 0, 0.004, cellcount.Fits, 12},
		"one more may":              {12, 0, 0.02, cellcount.Undecided, 12},
		"a cell less":               {12, -0.087, 0.004, cellcount.Fewer, 11},
		"a cell more":               {12, 0.080, 0.004, cellcount.More, 13},
		"more, and not sure":        {12, 0.080, 0.03, cellcount.Undecided, 13},
		"less, and not sure":        {12, -0.087, 0.03, cellcount.Undecided, 11},
		"between two":               {12, 0.045, 0.004, cellcount.Undecided, 13},
		"off, and nearest to it":    {12, 0.03, 0.009, cellcount.Fits, 12},
		"sharp, and another number": {12, 0.043, 0.014, cellcount.Undecided, 13},
	} {
		n := cellcount.New(cellcount.Config{Cells: c.cells, CapacityAh: 250, FullGravity: 1.280})
		n.Restore(&cellcount.Memory{Rounds: []cellcount.Round{{Off: c.off, Dev: c.dev}}})
		require.Equal(t, c.want, n.Status().Verdict, "%s: %+v", name, n.Status())
		require.Equal(t, c.best, n.Status().Best, name)
	}
}

// TestCountMemoryIsJudged at its bounds.
func TestCountMemoryIsJudged(t *testing.T) {
	require.True(t, (*cellcount.Memory)(nil).Valid())
	require.True(t, (&cellcount.Memory{Rounds: []cellcount.Round{{0, 0.1}, {0, 0.1}, {0, 0.1}, {0, 0.1}, {0, 0.1}}}).Valid())
	for _, r := range []cellcount.Round{{10, 0.1}, {-10, 0.1}, {0, 1}, {0, 0}} {
		require.False(t, (&cellcount.Memory{Rounds: []cellcount.Round{r}}).Valid(), r)
	}
	require.Empty(t, cellcount.Verdict(5).String())
}
