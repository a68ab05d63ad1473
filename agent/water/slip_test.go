package water_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/water"
)

// thirsty is a pack in which cell 1 loses what the law of gassing says, and each other
// cell less than half of it; everybody is read at the same times.
type thirsty struct {
	*rig
	mm, others float64 // levels by the truth
}

func newThirsty() *thirsty {
	y := &thirsty{newRig(known(), 13), 13, 13}
	y.read(13)
	return y
}

// loses lets that much gas away, in millimetres by the law.
func (y *thirsty) loses(mm float64) {
	y.lose(mm)
	y.mm, y.others = y.mm-mm, y.others-0.4*mm
	y.stand(13, 13) // the probe is not in these cells
}

// read reads all cells, and in cell 1 that much.
func (y *thirsty) read(mm float64) {
	y.Level(1, mm)
	for cell := 2; cell <= 12; cell++ {
		y.Level(cell, y.others)
	}
	y.stand(13, 13)
}

// TestASlipIsFoundInTime: one reading of a cell is two marks too high, 6 mm, in a cell whose
// level is so unsure that the estimate does not contradict it. Before its plates are bare the
// bound is at them: nobody charges it without another look. So it is with a second slip
// after the first.
func TestASlipIsFoundInTime(t *testing.T) {
	for name, at := range map[string][]float64{ // what is lost before each slip, mm
		"soon": {4}, "later": {6}, "a second one": {5, 2}, "both soon": {3, 3},
	} {
		y := newThirsty()
		y.loses(2)
		y.read(y.mm)
		for _, mm := range at {
			y.loses(mm)
			y.read(y.mm + 6)
		}
		for y.mm > 0 {
			y.loses(0.1)
		}
		y.read2(t)
		s := y.Status()
		require.Equal(t, 1, s.SurelyCell, name)
		require.LessOrEqual(t, s.SurelyMM, 0.0, "%s: the plates are bare", name)
	}
}

// read2 reads the other cells once more, so that the bound is cell 1's.
func (y *thirsty) read2(t *testing.T) {
	t.Helper()
	for cell := 2; cell <= 12; cell++ {
		require.Equal(t, water.NotRejected, y.Level(cell, y.others))
	}
	y.stand(13, 13)
}
