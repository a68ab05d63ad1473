package water_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// known is the invented pack with the probe in its fourth cell.
func known() water.Config {
	cfg := pack()
	cfg.Pilot = 4
	return cfg
}

// TestThePilotIsWhereItsProbeShowsIt: a charge's loss makes the others lower by what
// they may use more, and the pilot not.
func TestThePilotIsWhereItsProbeShowsIt(t *testing.T) {
	r := newRig(known(), 12)
	r.lose(4)
	s := r.stand(8, 8)
	require.NotEqual(t, 4, s.LowCell)
	require.InDelta(t, -4*0.15, r.LowestMM(), 0.01, "of the cells that nobody measured")
	require.InDelta(t, 8, s.LevelMM[3], 0.01)
}

// TestARodDoubtsTheProbe: a rod that shows less than the probe, or the plates, counts
// at once, in the cell with the probe as in any other.
func TestARodDoubtsTheProbe(t *testing.T) {
	r := newRig(known(), 8)
	require.Equal(t, water.NotRejected, r.Level(4, 3))
	r.stand(8, 8)
	require.InDelta(t, -5, r.LowestMM(), 0.01)
	r.Filled(&[water.MaxCells]float64{3: 65}, 0, 0, false, r.in.GassingAh)
	r.stand(13, 13)
	require.InDelta(t, -5, r.LowestMM(), 0.01, "water does not make the probe right")

	r = newRig(known(), 8)
	r.Dry(4)
	r.stand(8, 8)
	require.InDelta(t, -8, r.LowestMM(), 0.01)
}

// TestWaterOfThePilotIsInNoOtherCell: when only the pilot was filled and no level was
// known before, the others are lower than it now by that much.
func TestWaterOfThePilotIsInNoOtherCell(t *testing.T) {
	r := newRig(known(), 8)
	r.Filled(&[water.MaxCells]float64{3: 65}, 0, 0, false, r.in.GassingAh)
	s := r.wait(2*time.Hour, 13, 13)
	require.InDelta(t, 13, s.LevelMM[3], 0.01)
	require.InDelta(t, 8, s.LevelMM[0], 0.01)
	require.InDelta(t, -5, r.LowestMM(), 0.01)
}

// TestKnowingThePilotHidesNoOtherCell: whatever was read and lost, where every cell was
// given the same the others are estimated as where the pilot is not known.
func TestKnowingThePilotHidesNoOtherCell(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := newRig(known(), 10), newRig(pack(), 10)
		for range rapid.IntRange(1, 8).Draw(t, "steps") {
			cell, mm := rapid.IntRange(1, 12).Draw(t, "cell"), rapid.Float64Range(0, 20).Draw(t, "mm")
			ml, lost := rapid.Float64Range(0, 100).Draw(t, "ml"), rapid.Float64Range(0, 3).Draw(t, "lost")
			act := rapid.IntRange(0, 2).Draw(t, "act")
			for _, r := range []*rig{a, b} {
				switch act {
				case 0:
					r.Level(cell, mm)
				case 1:
					var given [water.MaxCells]float64
					for i := range 12 {
						given[i] = ml
					}
					r.Filled(&given, 0, 0, false, r.in.GassingAh)
				case 2:
					r.lose(lost)
				}
				r.stand(10, 10)
			}
			for i := range 12 {
				if i == 3 {
					continue
				}
				require.InDelta(t, b.Status().LevelMM[i], a.Status().LevelMM[i], 1e-9, "cell %d", i+1)
			}
		}
	})
}

// TestThePilotReadInAVisitFollowsItsProbe: below the plate tops water rises by more
// than the free surface gives. What the rod shows then is no error of the probe, and
// when the visit is closed the pilot is where its probe shows it.
func TestThePilotReadInAVisitFollowsItsProbe(t *testing.T) {
	cfg := pack()
	cfg.Pilot = 1
	b := water.New(cfg)
	var given [water.MaxCells]float64
	in := water.Inputs{Level: reading.LevelBetween(-5, -5, 0), PackC: reading.Good(25, 0)}
	step := func(mm float64) {
		in.Now += time.Minute
		in.Level, in.PackC = reading.LevelBetween(mm, mm, in.Now), reading.Good(25, in.Now)
		b.Step(&in)
	}
	for range 90 {
		step(-5)
	}
	in.Visit, in.VisitMM, in.GivenML = true, -5, &given
	step(-5)
	for i := range cfg.Cells {
		given[i] = 70
	}
	step(3) // 5 mm and a half by the free surface, and the plates' own volume
	for cell := range cfg.Cells {
		b.Level(cell+1, 3)
	}
	b.Filled(&given, 0, -5, true, 0)
	in.Visit, in.GivenML = false, nil
	for range 90 {
		step(3)
	}
	for cell := range cfg.Cells {
		require.InDelta(t, 3, b.Status().LevelMM[cell], 0.5, "cell %d", cell+1)
	}
}

// TestADoubtedCellIsAskedFor: a reading that disagrees with its cell's estimate lowers
// what decides the charge until a second one is taken, so somebody must be asked for it.
func TestADoubtedCellIsAskedFor(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRig(known(), 12)
		for range rapid.IntRange(1, 30).Draw(t, "steps") {
			switch cell := rapid.IntRange(1, 12).Draw(t, "cell"); rapid.IntRange(0, 2).Draw(t, "act") {
			case 0:
				r.Level(cell, rapid.Float64Range(8, 16).Draw(t, "mm"))
			case 1:
				var given [water.MaxCells]float64
				given[cell-1] = 60
				r.Filled(&given, 0, 0, false, r.in.GassingAh)
			case 2:
				r.lose(rapid.Float64Range(0, 1).Draw(t, "lost"))
			}
			s := r.stand(12, 12)
			require.Zero(t, s.Doubted&^uint64(s.ReadAsk), "doubted %b, asked for %b", s.Doubted, s.ReadAsk)
		}
	})
}
