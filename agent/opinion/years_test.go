package opinion

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// daysOf returns how many days a play of years takes.
func daysOf(t *testing.T) int {
	if years := long(t); years > 0 {
		return int(years * 365)
	}
	const short = 100
	return short
}

// uses are those of the lying cells: half to twice that of a usual one. The pilot is a
// usual one.
var uses = []float64{0.5, 0.6, 0.75, 1, 0.9, 1.1, 1.2, 1.35, 1.5, 1.65, 1.8, 2}

// lying returns a yard with lying cells, and lets its days pass.
func lying(t *testing.T, p *person, change func(*yard)) *yard {
	y := newYard(t, 20, nil)
	for i, use := range uses {
		y.cells[i].use = use
	}
	if change != nil {
		change(y)
	}
	days := daysOf(t)
	y.live(days, p, nil)
	t.Logf("figure: %s, %d days: %d visits, %d reading rounds besides, %.0f level readings a year; charged %.0f h; %v",
		t.Name(), days, p.visits, p.rounds, float64(p.readings)*365/float64(days), y.oracle.total.Hours(), &y.oracle)
	return y
}

// careful measures, and reads what the picture asks for, with the errors of a rod and a jug.
func careful() *person { return &person{reads: true, measures: true, rodSDMM: rodSD, jugShare: jugSD} }

// lyingCells: the people read the cells that they are asked to read, and pour as
// proposed.
func lyingCells(t *testing.T) *yard {
	p := careful()
	y := lying(t, p, nil)
	require.Zero(t, y.oracle.over, &y.oracle)
	require.Greater(t, y.oracle.total, time.Duration(daysOf(t))*6*time.Hour, "who does what is asked gets a charge: %v", y.blocks)
	return y
}

// lyingCellsUnread: nobody ever reads a level.
func lyingCellsUnread(t *testing.T) *yard {
	y := lying(t, &person{}, nil)
	require.Zero(t, y.oracle.over, &y.oracle)
	return y
}

// oneSided: each reading is 2.5 mm too high.
func oneSided(t *testing.T) *yard {
	return lying(t, &person{reads: true, rodMM: 2.5, rodSDMM: 0.5, jugShare: jugSD}, nil)
}

// oneSidedLow: each reading is 2.5 mm too low. With the error of a reading on top, a cell
// may come up to the bottom of the vent well, and no further.
func oneSidedLow(t *testing.T) *yard {
	y := lying(t, &person{reads: true, rodMM: -2.5, rodSDMM: 0.5, jugShare: jugSD}, nil)
	require.Less(t, y.oracle.overMM, 1.0, &y.oracle)
	return y
}

// readerSlips: each eleventh reading is two marks off, up or down.
func readerSlips(t *testing.T) *yard {
	return lying(t, &person{reads: true, rodSDMM: rodSD, jugShare: jugSD, slips: 11}, nil)
}

// careless: the probe sticks, one cell is passed over in each visit and recorded with
// the rest, each fifth visit is not recorded, the readings are too high, and what is
// asked is read.
func careless(t *testing.T) *yard {
	p := &person{reads: true, rodMM: 2.5, rodSDMM: rodSD, jugShare: 2 * jugSD, skips: 7, forgets: 5}
	return lying(t, p, func(y *yard) {
		y.spoil = func(r *bay.Readings) {
			if r.Level.Usable() && y.now > 20*day {
				r.Level = reading.LevelBetween(11, 11, y.now)
			}
		}
	})
}

// cellPassedOver: one cell is passed over in each visit, and recorded with the rest.
func cellPassedOver(t *testing.T) *yard {
	p := &person{reads: true, rodSDMM: rodSD, jugShare: jugSD, skips: 7}
	return lying(t, p, nil)
}

// probeDrifts: by a millimetre a week, upwards.
func probeDrifts(t *testing.T) *yard {
	return lying(t, careful(), func(y *yard) {
		y.spoil = func(r *bay.Readings) {
			drift := min(y.now.Hours()/24/7, 15)
			r.Level.LowMM, r.Level.HighMM = r.Level.LowMM+drift, r.Level.HighMM+drift
		}
	})
}

// jarCracks: a cell without the probe loses 2 mm a day from the fifth week on.
func jarCracks(t *testing.T) *yard {
	return lying(t, careful(), func(y *yard) {
		y.leak = func(dt time.Duration) {
			if y.now > 35*day {
				y.pour(9, -2*13*dt.Hours()/24)
			}
		}
	})
}

// saysToTheMark: who waters fills all cells to the mark but one, says so of all, and reads
// no level.
func saysToTheMark(t *testing.T) *yard {
	return lying(t, &person{skips: 7, waters: fillsToTheMark}, nil)
}
