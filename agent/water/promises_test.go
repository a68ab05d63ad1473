package water_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// TestEachCellOfAForecastCounts: the lowest of a pack's cells is above the limit when each
// of them is, whatever two of them have in common.
func TestEachCellOfAForecastCounts(t *testing.T) {
	const limitMM, lostMM = 3, 4
	one := water.AheadCell{MM: 9, SD: 1, Use: 1, UseSD: 0.2}
	other := water.AheadCell{MM: 7, SD: 2, Use: 1.3, UseSD: 0.5}
	likely := func(c *water.AheadCell) float64 { // of the normal distribution
		z := (c.MM - c.Use*lostMM - limitMM) / math.Hypot(c.SD, c.UseSD*lostMM)
		return (1 + math.Erf(z/math.Sqrt2)) / 2
	}
	for differs := range 16 {
		c := one
		for bit, put := range []func(){
			func() { c.MM = other.MM }, func() { c.SD = other.SD }, func() { c.Use = other.Use }, func() { c.UseSD = other.UseSD },
		} {
			if differs&(1<<bit) != 0 {
				put()
			}
		}
		want := likely(&one) * likely(&c) * likely(&one)
		require.InDelta(t, want, water.Above(limitMM, lostMM, one, c, one), 1e-9, "they differ in %04b", differs)
	}
}

// TestOnlyReadingsThatProveItTeachAUse: two readings with 4 mm of water lost between them
// do, but for one that is doubted, and for one so far off that it is a leak or a slip.
func TestOnlyReadingsThatProveItTeachAUse(t *testing.T) {
	const before = 13.0
	for _, c := range []struct {
		name    string
		reads   []float64 // before the loss
		lostMM  float64
		thenMM  float64
		learned bool
	}{
		{"a cell that was never read", nil, 6, 4, false},
		{"read as often as it needs", []float64{before}, 6, 4, true},
		{"hardly any water lost", []float64{before}, 3.9, 6, false},
		{"enough water lost", []float64{before}, 4.1, 6, true},
		{"doubted: read far higher than it was", []float64{before - 6, before}, 6, 4, false},
		{"doubted: read far lower than it was", []float64{before, before - 6}, 6, 4, false},
		{"far lower than any use makes it", []float64{before}, 6, 0.5, false},
		{"far higher than any use makes it", []float64{before}, 6, 13.5, false},
		{"as far lower as a use can make it", []float64{before}, 6, 1, true},
		{"just enough water lost", []float64{before}, 4, 6, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(pack(), before)
			for _, mm := range c.reads {
				r.Level(7, mm)
			}
			for r.lose(c.lostMM); lostMM(r) < c.lostMM; { // no rounding parts it from the limit
				r.in.GassingAh = math.Nextafter(r.in.GassingAh, math.Inf(1))
			}
			r.stand(before-c.lostMM, before-c.lostMM)
			r.Level(7, c.thenMM)
			use := r.Memory().Cells[6].Use
			if !c.learned {
				require.InDelta(t, 1, use, 1e-9)
				return
			}
			// The whole difference is its use at most, and some of it at least: the readings err.
			whole := (before - c.thenMM) / c.lostMM
			require.Greater(t, use, 1+(whole-1)/6)
			require.Less(t, use, whole)
		})
	}
}

// lostMM is the water lost by Faraday's law, mm.
func lostMM(r *rig) float64 { return electrolyte.WaterML(r.in.GassingAh) / 130 * 10 }

// TestAnAmountIsThatOfTheCell: what a cell needs does not depend on which one is beside it.
func TestAnAmountIsThatOfTheCell(t *testing.T) {
	dry := math.Inf(-1)
	kinds := [][]float64{ // how a cell was read, NaN takes the reading back
		nil, {8}, {8, 8}, {5}, {5, 11}, {11, 5}, {15}, {dry}, {dry, 6}, {8, math.NaN()}, {16, 16, 16}, {2},
	}
	play := func(order []int, lossMM float64) (need, cover [12]float64, totalML, lowMM float64, lowest int) {
		r := newRig(pack(), 8)
		for cell, kind := range order {
			for _, mm := range kinds[kind] {
				switch {
				case math.IsNaN(mm):
					r.Unread(cell + 1)
				case mm == dry:
					r.Dry(cell + 1)
				default:
					r.Level(cell+1, mm)
				}
			}
		}
		r.lose(lossMM)
		s := r.stand(8-lossMM, 8-lossMM)
		for cell, kind := range order {
			need[kind], cover[kind] = s.NeedML[cell], s.CoverPlatesML[cell]
		}
		return need, cover, s.TotalML, s.LowMM, order[s.LowCell-1]
	}
	first := []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}
	random := rand.New(rand.NewPCG(1, 2))
	for _, lossMM := range []float64{0, 3, 6} {
		need, cover, totalML, lowMM, lowest := play(first, lossMM)
		sum := 0.0
		for _, ml := range need {
			sum += ml
		}
		require.InDelta(t, sum, totalML, 1e-6)
		for range 60 {
			order := random.Perm(12)
			n, c, total, low, at := play(order, lossMM)
			require.InDeltaSlice(t, need[:], n[:], 1e-6, "%v", order)
			require.InDeltaSlice(t, cover[:], c[:], 1e-6, "%v", order)
			require.InDelta(t, totalML, total, 1e-6, "%v", order)
			require.InDelta(t, lowMM, low, 1e-9, "%v", order)
			require.Equal(t, lowest, at, "%v", order)
		}
	}
}

// TestTimeThatIsNotKnownMakesNoGas: gas forms in the time between two steps, not in what
// the clock shows at the first one, nor in a time that goes back.
func TestTimeThatIsNotKnownMakesNoGas(t *testing.T) {
	r := &rig{Balance: water.New(pack()), now: 10 * time.Hour}
	r.in.Gassing = true
	require.InDelta(t, 11, r.stand(11, 11).SettledMM, 1e-9, "the first step")
	require.Zero(t, r.Memory().GasMM)
	r.wait(time.Hour, 11, 11)
	gas := r.Memory().GasMM
	require.Greater(t, gas, 1.0)
	for _, back := range []time.Duration{time.Minute, 29 * time.Minute, time.Hour} {
		r.wait(-back, 11, 11)
		require.InDelta(t, gas, r.Memory().GasMM, 1e-9, "back by %v", back)
	}
}

// TestWhoIsAtTheCells: a cell's amount counts from the pilot's level when the visit was
// opened, and only in a visit. Water is counted in any visit, and no visit at all leaves a
// pack that nobody has touched unknown.
func TestWhoIsAtTheCells(t *testing.T) {
	var given [water.MaxCells]float64
	given[4] = 26
	for _, c := range []struct {
		name           string
		visit, atCells bool
		given          *[water.MaxCells]float64
		fifthMM        float64 // likely
		counted        bool
	}{
		{"nobody", false, false, nil, 8, false},
		{"nobody, with an old list", false, false, &given, 8, false},
		{"no list yet", true, true, nil, 8, false},
		{"opened while the level was unknown", false, true, &given, 8, true},
		{"a visit", true, true, &given, 7 + 2, true},
		{"a visit that says no more", true, false, &given, 7 + 2, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(pack(), 8)
			_, highMM := lowHigh(r, 4)
			r.in.Visit, r.in.AtCells, r.in.VisitMM, r.in.GivenML = c.visit, c.atCells, 7, c.given
			s := r.stand(8, 8)
			require.InDelta(t, c.fifthMM, s.LevelMM[4], 1e-9)
			_, nowMM := lowHigh(r, 4)
			require.Equal(t, c.counted, nowMM > highMM+1, "from at most %.2f to %.2f mm", highMM, nowMM)

			r = &rig{Balance: water.New(pack())}
			r.in.Visit, r.in.AtCells, r.in.VisitMM, r.in.GivenML = c.visit, c.atCells, 7, c.given
			r.in.PackC = reading.Good(25, 0)
			r.in.Level, r.in.Now = reading.Level{Fault: reading.Open}, time.Second
			r.Step(&r.in)
			r.in.Visit, r.in.AtCells, r.in.GivenML = false, false, nil
			r.now = time.Second
			r.stand(8, 8)
			require.Equal(t, c.counted, r.Memory().Touched)
			require.Equal(t, c.counted, r.Status().NeverRead)
		})
	}
}

// TestNeighboursThatWereGivenDifferently: cells of which otherwise the same is known are
// each where their own water puts them.
func TestNeighboursThatWereGivenDifferently(t *testing.T) {
	t.Run("both dry", func(t *testing.T) {
		r := newRig(pack(), -5)
		given := [water.MaxCells]float64{4: 26}
		r.in.Visit, r.in.AtCells, r.in.VisitMM, r.in.GivenML = true, true, -5, &given
		r.stand(-5, -5)
		r.Dry(5)
		r.Dry(6)
		s := r.stand(-5, -5)
		require.InDelta(t, -3, s.LevelMM[4], 1e-9)
		require.InDelta(t, -5, s.LevelMM[5], 1e-9)
	})
	t.Run("in a visit opened while the level was unknown", func(t *testing.T) {
		for _, mm := range []float64{8, 9, 10, 11, 12} {
			r := newRig(pack(), 8)
			given := [water.MaxCells]float64{4: 13 * mm}
			r.in.AtCells, r.in.GivenML = true, &given
			s := r.stand(8, 8)
			require.Less(t, s.NeedML[4], s.NeedML[3]-13, "%.0f mm were poured into it", mm)
			require.InDelta(t, s.NeedML[3], s.NeedML[5], 1e-9)
		}
	})
}

// TestTheLowestCellIsNamed: the probe's own by a rod that shows it lower than the probe
// does, and of cells that are alike the first.
func TestTheLowestCellIsNamed(t *testing.T) {
	r := newRig(pack(), 8)
	for _, cell := range []int{3, 7} {
		r.Level(cell, 5)
	}
	require.Equal(t, 3, r.stand(8, 8).LowCell)
	r = newRig(known(), 8)
	r.Level(4, 5)
	s := r.stand(8, 8)
	require.Equal(t, 4, s.LowCell)
	require.LessOrEqual(t, s.LowMM, 5.0)
}

// TestADryRodMayBeWrong: a cell that was read high and then dry gets no more water than fits
// if the first reading is the true one.
func TestADryRodMayBeWrong(t *testing.T) {
	for _, mm := range []float64{12, 16, 18} {
		r := newRig(pack(), 8)
		r.Level(5, mm)
		r.Level(5, mm)
		r.Dry(5)
		s := r.stand(8, 8)
		room := 13*max(s.CeilingMM-mm, 0) + 1e-6
		require.LessOrEqual(t, s.NeedML[4], room, "read at %.0f mm", mm)
		require.LessOrEqual(t, s.CoverPlatesML[4], room, "read at %.0f mm", mm)
	}
}
