package water_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const day = 24 * time.Hour

// nights passes days in which a usual millimetre is lost by gassing each.
func (r *rig) nights(n int) {
	for range n {
		r.lose(1)
		r.wait(day, 13, 13)
	}
}

// allAt has every cell read at a level, twice, so that it counts.
func (r *rig) allAt(mm float64) {
	for cell := 1; cell <= 12; cell++ {
		r.Level(cell, mm)
		r.Level(cell, mm)
	}
}

// TestALeakGoesOnWithoutGassing: a cell is 8 mm lower than four nights explain. So it lost
// 2 mm a day besides, and goes on in a holiday, whatever is poured.
func TestALeakGoesOnWithoutGassing(t *testing.T) {
	for name, readMM := range map[string]float64{"sound": 9, "leaking": 1} {
		t.Run("arithmetic, "+name, func(t *testing.T) {
			r := newRig(known(), 13)
			r.allAt(13)
			r.nights(4)
			r.Level(1, readMM)
			r.allAt(13)
			before := r.wait(time.Second, 13, 13).SurelyMM
			for range 10 { // nothing gasses
				r.wait(day, 13, 13)
			}
			s := r.Status()
			if name == "sound" {
				require.InDelta(t, before, s.SurelyMM, 0.01)
				return
			}
			require.InDelta(t, before-10*8.0/4, s.SurelyMM, 2.5, "ten days at 2 mm")
			require.Equal(t, 1, s.SurelyCell)
			require.True(t, s.ReadDue)
		})
	}
}

// TestASlipIsNoLeak for good: once readings come where gassing has them, it is forgotten.
func TestASlipIsNoLeak(t *testing.T) {
	r := newRig(known(), 13)
	r.Level(1, 13)
	r.nights(2)
	r.Level(1, 5) // the rod slipped
	require.Positive(t, r.Memory().Known[0].LeakMM)
	for range 6 {
		r.Level(1, 13)
		r.nights(4)
		r.Level(1, 9)
	}
	require.Zero(t, r.Memory().Known[0].LeakMM, "what four days cannot show any more")
}

// TestADryCellLeaks: where the rod shows the plates although the cell should be covered.
func TestADryCellLeaks(t *testing.T) {
	r := newRig(known(), 13)
	r.Level(1, 13)
	r.nights(3)
	r.Dry(1)
	require.InDelta(t, 10.0/3, r.Memory().Known[0].LeakMM, 0.5)
}
