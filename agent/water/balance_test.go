package water_test

import (
	"math"
	"testing"
	"time"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// TestRod: a single rod measures only the moment when the level passes it. Before
// that, amounts are unknown; from then on the balance counts, and its figure agrees
// with what the rod shows.
func TestRod(t *testing.T) {
	const dry, wet, rodMM = -30.0, 30.0, 4.0
	r := &rig{Balance: water.New(pack())}
	if s := r.wait(time.Minute, rodMM, wet); s.Known {
		t.Fatalf("a rod that was always wet gives a level of %.1f mm", s.SettledMM)
	}
	for range 20 {
		r.wait(time.Minute, rodMM, wet)
	}
	for i := range 9 {
		if s := r.wait(time.Minute, dry, rodMM); s.Known {
			t.Fatalf("the rod counts after %d minutes; bubbles and slosh can do that, too", i)
		}
	}
	var s *water.Status
	for range 3 {
		s = r.wait(time.Minute, dry, rodMM)
	}
	if !s.Known || math.Abs(s.SettledMM-rodMM) > 0.01 || s.NeedML[0] > 13*9 {
		t.Fatalf("passed the rod at 4 mm: known %v, %.2f mm, %.0f ml", s.Known, s.SettledMM, s.NeedML[0])
	}
	for i := range 12 { // the rod of one cell shows nothing of the others
		r.Level(i+1, rodMM)
	}
	if s = r.wait(time.Minute, dry, rodMM); math.Abs(s.NeedML[0]-13*9) > 0.5 {
		t.Fatalf("read at 4 mm: %.0f ml", s.NeedML[0])
	}
	r.lose(2)
	if s = r.wait(time.Minute, dry, rodMM); math.Abs(s.SettledMM-2) > 0.01 {
		t.Errorf("2 mm of water later: %.2f mm", s.SettledMM)
	}
	var given [water.MaxCells]float64
	for i := range 12 {
		given[i] = 13 * 11
	}
	r.wait(time.Minute, rodMM, wet)
	r.Filled(&given, 0, 2, true, r.in.GassingAh)
	if s = r.wait(time.Minute, rodMM, wet); !s.Known || math.Abs(s.SettledMM-13) > 0.01 {
		t.Errorf("11 mm poured on 2: known %v, %.2f mm", s.Known, s.SettledMM)
	}
	r.lose(12) // the rod stays wet: less was lost than counted
	if s = r.wait(time.Minute, rodMM, wet); s.SettledMM != rodMM || s.ApartMM < 2.9 {
		t.Errorf("the rod at 4 mm is wet, the balance at 1: %.2f mm, %.2f apart", s.SettledMM, s.ApartMM)
	}
}

// TestRodAndLevelRod: one level reading gives a probe rod's balance its start.
func TestRodAndLevelRod(t *testing.T) {
	r := &rig{Balance: water.New(pack())}
	r.wait(time.Minute, 4, 30)
	if why := r.Level(5, 11); why != water.NotRejected {
		t.Fatal(why)
	}
	if s := r.wait(time.Minute, 4, 30); !s.Known || math.Abs(s.SettledMM-11) > 0.01 {
		t.Errorf("known %v, %.2f mm, want 11", s.Known, s.SettledMM)
	}
}

// TestALeakPartsLevelAndBalance: a cell that loses 0.2 mm a day on top of 0.3 by
// gassing shows up within the weeks between two fills; gassing alone, even a third
// off, does not.
func TestALeakPartsLevelAndBalance(t *testing.T) {
	for _, c := range []struct {
		name          string
		scale, leakMM float64
		want          bool
	}{
		{"as predicted", 1, 0, false}, {"a third more gassing than counted", 1.33, 0, false},
		{"a leak", 1, 0.3, true}, {"no loss at all: water not recorded", 0, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(pack(), 13)
			level, worst := 13.0, 0.0
			for range 20 {
				r.lose(0.3)
				level -= 0.3*c.scale + c.leakMM
				s := r.wait(24*time.Hour, level, level)
				if s.PredictOK {
					worst = max(worst, math.Abs(s.ApartMM))
				}
			}
			if parted := worst > 4; parted != c.want { // the finding's own limit
				t.Errorf("%.1f mm apart after 20 days", worst)
			}
		})
	}
}

// TestChargeIsNotJudged: while the electrolyte contains gas the balance is not
// judged, and the gas is subtracted from the level.
func TestChargeIsNotJudged(t *testing.T) {
	r := newRig(pack(), 8)
	r.in.Gassing = true
	for range 180 {
		r.wait(time.Minute, 11, 11) // 3 mm of gas
	}
	s := r.wait(time.Minute, 11, 11)
	if s.PredictOK || math.Abs(s.SettledMM-8) > 0.5 {
		t.Errorf("on charge: judged %v, settled %.2f mm, want about 8", s.PredictOK, s.SettledMM)
	}
	r.in.Gassing, r.in.AnyCharge, r.in.ChargeEnded = false, true, r.now
	for i := range 59 {
		if s := r.wait(time.Minute, 8, 8); s.PredictOK {
			t.Fatalf("judged %d minutes after the charge", i+1)
		}
	}
	r.wait(2*time.Minute, 8, 8)
	if s := r.Status(); !s.PredictOK || math.Abs(s.ApartMM) > 0.5 {
		t.Errorf("after an hour: judged %v, %.2f mm apart", s.PredictOK, s.ApartMM)
	}
}

// TestUnknownIsUnknown: without a level or a temperature there are no amounts.
func TestUnknownIsUnknown(t *testing.T) {
	r := newRig(pack(), 8)
	r.in.PackC = reading.Bad(reading.NoAnswer, r.now)
	if s := r.stand(8, 8); s.Known || s.ForecastOK || s.TotalML != 0 || s.Due {
		t.Errorf("without a temperature: %+v", s.Known)
	}
	r.in.PackC, r.in.Level = reading.Good(25, r.now), reading.Level{At: r.now, Fault: reading.Short}
	r.Step(&r.in)
	if s := r.Status(); s.Known || s.TotalML != 0 {
		t.Errorf("without a level: known %v, %.0f ml", s.Known, s.TotalML)
	}
}

// TestNextRound adds up the water for a yard.
func TestNextRound(t *testing.T) {
	low, full, blind := newRig(pack(), 8).Status(), newRig(pack(), 12.5).Status(), (&rig{Balance: water.New(pack())}).Status()
	got := water.NextRound([]*water.Status{low, full, blind})
	want := water.Round{DueML: 12 * 13 * 5, AllML: 12*13*5 + 12*13*0.5, Due: 1, Unknown: 1}
	if math.Abs(got.DueML-want.DueML) > 1e-6 || math.Abs(got.AllML-want.AllML) > 1e-6 || got.Due != 1 || got.Unknown != 1 {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

// TestStepDoesNotAllocate: every bay ticks each second, for years.
func TestStepDoesNotAllocate(t *testing.T) {
	r := newRig(pack(), 8)
	if n := testing.AllocsPerRun(1000, func() { r.stand(8, 8) }); n > 0 {
		t.Errorf("%.1f allocations in a step", n)
	}
}
