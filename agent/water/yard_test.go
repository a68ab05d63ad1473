package water_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// A yard for two years, by its own arithmetic: what the cells hold is counted here, and
// the balance is told only what probe, charge records and people tell.
const (
	mlPerAh   = 0.336087 / 0.99705 // of water, by Faraday's law
	mlPerMM   = 13.0
	nightAh   = 14.0 // of gassing: 225 Ah to half depth at a factor of 1.12
	sixteenth = 25.4 / 16
	// overMM is the settled level at which acid comes out when hottest and full of
	// gas, without the millimetre that the balance keeps to spare.
	overMM = 22 - 1350*5.66e-4*(52-25)/mlPerMM - 3
)

// shed is one pack and its technician.
type shed struct {
	*rig
	rng    *rand.Rand
	use    [12]float64 // over the pilot's
	level  [12]float64 // settled, mm
	scale  float64     // gassing in truth over that counted
	biasMM func(year float64) float64
	pours  bool
	reads  bool
	probe  func(trueMM float64) float64

	bareH, blockedNights, visits, readings int
	over                                   float64 // worst above overMM, mm
	firstBare, firstDoubt                  int     // night, 0 for never
	byMonth                                [24]int
	doubted                                bool
	sneaks                                 bool // the pilot is filled, and nobody records it
}

// newShed is a sound yard: usual cells, a good probe, somebody who does what is asked.
func newShed(seed uint64) *shed {
	y := &shed{rng: rand.New(rand.NewPCG(seed, 20)), scale: 1, pours: true, reads: true, biasMM: func(float64) float64 { return 0 }}
	y.probe = func(mm float64) float64 { return mm + 0.05*y.rng.NormFloat64() }
	for i := range y.use {
		y.use[i] = math.Exp(0.1 * y.rng.NormFloat64())
		y.level[i] = 13 + 1.3*y.rng.NormFloat64()
	}
	y.use[3], y.level[3] = 1, 13
	return y
}

// begin starts the balance.
func (y *shed) begin() {
	y.rig = &rig{Balance: water.New(known())}
	y.look(time.Hour)
}

// look steps with the probe's level.
func (y *shed) look(dt time.Duration) *water.Status {
	mm := y.probe(y.level[3])
	y.in.PackC = reading.Good(25, y.now+dt)
	return y.wait(dt, mm, mm)
}

// night charges as long as it is granted.
func (y *shed) night(day int) {
	ah := nightAh * (1 + 0.15*y.rng.NormFloat64())
	for range 10 {
		if y.blocked() {
			y.blockedNights++
			if y.firstDoubt == 0 && y.doubted {
				y.firstDoubt = day
			}
			break
		}
		y.in.GassingAh += ah / 10
		for i := range y.level {
			if y.level[i] <= 0 {
				y.bareH++
				if y.firstBare == 0 {
					y.firstBare = day
				}
				break
			}
		}
		for i := range y.level {
			y.level[i] -= y.use[i] * y.scale * ah / 10 * mlPerAh / mlPerMM
		}
		y.look(time.Hour)
	}
	y.look(14 * time.Hour)
}

// blocked is the permit as far as the levels decide it.
func (y *shed) blocked() bool {
	mm, known := y.SurelyNowMM()
	y.doubted = !known || mm <= 0 || y.doubted && mm < 1
	s := y.Status()
	return y.doubted || s.SettledMM+min(y.LowestMM(), 0) < 3 || s.Bare != 0
}

// read reads a cell with a rod.
func (y *shed) read(day, cell int) {
	mm := y.level[cell-1] + y.biasMM(float64(day)/365) + 0.3*y.rng.NormFloat64()
	y.Level(cell, math.Round(mm/sixteenth)*sixteenth)
	y.readings++
	y.byMonth[day*24/731]++
}

// visit reads what is asked and pours what is proposed.
func (y *shed) visit(day int) {
	var given [water.MaxCells]float64
	before := y.Status().SettledMM
	y.in.Visit, y.in.AtCells, y.in.VisitMM, y.in.GivenML = true, true, before, &given
	s := y.look(time.Minute)
	y.visits++
	if y.reads { // the cells that get no water
		asked := s.ReadFirst
		for _, cell := range asked[:s.ReadAsk.Len()] {
			if s.NeedML[cell-1] < 1 {
				y.read(day, int(cell))
			}
		}
		y.Again()
	}
	if y.pours {
		for i := range y.level {
			ml := math.Floor(y.Status().NeedML[i])
			given[i] = ml
			y.level[i] += ml * (1 + 0.05*y.rng.NormFloat64()) / mlPerMM
			y.over = max(y.over, y.level[i]-overMM)
		}
	}
	if s := *y.look(10 * time.Minute); y.reads { // the others, with their water
		for range 2 { // again what contradicts
			for _, cell := range s.ReadAsk.Numbers() {
				y.read(day, cell)
			}
			s = *y.Again()
		}
	}
	y.in.Visit, y.in.AtCells, y.in.GivenML = false, false, nil
	y.Filled(&given, 0, before, true, y.in.GassingAh)
	y.look(time.Hour)
}

// years runs two years; people come a day or two after they are called.
func (y *shed) years() *shed {
	y.begin()
	called := 0
	for day := 1; day <= 730; day++ {
		y.night(day)
		switch {
		case !y.Status().Due:
			called = 0
		case y.sneaks:
			y.level[3] = 13
		case called >= 1+y.rng.IntN(2):
			y.visit(day)
			called = 0
		default:
			called++
		}
	}
	return y
}

// readingsIn counts those of some months.
func (y *shed) readingsIn(from, to int) (n int) {
	for _, x := range y.byMonth[from:to] {
		n += x
	}
	return n
}

func (y *shed) report(t *testing.T) {
	t.Helper()
	t.Logf("figure: %d h bare while granted, %.1f mm overfilled, %d nights blocked, first for doubt in night %d, %d visits and %d readings a year; readings a month: first %d, then %.1f, from the seventh on %.1f",
		y.bareH, max(y.over, 0), y.blockedNights, y.firstDoubt, y.visits/2, y.readings/2,
		y.readingsIn(0, 1), float64(y.readingsIn(1, 6))/5, float64(y.readingsIn(6, 24))/18)
}

// wide gives a yard cells of half to twice the pilot's use.
func (y *shed) wide() *shed {
	for i := range y.use {
		y.use[i] = 0.5 * math.Pow(4, float64(i)/11)
	}
	y.use[3] = 1
	return y
}

// TestTwoYears: people who read what they are asked to read, with the error of a rod, and
// fill as proposed, have no charge on bare plates, no cell overfilled, and no night
// blocked; at what cost, is printed.
func TestTwoYears(t *testing.T) {
	off := func(mm float64) func(float64) float64 { return func(float64) float64 { return mm } }
	for _, c := range []struct {
		name  string
		of    func(y *shed)
		month float64 // readings a month, at most, once the cells' uses are learned
	}{
		{"usual cells", func(*shed) {}, 30},
		{"usual cells, read 2.5 mm too high", func(y *shed) { y.biasMM = off(2.5) }, 32},
		{"usual cells, read 2.5 mm too low", func(y *shed) { y.biasMM = off(-2.5) }, 32},
		{"usual cells, one of twice the use", func(y *shed) { y.use[7] = 2 }, 30},
		{"half to twice the pilot's use", func(y *shed) { y.wide() }, 32},
		{"half to twice, read 2.5 mm too high", func(y *shed) { y.wide().biasMM = off(2.5) }, 32},
		{"half to twice, read 2.5 mm too low", func(y *shed) { y.wide().biasMM = off(-2.5) }, 32},
		{"less gas than counted", func(y *shed) { y.scale = 0.7 }, 20},
		{"more gas than counted", func(y *shed) { y.scale = 1.3 }, 38},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(3) {
				y := newShed(seed)
				c.of(y)
				y.years()
				y.report(t)
				require.Zero(t, y.bareH, "hours of charge on bare plates")
				require.LessOrEqual(t, y.over, 0.0, "overfilled, mm")
				require.LessOrEqual(t, y.blockedNights, 3)
				require.LessOrEqual(t, float64(y.readingsIn(6, 24))/18, c.month)
			}
		})
	}
}

// TestLies: evidence that is wrong in a way that the trade knows. It ends in a block
// before any cell is bare, and nothing is overfilled meanwhile.
func TestLies(t *testing.T) {
	never := func(more float64) func(y *shed) {
		return func(y *shed) { y.use[7], y.reads = more, false }
	}
	for _, c := range []struct {
		name string
		of   func(y *shed)
	}{
		{"nothing read, a cell uses 10 % more", never(1.1)}, {"30 % more", never(1.3)}, {"twice", never(2)},
		{"10 % less", never(0.9)}, {"half", never(0.5)},
		{"stuck probe, nothing read", func(y *shed) { y.probe, y.reads = func(float64) float64 { return 11 }, false }},
		{"only the pilot is filled, nothing recorded", func(y *shed) { y.reads, y.pours, y.sneaks = false, false, true }},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := newShed(9)
			c.of(y)
			y.years()
			y.report(t)
			require.Zero(t, y.bareH, "hours of charge on bare plates")
			require.LessOrEqual(t, y.over, 0.0, "overfilled, mm")
			require.NotZero(t, y.firstDoubt)
		})
	}
	t.Run("stuck probe, cells read as asked", func(t *testing.T) {
		y := newShed(9)
		y.probe = func(float64) float64 { return 11 }
		y.years()
		y.report(t)
		require.Zero(t, y.bareH, "hours of charge on bare plates")
		require.LessOrEqual(t, y.over, 0.0, "overfilled, mm")
	})
}
