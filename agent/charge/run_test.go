package charge_test

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/charge/chargetest"
	"bayward/agent/reading"
)

// data loads a file of testdata/data.
func data(t *testing.T, file string, cells int, scale float64) chargetest.Series {
	t.Helper()
	s, err := chargetest.Load(filepath.Join("..", "..", "testdata", "data", file), cells, scale)
	require.NoError(t, err)
	return s
}

// config is a traction pack; only cells, capacity and gravity matter here.
func config(capacityAh, fullGravity float64) charge.Config {
	return charge.Config{
		Cells: 12, ElectrolyteML: 1350, CapacityAh: capacityAh, FullGravity: fullGravity, Factor: 1.15,
		MaxFor: 18 * time.Hour, MaxAh: 1.44 * capacityAh, HasCurrent: true,
	}
}

// sound is a hydrometer reading with nothing wrong with it, at 25 °C.
func sound(cell int, sg float64) *charge.Hydrometer {
	return &charge.Hydrometer{Cell: cell, SG: sg, AtC: 25, PackC: reading.Good(25, 0), Level: charge.LevelGood}
}

// allCells enters the same reading for every cell of a pack of 12.
func allCells(tr *charge.Tracker, now time.Duration, sg float64) {
	for cell := 1; cell <= 12; cell++ {
		tr.CellGravity(now, sound(cell, sg))
	}
}

// seen is the outcome of a run.
type seen struct {
	t         *charge.Tracker
	status    charge.Status
	fullAtH   float64 // first, NaN when never
	evidence  charge.Evidence
	socAtFull float64 // truth when it was first called full
	topSoc    float64 // highest truth of the run
	fullEver  bool
	overrunH  float64 // first overrun, NaN when none
	overrun   charge.Overrun
	worstSoc  float64 // largest error of the estimate beyond its own range
	errSoc    float64 // largest error of the estimate
	doubt     charge.Doubt
	each      func(row chargetest.Row, s *charge.Status)
}

func (s *seen) String() string {
	if !s.fullEver {
		return "never full"
	}
	return fmt.Sprintf("full after %.1f h by %v, true charge %.3f then, %.3f at most", s.fullAtH, s.evidence, s.socAtFull, s.topSoc)
}

func at(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// follow sends a series through a tracker. Like a replay it holds sparse columns
// for a quarter of an hour.
func follow(cfg charge.Config, cells int, rows chargetest.Series) *seen {
	return followWith(charge.New(cfg), cells, rows, nil)
}

func followWith(tr *charge.Tracker, cells int, rows chargetest.Series, each func(chargetest.Row, *charge.Status)) *seen {
	out := &seen{t: tr, fullAtH: math.NaN(), overrunH: math.NaN(), topSoc: math.Inf(-1), each: each}
	var in charge.Inputs
	var v, a, c, done reading.Reading
	for _, r := range rows {
		now := at(r.S)
		put(&v, r.PackV/float64(cells), now)
		put(&a, r.A, now)
		put(&c, r.C, now)
		put(&done, r.Complete, now)
		const hold = 15 * time.Minute
		in = charge.Inputs{Now: now, CellV: v.Aged(now, hold), CurrentA: a.Aged(now, hold), PackC: c.Aged(now, hold), Complete: done.Aged(now, hold)}
		tr.Step(&in)
		out.note(r)
	}
	out.status = *tr.Status()
	return out
}

func put(r *reading.Reading, v float64, now time.Duration) {
	if !math.IsNaN(v) {
		*r = reading.Good(v, now)
	}
}

func (s *seen) note(r chargetest.Row) {
	st := s.t.Status()
	if st.Full {
		if !s.fullEver {
			s.fullEver, s.fullAtH, s.evidence, s.socAtFull = true, r.S/3600, st.Evidence, r.Soc
		}
	}
	if !math.IsNaN(r.Soc) {
		s.topSoc = max(s.topSoc, r.Soc)
	}
	if o := s.t.Overrun(); (o.Hours || o.AmpereHours) && math.IsNaN(s.overrunH) {
		s.overrunH, s.overrun = r.S/3600, o
	}
	if st.SocKnown && !math.IsNaN(r.Soc) {
		e := math.Abs(st.Soc - r.Soc)
		s.errSoc = max(s.errSoc, e)
		s.worstSoc = max(s.worstSoc, e-st.SocPlus)
	}
	s.doubt = max(s.doubt, st.Doubt)
	if s.each != nil {
		s.each(r, st)
	}
}
