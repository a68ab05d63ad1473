package demo

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"bayward/agent/assembly"
	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/words"
	"bayward/sensors/sim"
	"bayward/sensors/sim/pack"
)

// technician answers the demo's notices some minutes later, like a real one, and
// takes the machines to work when their packs are ready. It sees only what the
// outputs show, and acts only by orders and by hand.
type technician struct {
	submit   assembly.Submit
	pictures func() []*bay.Picture
	bays     map[string]*sim.Stand
	since    map[string]time.Duration // when the current reason to act was first seen
	why      map[string]string
	orders   int
}

func newTechnician(s assembly.Submit, pictures func() []*bay.Picture, bays map[string]*sim.Stand) *technician {
	return &technician{submit: s, pictures: pictures, bays: bays, since: map[string]time.Duration{}, why: map[string]string{}}
}

// Simulated times after which the technician acts.
const (
	comesIn   = 12 * time.Minute // walks over after a notice
	fixesIn   = 90 * time.Minute // fetches a new probe first
	leavesIn  = 40 * time.Minute // the driver comes for the machine
	worksFor  = 4 * time.Hour
	workShare = 0.45 // of the capacity
)

func (t *technician) work(ctx context.Context) error {
	const look = 5 * time.Millisecond
	tick := time.NewTicker(look)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		for _, p := range t.pictures() {
			if err := t.look(ctx, p); err != nil && ctx.Err() == nil {
				return fmt.Errorf("the simulated technician at %s: %w", p.Bay, err)
			}
		}
	}
}

// look finds what there is to do at a bay and does it when it is due.
func (t *technician) look(ctx context.Context, p *bay.Picture) error {
	why, in := t.reason(p)
	if why != t.why[p.Bay] {
		t.why[p.Bay], t.since[p.Bay] = why, p.Now
	}
	if why == "" || p.Now-t.since[p.Bay] < in {
		return nil
	}
	t.why[p.Bay] = ""
	y := t.bays[p.Bay]
	switch why {
	case "leave":
		y.Unplug()
		y.Discharge(workShare * p.Pack.CapacityAh)
		return nil
	case "return":
		y.Connect()
		return nil
	case "release":
		return t.order(ctx, p.Bay, order.Order{Kind: order.Release})
	default:
		return t.visit(ctx, p)
	}
}

func (t *technician) reason(p *bay.Picture) (why string, in time.Duration) {
	switch {
	case p.Stage == bay.Watering:
		return "", 0
	case p.Stage == bay.Vacant && p.Findings[interlock.ChargeOverrun].Latched:
		return "release", fixesIn // has looked at the charger while the pack is out
	case p.Stage == bay.Vacant:
		return "return", worksFor
	case p.Findings[interlock.PlatesBare].Raised:
		return "cover", comesIn
	case p.Stage == bay.ReadyToWater:
		return "water", comesIn
	case p.Findings[interlock.LevelDoubted].Raised:
		return "read", comesIn
	case p.Findings[interlock.LevelUnknown].Raised:
		return "fix", fixesIn
	case p.Stage == bay.Rested:
		return "leave", leavesIn
	}
	return "", 0
}

// mostPasses is how often the technician goes over the cells in one visit.
const mostPasses = 6

// visit opens a visit and goes over the cells until nothing is left to do at any of
// them. A cell with bare plates gets a first step and then another look.
func (t *technician) visit(ctx context.Context, p *bay.Picture) error {
	if err := t.order(ctx, p.Bay, order.Order{Kind: order.VisitOpen}); err != nil {
		return err
	}
	for pass := range mostPasses {
		lines := entries(t.picture(p.Bay), t.bays[p.Bay].Truth().Cells, pass == 0)
		if len(lines) == 0 {
			break
		}
		if err := t.order(ctx, p.Bay, order.Order{Kind: order.Entry, Cells: lines}); err != nil {
			return err
		}
	}
	return t.order(ctx, p.Bay, order.Order{Kind: order.VisitClose})
}

// entries returns what is done in one pass over the cells: a look with the level rod
// where the picture asks for one, or water as it proposes.
func entries(p *bay.Picture, truth []pack.CellState, first bool) (lines []order.CellEntry) {
	for i := range p.Pack.Cells {
		const jug = 5 // millilitres: the marks of a measuring jug; rounded down
		at := p.Cell(i + 1)
		ml := math.Floor(at.AddML/jug) * jug
		switch {
		case slices.Contains(p.ReadFirst(), i+1) && !at.Bare:
			lines = append(lines, byRod(i+1, truth[i].LevelMM))
		case at.AddKnown && ml > 0 && (first || at.Bare || at.ByRod):
			lines = append(lines, order.CellEntry{Cell: i + 1, ML: &ml})
		case at.Bare && !first:
			lines = append(lines, byRod(i+1, truth[i].LevelMM))
		}
	}
	return lines
}

// byRod reads a level with the rod, which shows whole millimetres, and nothing below
// the plate tops.
func byRod(cell int, mm float64) order.CellEntry {
	if mm = math.Round(mm); mm > 0 {
		return order.CellEntry{Cell: cell, LevelMM: &mm}
	}
	return order.CellEntry{Cell: cell, Dry: true}
}

// picture returns the present picture of a bay.
func (t *technician) picture(bayName string) *bay.Picture {
	all := t.pictures()
	return all[slices.IndexFunc(all, func(p *bay.Picture) bool { return p.Bay == bayName })]
}

func (t *technician) order(ctx context.Context, bayName string, o order.Order) error {
	t.orders++
	o.ID, o.By = fmt.Sprintf("demo-%d", t.orders), "simulated technician"
	e, err := t.submit(ctx, bayName, o)
	if errors.Is(err, order.ErrNotOnRecord) { // the work goes on
		return nil
	}
	if err == nil && e.Kind == bay.OrderRefused {
		err = errors.New(words.EnglishSI().Event(&e))
	}
	return err
}
