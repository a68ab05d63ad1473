package notify

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// picture is a picture of a bay at rest at a time, changed by each function.
func picture(at time.Duration, changes ...func(*bay.Picture)) *bay.Picture {
	p := &bay.Picture{Bay: "bay-1", Pack: &bay.Pack{Cells: 3}, Now: at, Stage: bay.Waiting}
	p.Water.Cells = 3
	for _, change := range changes {
		change(p)
	}
	return p
}

func stage(s bay.Stage) func(*bay.Picture) { return func(p *bay.Picture) { p.Stage = s } }

func full(p *bay.Picture) { p.Charge.Full = true }

func raised(c interlock.Code, since time.Duration) func(*bay.Picture) {
	return func(p *bay.Picture) {
		f := &p.Findings[c]
		f.Raised, f.Since = true, since
		f.Evidence = interlock.Evidence{Value: -4, Limit: 3, Fault: reading.Open}
	}
}

func visited(since time.Duration) func(*bay.Picture) {
	return func(p *bay.Picture) {
		p.Stage, p.Visit = bay.Watering, bay.Visit{Open: true, By: "Ann", Since: since}
		raised(interlock.VisitOpen, since)(p)
	}
}

func water(p *bay.Picture) {
	p.Stage, p.Water.Known, p.Water.TotalML = bay.ReadyToWater, true, 341.9
	copy(p.Water.NeedML[:], []float64{120.9, 121, 100})
	copy(p.Water.CoverPlatesML[:], []float64{40.9, 41, 42.2})
}

// reads is a round of level readings that is due, of cells 3 and 1.
func reads(p *bay.Picture) {
	p.Water.ReadDue, p.Water.ReadDueH, p.Water.ReadDueOK = true, 72, true
	p.Water.ReadAsk, p.Water.ReadFirst[0], p.Water.ReadFirst[1] = 0b101, 3, 1
}

const (
	sec    = time.Second
	minute = time.Minute
)

func lasts(hours float64) func(*bay.Picture) { return ranges(hours, hours) }

// ranges is a forecast with the early end of its range, h.
func ranges(hours, early float64) func(*bay.Picture) {
	return func(p *bay.Picture) {
		p.Water.ForecastOK, p.Water.ForecastH, p.Water.ForecastLo = true, hours, early
	}
}

// TestLife: what a bay's notice is, picture by picture. "-" is no change.
func TestLife(t *testing.T) {
	bare, stuck := raised(interlock.PlatesBare, 0), raised(interlock.ContactorStuck, 0)
	for name, row := range map[string]struct {
		pictures []*bay.Picture
		want     []string
	}{
		"nothing, reported once after checking": {
			[]*bay.Picture{picture(0, stage(bay.StageUnknown)), picture(sec, stage(bay.Checking)), picture(2 * sec), picture(3 * sec)},
			[]string{"-", "-", "nothing settled", "-"},
		},
		"something, reported at once": {
			[]*bay.Picture{picture(0, stage(bay.Checking), bare), picture(sec, stage(bay.Checking), bare)},
			[]string{"cover-plates raised", "-"},
		},
		"ready to water": {
			[]*bay.Picture{picture(0, full), picture(sec, full, water), picture(2*sec, full, water), picture(3*sec, full, visited(3*sec)), picture(4*sec, full, visited(3*sec)), picture(5*sec, full, stage(bay.Rested))},
			[]string{"nothing settled", "ready-to-water raised", "-", "ready-to-water seen", "-", "ready-to-water settled"},
		},
		"a visit that did not help": {
			[]*bay.Picture{picture(0, bare), picture(sec, visited(sec), bare), picture(2*sec, bare)},
			[]string{"cover-plates raised", "cover-plates seen", "cover-plates raised"},
		},
		"a visit to a pack that needs nothing": {
			[]*bay.Picture{picture(0), picture(sec, full, water), picture(2*sec, full, stage(bay.Rested)), picture(3*sec, full, visited(3*sec)), picture(4*sec, full, stage(bay.Rested))},
			[]string{"nothing settled", "ready-to-water raised", "ready-to-water settled", "-", "-"},
		},
		"a stuck contactor comes up during a visit": {
			[]*bay.Picture{picture(0, full, water), picture(sec, visited(sec)), picture(2*sec, visited(sec), stuck), picture(3*sec, visited(sec), stuck), picture(4*sec, visited(sec)), picture(5 * sec)},
			[]string{"ready-to-water raised", "ready-to-water seen", "contactor-stuck raised", "-", "contactor-stuck settled", "-"},
		},
		"the most pressing first": {
			[]*bay.Picture{picture(0, full, water, bare, stuck), picture(sec, full, water, bare), picture(2*sec, full, water), picture(3*sec, full)},
			[]string{"contactor-stuck raised", "cover-plates raised", "ready-to-water raised", "ready-to-water settled"},
		},
		"no pack, no plates": {
			[]*bay.Picture{picture(0, stage(bay.Vacant), bare), picture(time.Hour, stage(bay.Vacant), raised(interlock.LevelUnknown, 0))},
			[]string{"nothing settled", "-"},
		},
		"blocked for long": {
			[]*bay.Picture{picture(0, raised(interlock.LevelUnknown, 0)), picture(10*minute-sec, raised(interlock.LevelUnknown, 0)), picture(10*minute, raised(interlock.LevelUnknown, 0)), picture(11*minute, raised(interlock.LevelUnknown, 0)), picture(12 * minute)},
			[]string{"nothing settled", "-", "probe-failed raised", "-", "probe-failed settled"},
		},
		"level readings due, once for each round": {
			[]*bay.Picture{picture(0, reads), picture(sec, reads, full), picture(2*sec, reads, full, water), picture(3*sec, reads, full), picture(4*sec, reads, visited(4*sec)), picture(5 * sec), picture(6*sec, reads), picture(7 * sec)},
			[]string{"levels-due raised", "-", "ready-to-water raised", "ready-to-water settled", "-", "-", "levels-due raised", "levels-due settled"},
		},
		"level readings due where no battery is": {
			[]*bay.Picture{picture(0, reads, stage(bay.Vacant))},
			[]string{"nothing settled"},
		},
		"blocked for another reason": {
			[]*bay.Picture{picture(10*minute, raised(interlock.LevelUnknown, 0)), picture(20*minute, raised(interlock.PackHot, 0)), picture(21*minute, raised(interlock.PackHot, 0))},
			[]string{"probe-failed raised", "charge-blocked raised", "-"},
		},
		"a visit that is never closed": {
			[]*bay.Picture{picture(0, full, water), picture(sec, full, visited(sec)), picture(90*minute, full, visited(sec)), picture(90*minute+sec, full, visited(sec)), picture(91*minute, full, visited(sec)), picture(92*minute, full)},
			[]string{"ready-to-water raised", "ready-to-water seen", "-", "visit-forgotten raised", "-", "visit-forgotten settled"},
		},
		"water for a week": {
			[]*bay.Picture{picture(0, full, lasts(8*24)), picture(sec, full, lasts(6.9*24)), picture(2*sec, full, lasts(7.5*24)), picture(3*sec, full, lasts(8.1*24)), picture(4*sec, full, lasts(7.5*24))},
			[]string{"nothing settled", "water-soon raised", "-", "water-soon settled", "-"},
		},
		"a forecast that wavers, and is gone for a moment": {
			[]*bay.Picture{picture(0, lasts(6*24)), picture(sec, ranges(9*24, 6*24)), picture(2 * sec), picture(3*sec, ranges(6*24, 4*24)), picture(4*sec, lasts(9*24)), picture(5*sec, ranges(7.5*24, 5*24))},
			[]string{"water-soon raised", "-", "-", "-", "water-soon settled", "-"},
		},
		"a visit ends water soon, although the range is wide": {
			[]*bay.Picture{picture(0, lasts(6*24)), picture(sec, visited(sec)), picture(2*sec, ranges(8*24, 5*24)), picture(3*sec, lasts(6*24))},
			[]string{"water-soon raised", "water-soon seen", "water-soon settled", "water-soon raised"},
		},
		"a call that nobody comes to": {
			[]*bay.Picture{picture(0, lasts(6*24)), picture(sec, full, water, lasts(48)), picture(2*sec, lasts(48)), picture(3*sec, full, water, lasts(24)), picture(4*sec, lasts(24)), picture(5*sec, visited(5*sec), lasts(24)), picture(6*sec, lasts(24))},
			[]string{"water-soon raised", "ready-to-water raised", "ready-to-water settled", "ready-to-water raised", "ready-to-water settled", "-", "water-soon raised"},
		},
		"a call that was answered without a visit": {
			[]*bay.Picture{picture(0, full, water), picture(sec, lasts(20*24)), picture(2*sec, lasts(6*24))},
			[]string{"ready-to-water raised", "ready-to-water settled", "water-soon raised"},
		},
		"blocked, and another finding comes and goes": {
			[]*bay.Picture{
				picture(10*minute, raised(interlock.TemperatureUnknown, 0)), picture(11*minute, raised(interlock.TemperatureUnknown, 0), raised(interlock.LevelUnknown, 11*minute)),
				picture(12*minute, raised(interlock.TemperatureUnknown, 0)), picture(13*minute, raised(interlock.LevelUnknown, 13*minute)),
			},
			[]string{"probe-failed raised", "-", "-", "probe-failed settled"},
		},
		"blocked, and another finding stays": {
			[]*bay.Picture{picture(10*minute, raised(interlock.PackHot, 0)), picture(12*minute, raised(interlock.PackHot, 0), raised(interlock.LevelUnknown, 11*minute)), picture(21*minute, raised(interlock.PackHot, 0), raised(interlock.LevelUnknown, 11*minute))},
			[]string{"charge-blocked raised", "-", "probe-failed raised"},
		},
		"warm, then gas, whoever is there": {
			[]*bay.Picture{picture(0, raised(interlock.PackWarm, 0)), picture(sec, full, water), picture(2*sec, full, visited(2*sec)), picture(3*sec, full, visited(2*sec), raised(interlock.HydrogenWarning, 3*sec)), picture(4*sec, full)},
			[]string{"pack-warm raised", "ready-to-water raised", "ready-to-water seen", "hydrogen-warning raised", "hydrogen-warning settled"},
		},
		"a hold is deliberate": {
			[]*bay.Picture{picture(0), picture(time.Hour, raised(interlock.Held, 0))},
			[]string{"nothing settled", "-"},
		},
		"a full pack needs no charge": {
			[]*bay.Picture{picture(0), picture(time.Hour, full, stage(bay.Cooling), raised(interlock.TemperatureUnknown, 0))},
			[]string{"nothing settled", "-"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			var w Watch
			for i, p := range row.pictures {
				n, changed := w.Update(p)
				got := "-"
				if changed {
					got = fmt.Sprintf("%s %s", n.Kind, n.State)
				}
				if got != row.want[i] {
					t.Errorf("picture %d: %s, want %s", i, got, row.want[i])
				}
				if changed && (n.At != p.Now) {
					t.Errorf("picture %d: %+v at %s", i, n, p.Now)
				}
			}
		})
	}
}

// TestWords: amounts are rounded down, each cell's is named, and a notice includes
// what to do.
func TestWords(t *testing.T) {
	fill := func(p *bay.Picture) {
		water(p)
		p.Stage = bay.Waiting
		raised(interlock.PlatesBare, 0)(p)
	}
	unknown := func(p *bay.Picture) { fill(p); p.Water.Known = false }
	v := words.EnglishSI()
	for name, row := range map[string]struct {
		p         *bay.Picture
		says, not string
		do        string
	}{
		"water":             {picture(0, full, water), "341 ml in total. cell 1: 120 ml; cell 2: 121 ml; cell 3: 100 ml.", "342", "never past the bottom of the vent well"},
		"cover":             {picture(0, fill), "no more: 123 ml in total. cell 1: 40 ml; cell 2: 41 ml; cell 3: 42 ml.", "120", "just enough pure water"},
		"cover, not known":  {picture(0, unknown), "plate", "Water to cover", "just enough pure water"},
		"water and read":    {picture(0, full, water, reads), "Read these cells first: 3, 1. About 2 minutes. Water up to", "", "never past the bottom of the vent well"},
		"only read":         {picture(0, full, stage(bay.ReadyToWater), reads), "ready for level readings. Read these cells first: 3, 1.", "ready to water", "level rod"},
		"levels due":        {picture(0, reads), "Levels must be read within 3 days: cells 3, 1.", "", "level rod"},
		"levels doubted":    {picture(time.Hour, reads, raised(interlock.LevelDoubted, 0)), "Read these cells first: 3, 1.", "within", "level rod"},
		"stuck contactor":   {picture(0, raised(interlock.ContactorStuck, 0)), "contactor", "", "switch the charger off"},
		"blocked, no probe": {picture(time.Hour, raised(interlock.LevelUnknown, 0)), "wire broken", "", "probe"},
	} {
		var w Watch
		n, _ := w.Update(row.p)
		text, do := v.Notice(n.Kind.String(), false, row.p)
		if !strings.Contains(text, row.says) || row.not != "" && strings.Contains(text, row.not) || !strings.Contains(do, row.do) {
			t.Errorf("%s: %q, to do: %q", name, text, do)
		}
	}
}

// TestEveryNoticeIsWorded: each kind, raised and settled, in each language and
// in each system of units.
func TestEveryNoticeIsWorded(t *testing.T) {
	for _, language := range words.Languages() {
		for _, units := range words.Systems() {
			v := words.New(language, units)
			for k := Nothing; k < NumKinds; k++ {
				p := picture(time.Hour, water, lasts(50), raised(interlock.LevelUnknown, 0))
				for _, settled := range []bool{false, true} {
					text, do := v.Notice(k.String(), settled, p)
					for what, part := range map[string]string{"title": v.NoticeTitle(k.String(), settled, "bay-1"), "text": text, "what to do": do} {
						if part == "" && (what != "what to do" || !settled) || strings.ContainsAny(part, "⟦") || strings.Contains(part, "%!") {
							t.Errorf("%s, %s, %v: %s %q", language, k, settled, what, part)
						}
					}
				}
			}
		}
	}
}

func TestNames(t *testing.T) {
	for got, want := range map[string]string{
		Nothing.String(): "nothing", ChargeBlocked.String(): "charge-blocked", ReadyToWater.String(): "ready-to-water",
		CoverPlates.String(): "cover-plates", ContactorStuck.String(): "contactor-stuck", Kind(99).String(): "nothing",
		Settled.String(): "settled", Raised.String(): "raised", Seen.String(): "seen",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
