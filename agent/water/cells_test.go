package water_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// TestHandReadings lists the allowed effects of one level reading: always safe,
// never less safe before a second one agrees.
func TestHandReadings(t *testing.T) {
	for _, c := range []struct {
		name    string
		levels  []float64 // of cell 3, the pilot is at 8 mm
		lowMM   float64   // how far below the pilot the lowest cell counts
		needML  float64   // of cell 3
		doubted bool
	}{
		{"no reading", nil, 0, 13 * 5, false},
		{"as the estimate", []float64{8}, 0, 13 * 5, false},
		{"a little lower", []float64{6}, -2, 13 * 7, false},
		{"much lower: low at once, and no more water than fits if it is wrong", []float64{-1}, -9, 13 * (17 - 8), true},
		{"much lower, twice", []float64{-1, -1.5}, -9.5, 13 * 14.5, false},
		{"wrong sign, then the truth", []float64{-8, 8.5}, -16, 13 * 4.5, true},
		{"wrong sign, then the truth twice", []float64{-8, 8.5, 8}, 0, 13 * 5, false},
		{"much higher: less water at once", []float64{14}, 0, 0, true},
		{"low, then high once: still low", []float64{2, 2, 9}, -6, 13 * 4, true},
		{"low, then high twice", []float64{2, 2, 9, 9}, 0, 13 * 4, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(pack(), 8)
			for _, mm := range c.levels {
				if why := r.Level(3, mm); why != water.NotRejected {
					t.Fatal(why)
				}
			}
			s := r.stand(8, 8)
			if math.Abs(r.LowestMM()-c.lowMM) > 0.01 {
				t.Errorf("the lowest cell counts %.2f mm below the pilot, want %.2f", r.LowestMM(), c.lowMM)
			}
			// A cell that nobody read before may be higher than the pilot by what usual cells
			// differ, 1.3 mm, and by the error of the probe, 0.8 mm.
			if limit := 13 * (s.CeilingMM - 8 - 2*math.Hypot(1.3, 0.8)); c.needML == 13*(17-8) {
				c.needML = limit
			}
			if math.Abs(s.NeedML[2]-c.needML) > 0.01 {
				t.Errorf("%.1f ml, want %.1f", s.NeedML[2], c.needML)
			}
			if doubted := len(s.DoubtedCells()) == 1 && s.DoubtedCells()[0] == 3; doubted != c.doubted {
				t.Errorf("doubted %v, want %v", s.DoubtedCells(), c.doubted)
			}
		})
	}
}

// TestImpossibleHandReadings: each is refused with a reason.
func TestImpossibleHandReadings(t *testing.T) {
	r := newRig(pack(), 8)
	for _, c := range []struct {
		cell int
		mm   float64
		want water.Rejected
	}{
		{0, 5, water.NoSuchCell}, {13, 5, water.NoSuchCell}, {1, 5, water.NotRejected}, {12, 5, water.NotRejected},
		{3, 80, water.AboveVentWell}, {3, math.NaN(), water.AboveVentWell}, {3, 52.1, water.AboveVentWell},
	} {
		if why := r.Level(c.cell, c.mm); why != c.want {
			t.Errorf("cell %d at %v mm: %v, want %v", c.cell, c.mm, why, c.want)
		}
	}
	r.stand(8, 8)
	low := r.LowestMM()
	r.in.PackC = reading.Bad(reading.Open, r.now)
	r.stand(8, 8)
	if why := r.Level(3, 5); why != water.NoTemperature {
		t.Errorf("without a temperature: %v", why)
	}
	if r.LowestMM() != low {
		t.Errorf("a refused reading moved a cell: %.1f mm", r.LowestMM())
	}
}

// TestOwnUse: a cell that uses 50 % more than the pilot, measured at two visits, is
// expected lower as the water goes down, and decides when to water.
func TestOwnUse(t *testing.T) {
	r := newRig(pack(), 13)
	for i := range 12 {
		r.Level(i+1, 13)
	}
	r.lose(6)
	r.stand(7, 7)
	for i := range 12 {
		level := 7.0
		if i == 6 {
			level = 4 // lost 9 mm while the pilot lost 6
		}
		r.Level(i+1, level)
	}
	if s := r.stand(7, 7); s.LowCell != 7 || math.Abs(s.LowMM-4) > 0.1 {
		t.Errorf("lowest is cell %d at %.2f mm, want cell 7 at 4", s.LowCell, s.LowMM)
	}
	r.lose(2)
	s := r.stand(5, 5)
	if s.LevelMM[6] > 2-0.3 || s.LevelMM[6] < 1 {
		t.Errorf("cell 7 is estimated at %.2f mm, want 1 (its whole own use) to 1.7 (what one pair of readings proves)", s.LevelMM[6])
	}
	if math.Abs(s.LevelMM[0]-5) > 0.3 {
		t.Errorf("cell 1 is estimated at %.2f mm, want 5", s.LevelMM[0])
	}
}

// TestUnmeasuredCellsMayUseMore: without hand readings the lowest cell counts as
// below the pilot by 15 % of the water lost since the last fill.
func TestUnmeasuredCellsMayUseMore(t *testing.T) {
	r := newRig(pack(), 13)
	r.lose(8)
	s := r.stand(5, 5)
	if want := -0.15 * 8; math.Abs(r.LowestMM()-want) > 0.02 || math.Abs(s.LevelMM[4]-5) > 0.01 {
		t.Errorf("lowest %.2f mm below the pilot, want %.2f; likely level %.2f, want 5", r.LowestMM(), want, s.LevelMM[4])
	}
}

// TestPouredWaterProvesNoLevel: a cell that took twice the water of the others
// either was lower or overflowed. It gets no more water than fits, and the permit
// does not rely on it.
func TestPouredWaterProvesNoLevel(t *testing.T) {
	r := newRig(pack(), 6)
	var given [water.MaxCells]float64
	for i := range 12 {
		given[i] = 13 * 7
	}
	given[3] = 2 * 13 * 7
	for range 3 {
		r.lose(7)
		r.stand(6, 6)
		r.stand(13, 13)
		r.Filled(&given, 0, 6, true, r.in.GassingAh)
		r.stand(13, 13)
	}
	r.lose(7)
	s := r.stand(6, 6)
	if s.NeedML[3] > 0 {
		t.Errorf("%.0f ml for a cell that was given 21 mm more than the others", s.NeedML[3])
	}
	if r.LowestMM() > -6.5 || s.LowCell != 4 {
		t.Errorf("lowest is cell %d, %.2f mm below the pilot; a cell of twice the use may have lost 7 mm more", s.LowCell, r.LowestMM())
	}
}

// TestAnyReadings draws orders and readings and checks the promises of the package:
// one reading never makes a cell count higher, no amount passes the ceiling by any
// estimate, and a memory restores the same estimate.
func TestAnyReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := pack()
		r := newRig(cfg, rapid.Float64Range(-5, 15).Draw(t, "level"))
		level := r.Status().SettledMM
		for range rapid.IntRange(1, 30).Draw(t, "n") {
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0:
				drop := rapid.Float64Range(0, 5).Draw(t, "drop")
				r.lose(drop)
				level -= drop
				r.wait(time.Hour, level, level)
			case 1:
				cell, read := rapid.IntRange(1, 12).Draw(t, "cell"), rapid.Float64Range(-60, 50).Draw(t, "level")
				before := r.LowestMM()
				doubted := r.Status().Doubted&(1<<(cell-1)) != 0
				r.Level(cell, read)
				if after := r.LowestMM(); !doubted && after > before+3.01 {
					t.Fatalf("one reading of %.1f mm raised the lowest cell from %.2f to %.2f mm", read, before, after)
				}
			case 2:
				var given [water.MaxCells]float64
				before := r.stand(level, level)
				for i := range 12 {
					given[i] = before.NeedML[i]
				}
				settled := before.SettledMM
				level += given[0] / 13
				r.stand(level, level)
				r.Filled(&given, 0, settled, true, r.in.GassingAh)
			case 3:
				r = again(t, r, cfg)
			}
			s := r.stand(level, level)
			for i := range 12 {
				if s.NeedML[i] < 0 || s.LevelMM[i]+s.NeedML[i]/13 > max(s.CeilingMM, s.LevelMM[i])+1e-6 {
					t.Fatalf("cell %d: %.1f ml on %.1f mm passes the ceiling of %.1f mm", i+1, s.NeedML[i], s.LevelMM[i], s.CeilingMM)
				}
			}
			if low := r.LowestMM(); low > 0 || math.IsNaN(low) {
				t.Fatalf("the lowest cell is %.2f mm above the pilot", low)
			}
		}
	})
}

// again restarts from a stored memory.
func again(t interface {
	Fatalf(format string, args ...any)
}, r *rig, cfg water.Config,
) *rig {
	raw, err := json.Marshal(r.Memory())
	if err != nil {
		t.Fatalf("store: %v", err)
	}
	var m water.Memory
	if err := json.Unmarshal(raw, &m); err != nil || !m.Valid(cfg.Cells) {
		t.Fatalf("restore: %v, %s", err, raw)
	}
	next := &rig{Balance: water.New(cfg), now: r.now, in: r.in}
	next.Restore(&m, r.now, 0)
	next.Step(&next.in)
	a, b := *r.Status(), *next.Status()
	if math.Abs(a.LowMM-b.LowMM) > 0.001 || a.Doubted != b.Doubted || a.OddRatio != b.OddRatio {
		t.Fatalf("before the restart: low %v, doubted %b; after: %v, %b", a.LowMM, a.Doubted, b.LowMM, b.Doubted)
	}
	return next
}

// TestMemoryOfAnOlderProgram has offsets and no cells; damaged memories are
// detected.
func TestMemoryOfAnOlderProgram(t *testing.T) {
	var old water.Memory
	raw := `{"offset_mm":[0,0,-4,0,0,0,0,0,0,0,0,0],"anchored":true,"anchor_mm":13,"anchor_ah":100,"began_ago_s":8640000,"began_ah":50,"began":true}`
	if err := json.Unmarshal([]byte(raw), &old); err != nil || !old.Valid(12) {
		t.Fatalf("an older memory is refused: %v", err)
	}
	r := &rig{Balance: water.New(pack())}
	r.Restore(&old, 0, 0)
	r.in.GassingAh = 120
	if s := r.stand(10, 10); math.Abs(r.LowestMM()+4) > 0.2 || s.ForecastHi < 5*s.ForecastLo {
		t.Errorf("lowest %.2f mm, want -4; forecast %.0f to %.0f h, want a wide one before a day is on record", r.LowestMM(), s.ForecastLo, s.ForecastHi)
	}
	for name, hurt := range map[string]func(m *water.Memory){
		"too few offsets": func(m *water.Memory) { m.OffsetMM = m.OffsetMM[:3] },
		"not a number":    func(m *water.Memory) { m.AnchorMM = math.NaN() },
		"negative age":    func(m *water.Memory) { m.BeganAgoS = -1 },
		"too few cells":   func(m *water.Memory) { m.Cells = make([]water.Cell, 3) },
		"use of 0":        func(m *water.Memory) { m.Cells = make([]water.Cell, 12) },
		"too many days":   func(m *water.Memory) { m.DaysML = make([]float64, 400) },
		"scale of 1000":   func(m *water.Memory) { m.Scale, m.ScaleSE = 1000, 0.1 },
	} {
		m := old
		m.OffsetMM = append([]float64(nil), old.OffsetMM...)
		hurt(&m)
		if m.Valid(12) {
			t.Errorf("%s: accepted as valid", name)
		}
	}
}
