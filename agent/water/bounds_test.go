package water_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// TestMemoryAtItsBounds: none that cannot have been saved is taken, be it of a torn write or
// of a hand that edited the file.
func TestMemoryAtItsBounds(t *testing.T) {
	nan := math.NaN()
	cell := func(f func(*water.Cell)) func(*water.Memory) { return func(m *water.Memory) { f(&m.Cells[11]) } }
	known := func(f func(*water.KnownCell)) func(*water.Memory) {
		return func(m *water.Memory) { f(&m.Known[11]) }
	}
	is := func(want bool, change ...func(*water.Memory)) {
		t.Helper()
		for i, f := range change {
			m := newRig(pack(), 8).Memory()
			f(&m)
			require.Equal(t, want, m.Valid(12), "%d", i)
		}
	}
	is(true,
		func(*water.Memory) {},
		func(m *water.Memory) { m.DaysML = make([]float64, 28) },
		func(m *water.Memory) { m.BeganAgoS, m.Visits = 0, 0 },
		func(m *water.Memory) { m.GasMM = 1000 },
		func(m *water.Memory) { m.HeldMM = []float64{0, 20, 1} },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 0, 0 },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 0.2, 0 },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 5, 0.38 },
		func(m *water.Memory) { m.Cells, m.Known = nil, nil },
		func(m *water.Memory) { m.AnchorMM, m.AnchorAh = 1e12, -1e12 },
		func(m *water.Memory) { m.OffMM = []float64{6, -6, 0, 0} },
		cell(func(c *water.Cell) { c.LowMM, c.HighMM, c.Use, c.FilledML = 0, 0, 0.5, 0 }),
		cell(func(c *water.Cell) { c.LowMM, c.HighMM, c.Use, c.FilledML = -9, 9, 2.5, 9 }),
		known(func(c *water.KnownCell) { *c = water.KnownCell{} }),
		known(func(c *water.KnownCell) {
			*c = water.KnownCell{LevelMM: 1e4, Var: 1e8, Rate: 4, RateVar: 1e4, Cov: -1e4, LowMM: -1e4, HighMM: 1e4, BiasMM: 2.5, UnseenMM: 1000, UnseenVar: 1e8, OverMM: 1e4, AgoS: 70 * 365 * 86400}
		}),
	)
	is(false,
		func(m *water.Memory) { m.OffsetMM = m.OffsetMM[:11] },
		func(m *water.Memory) { m.OffsetMM = append(m.OffsetMM, 0) },
		func(m *water.Memory) { m.DaysML = make([]float64, 29) },
		func(m *water.Memory) { m.DaysML = []float64{nan} },
		func(m *water.Memory) { m.Visits = -1 },
		func(m *water.Memory) { m.BeganAgoS = -1 },
		func(m *water.Memory) { m.GasMM = -1 },
		func(m *water.Memory) { m.GasMM = 1001 },
		func(m *water.Memory) { m.HeldMM = []float64{20.1} },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 0.19, 0.1 },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 5.1, 0.1 },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 1, -0.1 },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 1, 0.39 },
		func(m *water.Memory) { m.Scale, m.ScaleSE = 0, 0.1 },
		func(m *water.Memory) { m.Cells = m.Cells[:11] },
		func(m *water.Memory) { m.Known = m.Known[:11] },
		func(m *water.Memory) { m.AnchorMM = 1.1e12 },
		func(m *water.Memory) { m.AnchorMM = nan },
		func(m *water.Memory) { m.OffMM = []float64{6.1} },
		func(m *water.Memory) { m.OffMM = []float64{nan} },
		func(m *water.Memory) { m.StillMM = &[2]float64{1, nan} },
		func(m *water.Memory) { m.RisenAt = &water.RisenAt{WarmMM: nan} },
		func(m *water.Memory) { m.RiseMM = &nan },
		cell(func(c *water.Cell) { c.LowMM = 0.1 }),
		cell(func(c *water.Cell) { c.HighMM = -0.1 }),
		cell(func(c *water.Cell) { c.Use = 0.49 }),
		cell(func(c *water.Cell) { c.Use = 2.51 }),
		cell(func(c *water.Cell) { c.FilledML = -1 }),
		cell(func(c *water.Cell) { c.LowMM = nan }),
		cell(func(c *water.Cell) { c.HighMM = nan }),
		cell(func(c *water.Cell) { c.Use = nan }),
		cell(func(c *water.Cell) { c.ReadAh = nan }),
		cell(func(c *water.Cell) { c.PouredML = nan }),
		cell(func(c *water.Cell) { c.FilledML = nan }),
	)
	for _, bad := range []func(c *water.KnownCell, x float64){
		func(c *water.KnownCell, x float64) { c.LevelMM = 1.1e4 + x },
		func(c *water.KnownCell, x float64) { c.Cov = -1.1e4 + x },
		func(c *water.KnownCell, x float64) { c.OverMM = -1 + x },
		func(c *water.KnownCell, x float64) { c.OverMM = 1.1e4 + x },
		func(c *water.KnownCell, x float64) { c.UnseenMM = -1 + x },
		func(c *water.KnownCell, x float64) { c.UnseenMM = 1001 + x },
		func(c *water.KnownCell, x float64) { c.UnseenVar = -1 + x },
		func(c *water.KnownCell, x float64) { c.UnseenVar = 1.1e8 + x },
		func(c *water.KnownCell, x float64) { c.Var = -1 + x },
		func(c *water.KnownCell, x float64) { c.Var = 1.1e8 + x },
		func(c *water.KnownCell, x float64) { c.RateVar = -1 + x },
		func(c *water.KnownCell, x float64) { c.RateVar = 1.1e4 + x },
		func(c *water.KnownCell, x float64) { c.LowMM = 0.1 + x },
		func(c *water.KnownCell, x float64) { c.LowMM = -1.1e4 + x },
		func(c *water.KnownCell, x float64) { c.HighMM = -0.1 + x },
		func(c *water.KnownCell, x float64) { c.HighMM = 1.1e4 + x },
		func(c *water.KnownCell, x float64) { c.Rate = -0.1 + x },
		func(c *water.KnownCell, x float64) { c.Rate = 4.1 + x },
		func(c *water.KnownCell, x float64) { c.BiasMM = -0.1 + x },
		func(c *water.KnownCell, x float64) { c.BiasMM = 2.6 + x },
		func(c *water.KnownCell, x float64) { c.AgoS = -1 + x },
		func(c *water.KnownCell, x float64) { c.AgoS = 71*365*86400 + x },
		func(c *water.KnownCell, x float64) { c.AtAh = 1.1e12 + x },
		func(c *water.KnownCell, x float64) { c.ML = 1.1e12 + x },
		func(c *water.KnownCell, x float64) { c.ReadML = 1.1e12 + x },
	} {
		is(false, known(func(c *water.KnownCell) { bad(c, 0) }), known(func(c *water.KnownCell) { bad(c, nan) }))
	}
}

// TestOverTheCeiling ends with a level in the room, read after electrolyte was drawn off, or
// with the person who takes it on.
func TestOverTheCeiling(t *testing.T) {
	r := newRig(pack(), 8)
	for _, number := range []int{-1, 0, 13} {
		r.Overfill(number)
		r.DrawOff(number)
		r.InRoom(number)
		r.NotOver(number)
		require.Zero(t, r.Over())
	}
	r.DrawOff(3)
	r.Overfill(3)
	r.InRoom(3)
	require.True(t, r.Over().Has(3), "nothing was drawn off since")
	r.DrawOff(3)
	r.Overfill(3)
	r.InRoom(3)
	require.True(t, r.Over().Has(3), "it was filled over it again")
	r.DrawOff(3)
	require.True(t, r.Over().Has(3), "how high it is now is not read")
	r.InRoom(3)
	require.Zero(t, r.Over())
	r.Overfill(1)
	r.Overfill(12)
	require.Equal(t, []int{1, 12}, r.Over().Numbers())
	require.Equal(t, r.Over(), r.Again().Over)
	r.Accept()
	require.Zero(t, r.Over())

	r.Overfill(1)
	var given [water.MaxCells]float64
	r.in.AtCells, r.in.Visit, r.in.VisitMM, r.in.GivenML = true, true, 8, &given
	r.stand(8, 8)
	r.Overfill(1)
	r.Overfill(2)
	r.NotOver(1)
	r.NotOver(2)
	require.Equal(t, []int{1}, r.Over().Numbers(), "it was before the visit")
	r.Overfill(2)
	r.in.AtCells, r.in.Visit = false, false
	r.stand(8, 8)
	r.NotOver(2)
	require.Equal(t, []int{1, 2}, r.Over().Numbers(), "the visit is closed")
}

// TestWhatIsNoLevel: of a cell that the pack does not have, above what a vent can show,
// without a temperature, or with nothing to compare with.
func TestWhatIsNoLevel(t *testing.T) {
	r := newRig(pack(), 8)
	for _, c := range []struct {
		number int
		mm     float64
		want   water.Rejected
	}{
		{0, 8, water.NoSuchCell},
		{1, 8, water.NotRejected},
		{12, 8, water.NotRejected},
		{13, 8, water.NoSuchCell},
		{3, 52, water.NotRejected}, // 30 mm above the bottom of a well of 22 mm
		{3, 52.1, water.AboveVentWell},
		{3, math.NaN(), water.AboveVentWell},
		{3, -50, water.NotRejected},
	} {
		require.Equal(t, c.want, r.Judge(c.number, c.mm), "cell %d: %v", c.number, c.mm)
		_, known := r.NowMM(c.number)
		require.Equal(t, c.want != water.NoSuchCell, known)
		if c.want == water.NoSuchCell {
			r.Level(c.number, c.mm)
			r.Dry(c.number)
			r.Unread(c.number)
			r.Correct(c.number, 5)
			r.CorrectLevel(c.number, 5, true)
			r.Repoured(c.number, 5, 6)
		}
	}
	require.Zero(t, r.Again().Bare)
	r.in.Level.Fault = reading.Open
	r.Step(&r.in)
	require.Equal(t, water.NoPilotLevel, r.Judge(3, 8))
	_, known := r.NowMM(3)
	require.False(t, known)
	r = newRig(pack(), 8)
	r.in.PackC = reading.Bad(reading.Open, r.now)
	r.stand(8, 8)
	require.Equal(t, water.NoTemperature, r.Judge(3, 8))
	require.False(t, r.Status().RiseKnown)
}

// TestAmounts: to the fill mark of 13 mm and not past the ceiling, at 13 ml for each mm; to 1
// mm above the lowest level for charging, where three tenths of the section between the
// plates are liquid.
func TestAmounts(t *testing.T) {
	c := pack()
	for _, a := range []struct{ mm, rise, ceiling, need, fill float64 }{
		{13, 0, 20, 0, 0}, {14, 0, 20, 0, 0}, {12, 0, 20, 13, 0}, {3, 0, 20, 130, 0},
		{2.9, 0, 20, 13 * 10.1, 13 * 1.1}, {2, 1, 20, 13 * 11, 0}, {2, 0.9, 20, 13 * 11, 13 * 1.1},
		{0, 0, 20, 13 * 13, 13 * 4},
		{-2, 0, 20, 13 * 15, 13 * (6 - 2*0.7)},
		{-2, 1, 20, 13 * 15, 13 * (5 - 1*0.7)},
		{12, 0, 12, 0, 0}, {11, 0, 12, 13, 0}, {15, 0, 12, 0, 0},
		{-2, 0, 3.5, 13 * (3.5 + 0.6), 13 * (5.5 - 1.4)},
		{-50, 0, 3.5, 13 * (3.5 + 15), 13 * (3.5 + 15)},
	} {
		need, fill := c.CellNeed(a.mm, a.rise, a.ceiling)
		require.InDelta(t, a.need, need, 1e-9, "%+v", a)
		require.InDelta(t, a.fill, fill, 1e-9, "%+v", a)
	}
	require.InDelta(t, 13*5, c.RoomML(8, 13), 1e-9)
	require.InDelta(t, 13*(13+0.3*4), c.RoomML(-4, 13), 1e-9)
	require.Zero(t, c.RoomML(14, 13))
	r := newRig(c, 8)
	require.InDelta(t, 13*5, r.BetweenML(8, 13), 1e-9)
	require.InDelta(t, 13*(3+0.65*2), r.BetweenML(-2, 3), 1e-9)
	require.InDelta(t, 13*0.65*2, r.BetweenML(-4, -2), 1e-9)
	require.Zero(t, r.BetweenML(8, 7))
}

// TestAnOddCellAtTheBound: 35 % off the middle of three cells over three visits, of which the
// amounts were measured in at least half of the cells.
func TestAnOddCellAtTheBound(t *testing.T) {
	for name, c := range map[string]struct {
		ml      []float64
		visits  int
		guessed water.CellSet
		want    []water.OddCell
	}{
		"35 % more":           {[]float64{100, 100, 135}, 3, 0, []water.OddCell{{3, 1.35}}},
		"less than that":      {[]float64{100, 100, 134}, 3, 0, nil},
		"two visits":          {[]float64{100, 100, 135}, 2, 0, nil},
		"two cells":           {[]float64{100, 200}, 3, 0, nil},
		"35 % less":           {[]float64{65, 100, 100}, 3, 0, []water.OddCell{{1, 0.65}}},
		"none at all":         {[]float64{100, 0, 100}, 3, 0, []water.OddCell{{2, 0.01}}},
		"nobody took any":     {[]float64{0, 0, 100}, 3, 0, nil},
		"half were measured":  {[]float64{100, 100, 200, 100}, 3, 0b0011, nil}, // the middle counts for the others
		"most were not":       {[]float64{100, 100, 200, 100}, 3, 0b1011, nil},
		"a guess judges none": {[]float64{100, 100, 100, 900}, 3, 0b1000, nil},
	} {
		cfg := pack()
		cfg.Cells = len(c.ml)
		r := newRig(cfg, 8)
		var given [water.MaxCells]float64
		copy(given[:], c.ml)
		for range c.visits {
			r.Filled(&given, c.guessed, 6, true, 0)
		}
		got := r.stand(8, 8).OddCells()
		require.Len(t, got, len(c.want), name)
		for i := range got {
			require.Equal(t, c.want[i].Cell, got[i].Cell, name)
			require.InDelta(t, c.want[i].Ratio, got[i].Ratio, 1e-9, name)
		}
		visits := c.visits
		if name == "most were not" {
			visits = 0
		}
		require.Equal(t, visits, r.Status().Visits, name)
	}
}

// TestWaterThatNobodyRecorded: a level that was still for ten minutes and is still again, by
// more than 3 mm higher. Before a visit is opened a minute is enough.
func TestWaterThatNobodyRecorded(t *testing.T) {
	type look struct {
		after time.Duration
		mm    float64
	}
	for name, c := range map[string]struct {
		looks  []look
		opened bool
		want   float64
	}{
		"stays":                        {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {10 * time.Minute, 11.5}}, false, 3.5},
		"not yet":                      {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {10*time.Minute - time.Second, 11.5}}, false, 0},
		"3 mm may be the acid":         {[]look{{10 * time.Minute, 8}, {time.Second, 11}, {10 * time.Minute, 11}}, false, 0},
		"never still before":           {[]look{{10*time.Minute - time.Second, 8}, {time.Second, 11.5}, {10 * time.Minute, 11.5}}, false, 0},
		"moves within 1 mm":            {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {5 * time.Minute, 12.5}, {5 * time.Minute, 11.5}}, false, 3.5},
		"moves more":                   {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {5 * time.Minute, 12.6}, {5 * time.Minute, 11.5}}, false, 0},
		"and down":                     {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {5 * time.Minute, 10.4}, {5 * time.Minute, 11.5}}, false, 0},
		"falls":                        {[]look{{10 * time.Minute, 8}, {time.Second, 4}, {10 * time.Minute, 4}}, false, 0},
		"a visit is opened":            {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {time.Minute, 11.5}}, true, 3.5},
		"within a minute":              {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {time.Minute - time.Second, 11.5}}, true, 0},
		"opened, by 3 mm":              {[]look{{10 * time.Minute, 8}, {time.Second, 11}, {time.Minute, 11}}, true, 0},
		"opened, never still before":   {[]look{{9 * time.Minute, 8}, {time.Second, 11.5}, {time.Minute, 11.5}}, true, 0},
		"opened after it had moved":    {[]look{{10 * time.Minute, 8}, {time.Second, 11.5}, {time.Minute, 13}}, true, 0},
		"opened when nothing happened": {[]look{{10 * time.Minute, 8}, {10 * time.Minute, 8}}, true, 0},
	} {
		r := newRig(pack(), 8)
		for _, l := range c.looks {
			r.wait(l.after, l.mm, l.mm)
		}
		if c.opened {
			r.Opened()
		}
		require.InDelta(t, c.want, r.Again().UnrecordedMM, 1e-9, name)
	}
}

// TestALevelAtARod: a probe of rods 10 mm apart measures when the level passes one on its way
// down, and it has stayed dry for ten minutes.
func TestALevelAtARod(t *testing.T) {
	for name, c := range map[string]struct {
		low, high float64 // the next span, after 13 to 23
		gap, stay time.Duration
		want      bool
	}{
		"passes":                   {3, 13, time.Minute, 10 * time.Minute, true},
		"for less":                 {3, 13, time.Minute, 10*time.Minute - time.Second, false},
		"the spans meet":           {3, 13.5, time.Minute, 10 * time.Minute, true},
		"the spans do not meet":    {3, 13.6, time.Minute, 10 * time.Minute, false},
		"an hour later":            {3, 13, time.Hour, 10 * time.Minute, true},
		"nobody looked for longer": {3, 13, time.Hour + time.Second, 10 * time.Minute, false},
		"upwards":                  {23, 33, time.Minute, 10 * time.Minute, false},
		"as before":                {13, 23, time.Minute, 10 * time.Minute, false},
	} {
		r := newRig(pack(), 0)
		r.Balance = water.New(pack())
		require.False(t, r.stand(13, 23).Known, "a span of 10 mm is no level")
		r.wait(c.gap, c.low, c.high)
		require.Equal(t, c.want, r.wait(c.stay, c.low, c.high).Known, name)
		if c.want {
			require.Equal(t, c.high, r.Status().SettledMM, name)
		}
	}
	r := newRig(pack(), 0)
	r.Balance = water.New(pack())
	require.True(t, r.stand(13, 19).Known, "6 mm measure")
	require.False(t, r.stand(13, 19.1).Known && r.Status().SettledMM == 16.05, "more do not")
}
