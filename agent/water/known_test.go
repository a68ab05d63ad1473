package water_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// TestAVisitBeforeAnyLevel: who was at the cells before a level was known may have filled
// any of them, so the probe shows nothing of the cells that were not read.
func TestAVisitBeforeAnyLevel(t *testing.T) {
	r := &rig{Balance: water.New(known())}
	r.in.PackC = reading.Good(25, 0)
	r.in.Level = reading.Level{Fault: reading.Open}
	given := [water.MaxCells]float64{}
	r.in.AtCells, r.in.GivenML = true, &given
	r.in.Now = time.Minute
	r.Step(&r.in)
	given[3] = 130
	r.Filled(&given, 0, 0, false, 0)
	r.now, r.in.AtCells, r.in.GivenML = time.Minute, false, nil
	s := r.stand(13, 13)
	require.True(t, s.NeverRead)
	require.Less(t, s.SurelyMM, 0.0)
	require.Zero(t, s.NeedML[0], "read it first")
	for cell := 1; cell <= 12; cell++ {
		r.Level(cell, 12)
	}
	s = r.stand(13, 13)
	require.False(t, s.NeverRead)
	require.Greater(t, s.SurelyMM, 7.0)
}

// TestOneReadingRaisesNoBound beyond what its own error and the estimate before it allow;
// two that contradict are both kept.
func TestOneReadingRaisesNoBound(t *testing.T) {
	r := newRig(known(), 8)
	r.Level(1, 4)
	before, _ := lowHigh(r, 0)
	r.Level(1, 12)
	low, high := lowHigh(r, 0)
	require.LessOrEqual(t, low, before)
	require.GreaterOrEqual(t, high, 12.0)
	r.Level(1, 12)
	low, _ = lowHigh(r, 0)
	require.InDelta(t, 12-2.5-2.4*0.6, low, 0.01, "two that agree, less what a reader may always be off")
	r.Level(1, 12)
	again, _ := lowHigh(r, 0)
	require.InDelta(t, low, again, 0.01, "repeats do not shrink it")
}

// lowHigh returns the careful bounds of a cell by what is stored of it.
func lowHigh(r *rig, i int) (low, high float64) {
	k := r.Memory().Known[i]
	return k.Bounds()
}

// TestDrawnOffAndTakenBack: what is drawn off, corrected and taken back moves the bounds
// as if it had been right at once, and a void reading proves nothing.
func TestDrawnOffAndTakenBack(t *testing.T) {
	r := newRig(known(), 8)
	r.Level(1, 8)
	read, _ := lowHigh(r, 0)
	given := [water.MaxCells]float64{}
	r.in.Visit, r.in.AtCells, r.in.VisitMM, r.in.GivenML = true, true, 8, &given
	r.stand(8, 8)
	given[0] = 65
	r.stand(8, 8)
	poured, _ := lowHigh(r, 0)
	require.InDelta(t, read, poured, 0.01, "nobody has seen it")
	given[0] = 0 // a correction
	r.Repoured(1, 65, 0)
	r.stand(8, 8)
	back, _ := lowHigh(r, 0)
	require.InDelta(t, read, back, 0.6)
	r.Level(1, 15)
	r.Unread(1)
	same, _ := lowHigh(r, 0)
	require.InDelta(t, back, same, 0.01)
	r.in.Visit, r.in.AtCells, r.in.GivenML = false, false, nil
	r.Filled(&given, 0, 8, true, r.in.GassingAh)
	r.CorrectLevel(1, 0, true)
	require.Less(t, r.stand(8, 8).SurelyMM, 0.0)
	require.True(t, r.Status().NeverRead)
}

// TestKnowledgeOutlivesARestart, and a memory of an older program is taken for little.
func TestKnowledgeOutlivesARestart(t *testing.T) {
	r := newRig(known(), 12)
	r.Level(1, 11)
	r.lose(2)
	before := *r.stand(10, 10)
	m := r.Memory()
	require.True(t, m.Valid(12))
	next := &rig{Balance: water.New(known()), now: r.now, in: r.in}
	next.Restore(&m, next.now, 0)
	after := next.stand(10, 10)
	require.InDelta(t, before.SurelyMM, after.SurelyMM, 0.01)
	require.Equal(t, before.ReadAsk, after.ReadAsk)

	m.Known = nil
	next = &rig{Balance: water.New(known()), now: r.now, in: r.in}
	next.Restore(&m, next.now, 0)
	old := next.stand(10, 10).SurelyMM
	fresh := newRig(known(), 10).Status().SurelyMM
	require.Less(t, old, fresh-2, "what a new pack is taken for")
}

// TestWaterEndsADoubt: a cell read low enough to be doubted, and high enough for a
// charge, is proposed the water that ends the doubt, and no more; one that was not read,
// or whose readings contradict, is not.
func TestWaterEndsADoubt(t *testing.T) {
	r := newRig(known(), 4)
	require.Zero(t, r.Status().CoverPlatesML[0])
	r.Level(1, 3.5)
	s := r.stand(4, 4)
	require.True(t, s.Doubts.Has(1))
	add := s.CoverPlatesML[0]
	require.Greater(t, add, 0.0)
	require.LessOrEqual(t, add, 13*4.0)
	given := [water.MaxCells]float64{add}
	r.in.Visit, r.in.AtCells, r.in.VisitMM, r.in.GivenML = true, true, 4, &given
	s = r.stand(4, 4)
	require.True(t, s.Doubts.Has(1), "what is said to be poured ends no doubt")
	require.Zero(t, s.CoverPlatesML[0])
	r.Level(1, 6.5)
	s = r.stand(4, 4)
	require.True(t, s.Doubts.Has(1), "nor does one reading")
	require.True(t, s.ReadAsk.Has(1))
	for range 3 {
		r.Level(1, 6.5)
	}
	require.False(t, r.stand(4, 4).Doubts.Has(1), "some that agree do")
	r.Level(2, 12)
	require.Zero(t, r.stand(4, 4).CoverPlatesML[1], "contradicts the estimate")
}

// TestAProbeAboveTheRodLeavesNoRoom: a rod reads the pilot low, its probe shows it high.
// Either may be right, so the water that would end the rod's doubt must not be proposed
// past the ceiling of what the probe shows.
func TestAProbeAboveTheRodLeavesNoRoom(t *testing.T) {
	cfg := pack()
	cfg.Pilot = 6
	r := newRig(cfg, 3.5)
	require.Equal(t, water.NotRejected, r.Level(6, 3.5))
	s := r.stand(3.5, 3.5)
	require.Positive(t, s.CoverPlatesML[5], "while both show it low")
	s = r.wait(time.Minute, 21, 21)
	require.GreaterOrEqual(t, s.LevelMM[5], s.CeilingMM)
	require.Zero(t, s.CoverPlatesML[5])
	require.Zero(t, s.NeedML[5])
}
