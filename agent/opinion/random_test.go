package opinion

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
)

// drawn is a yard of cells and people as chance has them.
type drawn struct {
	*yard
	person *person
	said   string // of the draw, for a failure
	// records: all that is asked is read, by a rod and its errors, and all that is poured is
	// recorded. Only then are the amounts proposed anybody's fault but the reader's.
	records bool
	leaks   bool
}

// drawYard draws a pack of 6 to 40 cells of half to twice the pilot's use, now and then with
// a jar that leaks, and the people who look after it.
func drawYard(t *testing.T, r *rapid.T, days int) *drawn {
	share := func(what string) float64 { return float64(rapid.IntRange(0, 100).Draw(r, what)) / 100 }
	cells := rapid.IntRange(6, 40).Draw(r, "cells")
	pilot := rapid.IntRange(0, cells).Draw(r, "pilot")
	y := newYard(t, rapid.Uint64Range(0, 1<<32).Draw(r, "seed"), func(s *bay.Setup) {
		s.Pack.Cells, s.Pack.ProbeCell = cells, pilot
	})
	spread := share("how far the uses differ")
	for i := range y.cells {
		if i+1 != y.pilot {
			y.cells[i].use = math.Exp2(spread * (2*y.rand.Float64() - 1))
		}
		y.cells[i].ml += levelsSD * y.setup.Pack.FreeSurfaceCM2 / 10 * y.rand.NormFloat64()
	}
	y.lawTimes = math.Exp2(share("gassing") - 0.5)
	y.errors = errors{levelMM: probeSD * (2*share("probe") - 1), noiseMM: probeNoise, ampShare: ampSD * (2*share("shunt") - 1)}
	y.habits = habits{share: 0.3 + 0.4*share("depth"), varies: 0.2}
	d := &drawn{yard: y, records: true}
	d.people(r)
	if rapid.IntRange(0, 2).Draw(r, "leaks") == 0 {
		cell, from, mm := rapid.IntRange(1, cells).Draw(r, "leaking cell"), time.Duration(rapid.IntRange(0, days).Draw(r, "from day"))*day, 0.2+2*share("leak")
		d.leaks = true
		d.said += fmt.Sprintf(", cell %d leaks %.1f mm a day from %v", cell, mm, from)
		y.leak = func(dt time.Duration) {
			if y.now > from {
				y.pour(cell, -mm*y.setup.Pack.FreeSurfaceCM2/10*dt.Hours()/24)
			}
		}
	}
	return d
}

// people draws who looks after it. Half of them are careless in one way.
func (d *drawn) people(r *rapid.T) {
	share := func(what string) float64 { return float64(rapid.IntRange(0, 100).Draw(r, what)) / 100 }
	p := &person{reads: true, measures: rapid.Bool().Draw(r, "measures"), pours: func(*yard) {}, rodSDMM: 0.3 + (rodSD-0.3)*share("rod"), jugShare: jugSD}
	p.rodMM = [3]float64{0, 2.5, -2.5}[rapid.IntRange(0, 2).Draw(r, "reads too high or low")] * share("by")
	d.person = p
	if way := rapid.IntRange(0, 2*len(waterers)-1).Draw(r, "waters"); way < len(waterers) {
		p.waters, d.said = waterers[way].water, ", waters: "+waterers[way].name
	}
	switch rapid.IntRange(0, 7).Draw(r, "careless") {
	case 0:
		p.skips = rapid.IntRange(1, len(d.cells)).Draw(r, "passes over")
	case 1:
		p.forgets = rapid.IntRange(2, 6).Draw(r, "forgets to record each")
	case 2:
		p.lazy = share("leaves out")
	case 3:
		p.slips = rapid.IntRange(4, 40).Draw(r, "misreads each")
	}
	d.records = p.skips+p.forgets+p.slips == 0 && p.lazy == 0
}

func (d *drawn) String() string {
	p := d.person
	return fmt.Sprintf("%d cells, probe in %d, measures %v, read %.1f mm too high by a rod of %.1f mm, passes over %d, forgets each %d, leaves out %.2f, misreads each %d%s: %d visits, %d readings, charged %.0f h, blocked by %v; %v",
		len(d.cells), d.pilot, p.measures, p.rodMM, p.rodSDMM, p.skips, p.forgets, p.lazy, p.slips, d.said, p.visits, p.readings, d.oracle.total.Hours(), d.blockers(), &d.oracle)
}

// judged holds a yard to the promise. A leak is found by the readings that come too low, so
// it has the time of the hazard log.
func (d *drawn) judged(t require.TestingT) {
	bareMost, overMost := time.Duration(0), 0.0
	if d.leaks {
		bareMost = 24 * time.Hour
	}
	if d.person.rodMM < 0 { // see oneSidedLow
		overMost = 1
	}
	require.LessOrEqual(t, d.oracle.granted[bare], bareMost, "%v", d)
	if d.records {
		require.LessOrEqual(t, d.oracle.overMM, overMost, "%v", d)
	}
}

// TestRandomYards: whatever the cells and the people, no charge runs on bare plates, and
// where all is read and recorded no cell is overfilled by what is proposed. Without the
// variable it is the same few yards each time;
//
//	BAYWARD_RANDOM=300 go test ./agent/opinion -run RandomYards -v -timeout 2h
//
// draws so many others, of a hundred days.
func TestRandomYards(t *testing.T) {
	yards, days, seed := 3, 20, "20"
	if text := os.Getenv("BAYWARD_RANDOM"); text != "" {
		n, err := strconv.Atoi(text)
		require.NoError(t, err)
		yards, days, seed = n, 100, ""
	}
	if flag.Lookup("rapid.seed").Value.String() != "0" {
		seed = ""
	}
	randomYards(t, yards, days, seed)
}

// TestReaderWhoSlips: in this yard of 40 cells each eleventh reading is two marks off. One
// that was too high agreed with the estimate of an unsure cell, lifted its bound and slowed
// its rate, and a charge ran for 197 h on bare plates in a hundred days, from day 41 on.
func TestReaderWhoSlips(t *testing.T) { randomYards(t, 1, 60, "3333305425678658777") }

// randomYards draws yards from a seed, "" for that of the command line.
func randomYards(t *testing.T, yards, days int, seed string) {
	t.Helper()
	set := func(name, value string) {
		f := flag.Lookup(name)
		was := f.Value.String()
		require.NoError(t, f.Value.Set(value))
		t.Cleanup(func() { require.NoError(t, f.Value.Set(was)) })
	}
	set("rapid.checks", strconv.Itoa(yards))
	if seed != "" {
		set("rapid.seed", seed)
	}
	ran, careful, readings, cells := 0, 0, 0, 0
	rapid.Check(t, func(r *rapid.T) {
		d := drawYard(t, r, days)
		d.live(days, d.person, nil)
		d.judged(r)
		if ran++; d.records {
			careful, readings, cells = careful+1, readings+d.person.readings, cells+len(d.cells)
		}
	})
	t.Logf("figure: %d random yards, %d days: no charge on bare plates; in %d all was read and recorded, with %.0f level readings a year and twelve cells, and nothing overfilled",
		ran, days, careful, float64(readings)*365/float64(days)*12/float64(max(cells, 1)))
}
