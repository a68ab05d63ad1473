package logbook

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/electrolyte"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// scene is a bay that a test moves by hand, one second at a time, with everything
// that its follower left. The figures are invented.
type scene struct {
	t    *testing.T
	f    *Follower
	p    bay.Picture
	got  Rows
	base time.Time
}

func newScene(t *testing.T, open Rows) *scene {
	s := &scene{t: t, f: NewFollower("bay-1", open), base: time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)}
	s.p = bay.Picture{Bay: "bay-1", Pack: &bay.Pack{Name: "lift-24v", Cells: 12, CapacityAh: 225}, Stage: bay.Waiting}
	s.read(24.5, 0, 25, 8)
	return s
}

func (s *scene) read(v, a, c, levelMM float64) {
	at := s.p.Now
	s.p.Seen.PackV, s.p.Seen.CurrentA, s.p.Seen.PackC = reading.Good(v, at), reading.Good(a, at), reading.Good(c, at)
	s.p.Seen.AmbientC, s.p.Seen.Level = reading.Good(20, at), reading.LevelBetween(levelMM, levelMM, at)
}

func (s *scene) stamp() Stamp {
	return Stamp{Wall: s.base.Add(s.p.Now), Trusted: true, BootID: "b", Mono: time.Hour + s.p.Now}
}

func (s *scene) tick(events ...bay.Event) {
	s.p.Now += time.Second
	r := s.f.Take(s.stamp(), &s.p, events)
	s.got.Charges = append(s.got.Charges, r.Charges...)
	s.got.Visits = append(s.got.Visits, r.Visits...)
	s.got.Findings = append(s.got.Findings, r.Findings...)
	s.got.Refusals = append(s.got.Refusals, r.Refusals...)
	s.got.Series = append(s.got.Series, r.Series...)
	s.got.Corrections = append(s.got.Corrections, r.Corrections...)
}

func (s *scene) run(d time.Duration) {
	for range int(d / time.Second) {
		s.tick()
	}
}

// asked returns the event that answers an order.
func asked(o order.Order) bay.Event {
	o.ID, o.By = "1", "A. Person"
	return bay.Event{Kind: bay.OrderTaken, By: o.By, Order: o.ID, Asked: o}
}

func (s *scene) beginCharge() {
	s.p.Stage, s.p.Permit.Granted = bay.Charging, true
	s.p.Charge = charge.Status{Active: true, Flowing: true, Since: s.p.Now - time.Minute, Charges: 1, InAh: 1, DepthBefore: 0.4, DepthKnown: true}
	s.tick(bay.Event{Kind: bay.ChargeStarted})
}

func (s *scene) endCharge() {
	c := &s.p.Charge
	c.Active, c.Flowing, c.Ended, c.EndedAt = false, false, true, s.p.Now-10*time.Minute
	s.tick(bay.Event{Kind: bay.ChargeEnded})
}

// lastCharge returns the closed charge of the scene.
func (s *scene) lastCharge() Charge {
	s.t.Helper()
	require.NotEmpty(s.t, s.got.Charges)
	c := s.got.Charges[len(s.got.Charges)-1]
	require.False(s.t, c.Open())
	return c
}

func TestFollowCharge(t *testing.T) {
	s := newScene(t, Rows{})
	s.run(10 * time.Minute)
	s.read(27, 45, 26, 5)
	s.beginCharge()
	began := s.p.Now
	s.run(time.Hour)
	s.read(28, 30, 41, -1) // bare for ten seconds, then unseen for five
	s.run(10 * time.Second)
	s.p.Seen.Level = reading.Level{Fault: reading.Open}
	s.run(5 * time.Second)
	s.read(29, 10, 39, 6)
	s.p.Charge.InAh, s.p.Charge.GassingAh, s.p.Charge.MaxPackC, s.p.Charge.TempKnown = 101.5, 20, 41, true
	s.p.Charge.Full, s.p.Charge.Evidence = true, charge.SteadyTaper
	s.run(time.Hour)
	s.endCharge()
	got := s.lastCharge()
	require.Equal(t, Charge{
		Span:  Span{Bay: "bay-1", Pack: "lift-24v", Origin: ByAgent, Start: s.stamp().earlier(s.p.Now - s.p.Charge.Since), End: s.stamp().earlier(s.p.Now - s.p.Charge.EndedAt)},
		InAh:  Known(101.5),
		Depth: Known(0.4), GassingAh: Known(20), WaterML: got.WaterML, StartC: Known(26), EndC: Known(39), MaxC: Known(41), LowMM: Known(-1),
		FlowS: (s.p.Now - began + time.Minute).Seconds(), BareS: 10, BlindS: 5, Full: true, Evidence: "steady-taper", Ended: EndedFull,
	}, got)
	// 0.336 ml of water for each ampere-hour, DOE-HDBK-1084-95, p. 33; it takes the
	// density as 1, so within 0.5 %.
	require.InDelta(t, 20*0.336, *got.WaterML, 0.034)
	dry, known := got.Dry()
	require.True(t, dry && known)
}

// TestFullAfterTheRest: evidence that waits for the rest is in the charge's row, with the
// time at which the charge ended.
func TestFullAfterTheRest(t *testing.T) {
	for name, proven := range map[string]bool{"the rest agrees": true, "the rest contradicts": false} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t, Rows{})
			s.read(27, 30, 26, 5)
			s.beginCharge()
			s.run(time.Hour)
			s.p.Charge.Pending = charge.HeldTail
			s.endCharge()
			over := s.stamp().earlier(s.p.Now - s.p.Charge.EndedAt)
			s.run(time.Hour)
			require.False(t, slices.ContainsFunc(s.got.Charges, func(c Charge) bool { return !c.Open() }), "the rest has not shown it yet")
			s.p.Charge.Pending = charge.NoEvidence
			if proven {
				s.p.Charge.Full, s.p.Charge.Evidence = true, charge.HeldTail
			}
			s.tick()
			got := s.lastCharge()
			require.Equal(t, proven, got.Full)
			require.Equal(t, map[bool]string{true: EndedFull, false: EndedStopped}[proven], got.Ended)
			require.Equal(t, over, got.End)
		})
	}
}

func TestHowChargesEnd(t *testing.T) {
	raise := func(s *scene, c interlock.Code, reason interlock.Reason) {
		s.p.Permit.Granted = false
		s.p.Findings[c] = bay.Finding{Raised: true, Since: s.p.Now, Evidence: interlock.Evidence{Reason: reason}}
	}
	for name, c := range map[string]struct {
		do          func(*scene)
		ended, code string
	}{
		"the charger stopped": {func(*scene) {}, EndedStopped, ""},
		"proven full":         {func(s *scene) { s.p.Charge.Full, s.p.Charge.Evidence = true, charge.ChargerComplete }, EndedFull, ""},
		"blocked":             {func(s *scene) { raise(s, interlock.PackHot, interlock.Usual) }, EndedBlocked, "pack-hot"},
		"blocked and granted again": {func(s *scene) {
			raise(s, interlock.PackHot, interlock.Usual)
			s.tick()
			s.p.Findings[interlock.PackHot].Raised, s.p.Permit.Granted = false, true
		}, EndedStopped, ""},
		"unplugged": {func(s *scene) {
			raise(s, interlock.AgentUnready, interlock.NoPack)
			s.p.Stage = bay.Vacant
		}, EndedUnplugged, ""},
		"another pack": {func(s *scene) { s.p.Pack = &bay.Pack{Name: "other", Cells: 12} }, EndedUnplugged, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t, Rows{})
			s.beginCharge()
			s.run(time.Minute)
			c.do(s)
			s.tick()
			s.endCharge()
			i := slices.IndexFunc(s.got.Charges, func(c Charge) bool { return !c.Open() })
			got := s.got.Charges[i]
			require.Equal(t, c.ended, got.Ended)
			require.Equal(t, c.code, got.Code)
			require.Equal(t, "lift-24v", got.Pack)
		})
	}
}

// A charge continues after a restart; one that ended unseen is closed.
func TestFollowChargeOverRestart(t *testing.T) {
	s := newScene(t, Rows{})
	s.beginCharge()
	s.run(20 * time.Minute)
	before := s.got.Charges[len(s.got.Charges)-1]
	require.True(t, before.Open())

	again := newScene(t, Rows{Charges: []Charge{before}})
	again.p.Charge, again.p.Stage, again.p.Permit.Granted = s.p.Charge, bay.Charging, true
	again.run(time.Minute)
	again.endCharge()
	got := again.lastCharge()
	require.Equal(t, before.Start, got.Start)
	require.InDelta(t, before.FlowS+60, got.FlowS, 1.1)
	require.Equal(t, EndedStopped, got.Ended)

	unseen := newScene(t, Rows{Charges: []Charge{before}})
	unseen.tick()
	got = unseen.lastCharge()
	require.Equal(t, EndedUnseen, got.Ended)
	require.Equal(t, before.InAh, got.InAh)
	require.NotEmpty(t, got.Notes)
}

// A charge that ended before the agent did, and waits for the rest to show whether it was
// full, waits on after a restart: its end was seen.
func TestFollowRestOverRestart(t *testing.T) {
	s := newScene(t, Rows{})
	s.beginCharge()
	s.run(20 * time.Minute)
	before := s.got.Charges[len(s.got.Charges)-1]
	for name, c := range map[string]struct {
		rested func(*charge.Status)
		ended  string
	}{
		"full":     {func(c *charge.Status) { c.Full, c.Evidence = true, charge.HeldTail }, EndedFull},
		"not full": {func(*charge.Status) {}, EndedStopped},
	} {
		again := newScene(t, Rows{Charges: []Charge{before}})
		again.p.Charge = s.p.Charge
		at := -40 * time.Minute
		again.p.Charge.Active, again.p.Charge.Flowing, again.p.Charge.Ended, again.p.Charge.EndedAt = false, false, true, at
		again.p.Charge.Pending = charge.HeldTail
		again.run(30 * time.Minute)
		require.Empty(t, again.got.Charges, "%s: it waits for the rest", name)
		again.p.Charge.Pending = charge.NoEvidence
		c.rested(&again.p.Charge)
		again.tick()
		got := again.lastCharge()
		require.Equal(t, c.ended, got.Ended, name)
		require.Empty(t, got.Notes, name)
		require.Equal(t, again.base.Add(at), got.End.Wall, name)
		require.Equal(t, c.ended == EndedFull, got.Full, name)
	}
}

// TestFollowChargeUntilThePackIsKnown: after a restart it takes time until the pack
// is known. No pack was seen to leave: the charge continues with its pack, or ends
// as unseen with all its figures; it is never recorded as unplugged.
func TestFollowChargeUntilThePackIsKnown(t *testing.T) {
	s := newScene(t, Rows{})
	s.beginCharge()
	s.run(20 * time.Minute)
	before := s.got.Charges[len(s.got.Charges)-1]
	require.True(t, before.Open())
	restart := func() *scene {
		again := newScene(t, Rows{Charges: []Charge{before}})
		again.p.Pack, again.p.Stage = &bay.Pack{}, bay.Checking
		again.run(time.Minute)
		for _, c := range again.got.Charges {
			require.True(t, c.Open(), "it waits until the pack is known")
		}
		again.p.Pack = &bay.Pack{Name: "lift-24v", Cells: 12, CapacityAh: 225}
		return again
	}

	same := restart()
	same.p.Charge, same.p.Stage, same.p.Permit.Granted = s.p.Charge, bay.Charging, true
	same.run(time.Minute)
	same.endCharge()
	got := same.lastCharge()
	require.Equal(t, before.Start, got.Start)
	require.Equal(t, EndedStopped, got.Ended)
	require.InDelta(t, before.FlowS+60, got.FlowS, 1.1, "unseen time is not counted")

	for name, c := range map[string]struct {
		then func(*bay.Picture)
		says string
	}{
		"over when it is seen again": {func(*bay.Picture) {}, "The agent was off"},
		"another pack":               {func(p *bay.Picture) { p.Pack.Name = "lift-x" }, "another pack"},
		"empty":                      {func(p *bay.Picture) { p.Pack.Name, p.Stage = "", bay.Vacant }, "empty"},
	} {
		again := restart()
		c.then(&again.p)
		again.tick()
		got := again.lastCharge()
		require.Equal(t, EndedUnseen, got.Ended, name)
		require.Contains(t, got.Notes, c.says, name)
		got.End, got.Ended, got.Notes = before.End, before.Ended, before.Notes
		require.Equal(t, before, got, "%s: its figures are kept", name)
	}
}

func TestFollowVisit(t *testing.T) {
	s := newScene(t, Rows{})
	s.p.Stage = bay.Watering
	s.p.Visit = bay.Visit{Open: true, By: "A. Person", Since: 1}
	s.read(25, 0, 30, 4)
	s.tick(bay.Event{Kind: bay.VisitOpened, By: "A. Person", Asked: order.Order{Note: "Confirmed: gloves."}})
	opened := s.stamp()
	for _, o := range []order.Order{
		{Kind: order.Quality, USPerCM: 4.5, Water: "distilled", Note: "Kind: distilled."},
		{Kind: order.Level, Cell: 2, LevelMM: 3},
		{Kind: order.Level, Cell: 2, LevelMM: 2},
		{Kind: order.Fill, Cell: 2, ML: 100, Note: "Typed in from paper."},
		{Kind: order.Fill, Cell: 2, ML: 50, Note: "Typed in from paper."},
		{Kind: order.Level, Cell: 2, LevelMM: 13},
		{Kind: order.Fill, Cell: 1, ML: 0},
		{Kind: order.Gravity, Cell: 12, Gravity: 1.265, AtC: 31},
		{Kind: order.Quality, Unmeasured: true, Water: "distilled"},
		{Kind: order.Hold, Note: "not part of the visit"},
	} {
		s.tick(asked(o))
		v := s.got.Visits[len(s.got.Visits)-1]
		require.True(t, v.Open(), "each order is in the file at once")
	}
	s.read(25, 0, 30, 12.5)
	s.p.Visit, s.p.Stage = bay.Visit{}, bay.Rested
	s.tick(bay.Event{Kind: bay.VisitClosed, By: "B. Person", Asked: order.Order{Note: "Confirmed: caps."}})
	require.Equal(t, Visit{
		Span: Span{Bay: "bay-1", Pack: "lift-24v", Origin: ByAgent, Start: opened, End: s.stamp()},
		Kind: VisitWater, By: "A. Person", ClosedBy: "B. Person", Cautions: "Confirmed: gloves.", Water: "distilled", USPerCM: Known(4.5),
		BeforeMM: Known(4), AfterMM: Known(12.5), TotalML: 150, Notes: "Typed in from paper.\nConfirmed: caps.",
		Cells: []VisitCell{
			{Cell: 1, ML: Known(0), How: "measured", By: "A. Person"},
			{Cell: 2, ML: Known(150), How: "measured", BeforeMM: Known(2), AfterMM: Known(13), By: "A. Person"},
			{Cell: 12, Gravity: Known(1.265), AtC: Known(31), By: "A. Person"},
		},
	}, s.got.Visits[len(s.got.Visits)-1])
}

// TestFollowEntry: what a technician has recorded of each cell is in the record: how
// an amount is known, what was drawn off, that the rod showed the plates, what a
// gravity means, and who did it.
func TestFollowEntry(t *testing.T) {
	s := newScene(t, Rows{})
	s.p.Stage, s.p.Visit = bay.Watering, bay.Visit{Open: true, By: "Ann", Since: 1}
	s.tick(bay.Event{Kind: bay.VisitOpened, By: "Ann"})
	entry := func(by string, lines ...order.CellEntry) {
		e := asked(order.Order{Kind: order.Entry, Cells: lines})
		e.By, e.Asked.By = by, by
		s.tick(e)
	}
	entry("Ann",
		order.CellEntry{Cell: 1, Dry: true, ML: Known(40)}, // the rod first, then the water
		order.CellEntry{Cell: 2, ML: Known(95), How: order.ToMark, LevelMM: Known(13)},
		order.CellEntry{Cell: 3, ML: Known(110), How: order.AsProposed}, order.CellEntry{Cell: 4, LevelMM: Known(6)},
		order.CellEntry{Cell: 5, DrawnML: Known(30)}, order.CellEntry{Cell: 6, Dry: true})
	entry("Bob", order.CellEntry{Cell: 1, Dry: true}, order.CellEntry{Cell: 3, ML: Known(10)}, order.CellEntry{Cell: 5, DrawnML: Known(20), LevelMM: Known(14)})
	entry("Bob", order.CellEntry{Cell: 1, ML: Known(60), LevelMM: Known(5)})
	s.p.Charge.Gravity = &charge.GravityRound{Of: 12}
	s.p.Charge.Gravity.Cells[6] = charge.CellGravity{Verdict: charge.GravityCellWeak, SG25: electrolyte.GravityAt25(1.24, 31)}
	entry("Bob", order.CellEntry{Cell: 7, Gravity: Known(1.24), AtC: Known(31)})
	require.Equal(t, []VisitCell{
		{Cell: 1, ML: Known(100), How: "measured", DryBefore: true, AfterMM: Known(5), By: "Ann\nBob"},
		{Cell: 2, ML: Known(95), How: "to-mark", AfterMM: Known(13), By: "Ann"},
		{Cell: 3, ML: Known(120), How: "as-proposed", By: "Ann\nBob"},
		{Cell: 4, BeforeMM: Known(6), By: "Ann"},
		{Cell: 5, DrawnML: Known(50), AfterMM: Known(14), By: "Ann\nBob"},
		{Cell: 6, DryBefore: true, By: "Ann"},
		{Cell: 7, Gravity: Known(1.24), AtC: Known(31), Verdict: "cell-weak", By: "Bob"},
	}, s.got.Visits[len(s.got.Visits)-1].Cells)
}

// TestFollowCorrection: one of the open visit is in its row at once, one of a closed
// visit is left to the reader; each has the old value, who and why.
func TestFollowCorrection(t *testing.T) {
	s := newScene(t, Rows{})
	s.p.Stage, s.p.Visit = bay.Watering, bay.Visit{Open: true, By: "Ann", Since: 1}
	s.tick(bay.Event{Kind: bay.VisitOpened, By: "Ann"})
	s.tick(asked(order.Order{Kind: order.Entry, Cells: []order.CellEntry{{Cell: 4, ML: Known(1170), LevelMM: Known(12)}}}))
	correct := func(o order.Order, old Num) Correction {
		o.Kind, o.Reason = order.Correct, "a slip"
		e := asked(o)
		e.Old = old
		s.tick(e)
		return s.got.Corrections[len(s.got.Corrections)-1]
	}
	got := correct(order.Order{Cell: 4, Field: "ml", Value: Known(117)}, Known(1170))
	require.Equal(t, Correction{
		Bay: "bay-1", Pack: "lift-24v", Cell: 4, Field: CellML, Old: Known(1170), New: Known(117), Applied: true, Reason: "a slip", By: got.By, At: s.stamp(),
	}, got)
	got = correct(order.Order{Cell: 4, Field: "level_mm"}, Known(12))
	require.Equal(t, CellAfterMM, got.Field)
	require.Nil(t, got.New, "it never happened")
	v := s.got.Visits[len(s.got.Visits)-1]
	require.Equal(t, Known(117), v.Cells[0].ML)
	require.Nil(t, v.Cells[0].AfterMM)
	require.Equal(t, 117.0, v.TotalML)
	got = correct(order.Order{Cell: 4, Field: "ml", Visit: 17, Pack: "lift-24v", Was: Known(90), Value: Known(9)}, Known(90))
	require.False(t, got.Applied)
	require.Equal(t, int64(17), got.Visit)
	require.Equal(t, 117.0, s.got.Visits[len(s.got.Visits)-1].TotalML, "the open visit is another one")
}

// TestFollowLateSheet: a paper sheet that is typed in afterwards is a closed visit of
// its own day and person, with when and by whom it was typed in.
func TestFollowLateSheet(t *testing.T) {
	s := newScene(t, Rows{})
	s.tick()
	done := s.stamp().Wall.Add(-26 * time.Hour).Truncate(time.Second)
	e := asked(order.Order{Kind: order.Entry, DoneBy: "Ramón", DoneAt: done.Format(time.RFC3339), Note: "Phone was flat.", Cells: []order.CellEntry{
		{Cell: 1, ML: Known(90), LevelMM: Known(13)}, {Cell: 2, Dry: true, How: order.ToMark, LevelMM: Known(13)}, {Cell: 3, LevelMM: Known(12)},
	}})
	s.tick(e)
	at := Stamp{Wall: done, Trusted: true}
	want := Visit{
		Span: Span{Bay: "bay-1", Pack: "lift-24v", Origin: ByPaper, Start: at, End: at}, Kind: VisitWater, By: "Ramón",
		LateAt: s.stamp().Wall, LateBy: "A. Person", TotalML: 90, Notes: "Phone was flat.",
		Cells: []VisitCell{
			{Cell: 1, ML: Known(90), How: "measured", AfterMM: Known(13), By: "Ramón"},
			{Cell: 2, How: "to-mark", DryBefore: true, AfterMM: Known(13), By: "Ramón"},
			{Cell: 3, BeforeMM: Known(12), By: "Ramón"},
		},
	}
	require.Equal(t, want, s.got.Visits[len(s.got.Visits)-1])
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	open := someVisit(1)
	open.End = Stamp{}
	writeRows(t, b, Rows{Visits: []Visit{open}})
	writeRows(t, b, Rows{Visits: []Visit{want}})
	all := allOf(t, b.Visits(t.Context(), Query{}))
	require.Len(t, all, 2, "it closes no open visit")
	mustHold(t, b.Reader, 1)

	e.Asked.DoneAt = s.stamp().Wall.Add(time.Hour).Format(time.RFC3339)
	s.tick(e)
	require.False(t, s.got.Visits[len(s.got.Visits)-1].Start.Wall.After(s.stamp().Wall), "no work is done tomorrow")
}

// The core remembers a visit that the file does not: it is copied whole.
func TestFollowVisitThatTheFileLost(t *testing.T) {
	s := newScene(t, Rows{})
	v := &s.p.Visit
	*v = bay.Visit{Open: true, By: "A. Person", OnlyCoverPlates: true, USPerCM: 3, QualityKnown: true}
	v.GivenML[0], v.Cells[0] = 120, bay.CellVisit{Done: true, LevelLast: true, LevelMM: new(9.0)}
	v.Cells[3] = bay.CellVisit{LevelMM: new(-2.0)}
	v.GivenML[4], v.Cells[4] = 50, bay.CellVisit{
		How: order.ToMark, DrawnML: 5, WasDry: true, Dry: true, Gravity: new(1.25), AtC: new(20.0), By: "Bob",
	}
	v.Cells[5] = bay.CellVisit{BeforeMM: new(3.0), LevelMM: new(3.0), LevelLast: true, Done: true, How: order.Measured}
	s.run(time.Minute)
	*v = bay.Visit{}
	s.tick(bay.Event{Kind: bay.VisitClosed, By: "A. Person"})
	got := s.got.Visits[len(s.got.Visits)-1]
	require.Equal(t, VisitCoverPlates, got.Kind)
	require.Equal(t, 170.0, got.TotalML)
	require.Equal(t, []VisitCell{
		{Cell: 1, ML: Known(120), AfterMM: Known(9)}, {Cell: 4, BeforeMM: Known(-2)},
		{Cell: 5, ML: Known(50), How: "to-mark", DrawnML: Known(5), DryBefore: true, DryAfter: true, Gravity: Known(1.25), AtC: Known(20), By: "Bob"},
		{Cell: 6, ML: Known(0), How: "measured", BeforeMM: Known(3), AfterMM: Known(3)},
	}, got.Cells)
	require.Equal(t, "The opening of the visit was not seen.", got.Notes)

	open := got
	open.End = Stamp{}
	again := newScene(t, Rows{Visits: []Visit{open}}) // and the core does not remember
	again.tick()
	require.False(t, again.got.Visits[0].Open())
	require.Contains(t, again.got.Visits[0].Notes, "The end of the visit was not seen.")
}

// Readings without a visit make rounds, by person and by time.
func TestRoundsOfReadings(t *testing.T) {
	s := newScene(t, Rows{})
	by := func(who string, cell int) bay.Event {
		e := asked(order.Order{Kind: order.Gravity, Cell: cell, Gravity: 1.25, AtC: 20})
		e.Asked.By = who
		return e
	}
	for cell := 1; cell <= 3; cell++ {
		s.tick(by("A", cell))
		s.run(20 * time.Minute)
	}
	last := s.stamp().earlier(20 * time.Minute)
	s.tick(by("B", 1))
	s.run(31 * time.Minute)
	var closed []Visit
	for _, v := range s.got.Visits {
		if !v.Open() {
			closed = append(closed, v)
		}
	}
	require.Len(t, closed, 2)
	require.Equal(t, VisitReadings, closed[0].Kind)
	require.Equal(t, "A", closed[0].By)
	require.Len(t, closed[0].Cells, 3)
	require.Equal(t, last, closed[0].End)
	require.Equal(t, "B", closed[1].By)
}

func TestFollowFindingsAndRefusal(t *testing.T) {
	s := newScene(t, Rows{})
	s.p.Findings[interlock.PlatesBare] = bay.Finding{Raised: true, Since: s.p.Now, Evidence: interlock.Evidence{Value: -4, Limit: 3}}
	s.run(5 * time.Second)
	s.p.Findings[interlock.LevelUnknown] = bay.Finding{Raised: true, Since: s.p.Now, Evidence: interlock.Evidence{Fault: reading.Open}}
	s.run(5 * time.Second)
	s.p.Findings = [interlock.NumCodes]bay.Finding{}
	s.run(5 * time.Second) // blocked for the minimum off time: the refusal continues
	s.p.Permit.Granted = true
	s.tick()
	require.Len(t, s.got.Findings, 4)
	bare, blind := s.got.Findings[2], s.got.Findings[3]
	require.Equal(t, "plates-bare", bare.Code)
	require.Equal(t, Known(-4), bare.Value)
	require.Empty(t, bare.Fault)
	require.True(t, bare.Blocks)
	require.Equal(t, 10*time.Second, bare.End.Mono-bare.Start.Mono-time.Second)
	require.Equal(t, reading.Open.String(), blind.Fault)
	require.Nil(t, blind.Value)
	got := s.got.Refusals[len(s.got.Refusals)-1]
	require.Equal(t, "plates-bare", got.Code)
	require.Equal(t, []string{"plates-bare", "level-unknown"}, got.Codes)
	require.Equal(t, RefusalGranted, got.Ended)
	require.Equal(t, 15*time.Second, got.End.Mono-got.Start.Mono)
}

func TestWhatIsNoRefusal(t *testing.T) {
	for name, do := range map[string]func(*scene){
		"checking":         func(s *scene) { s.p.Stage = bay.Checking },
		"no pack":          func(s *scene) { s.p.Stage = bay.Vacant },
		"full":             func(s *scene) { s.p.Charge.Full = true },
		"not proven ready": func(s *scene) { s.p.Findings = [interlock.NumCodes]bay.Finding{interlock.AgentUnready: {Raised: true}} },
		"a visit is open":  func(s *scene) { s.p.Findings = [interlock.NumCodes]bay.Finding{interlock.VisitOpen: {Raised: true}} },
		"granted":          func(s *scene) { s.p.Permit.Granted = true },
		"only an alarm":    func(s *scene) { s.p.Findings = [interlock.NumCodes]bay.Finding{interlock.WaterBalance: {Raised: true}} },
	} {
		s := newScene(t, Rows{})
		s.p.Findings[interlock.PackHot].Raised = true
		do(s)
		s.run(5 * time.Second)
		require.Empty(t, s.got.Refusals, name)
	}
}

// A finding and a refusal from before a restart continue once the core has had time
// to report them and the pack is known; otherwise they end.
func TestFollowFindingsOverRestart(t *testing.T) {
	open := func(code string) Finding {
		f := Finding{Span: spanAt(0, "bay-1", "lift-24v"), Code: code}
		f.End = Stamp{}
		return f
	}
	refused := Refusal{Span: open("").Span, Code: "plates-bare", Codes: []string{"plates-bare"}}
	stands := func(p *bay.Picture) {
		p.Findings[interlock.PlatesBare] = bay.Finding{Raised: true, Since: p.Now}
	}
	for name, c := range map[string]struct {
		then func(*bay.Picture)
		want string // what ends within the finding's raise time, and after it
	}{
		"still applies":     {stands, "of-a-newer-program pack-hot"},
		"no longer applies": {func(*bay.Picture) {}, "of-a-newer-program plates-bare pack-hot"},
		"another pack":      {func(p *bay.Picture) { p.Pack = &bay.Pack{Name: "other"}; stands(p) }, "of-a-newer-program plates-bare pack-hot plates-bare-refusal"},
		"the bay is empty":  {func(p *bay.Picture) { p.Pack, p.Stage = &bay.Pack{}, bay.Vacant }, "of-a-newer-program plates-bare pack-hot plates-bare-refusal"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t, Rows{Findings: []Finding{open("plates-bare"), open("pack-hot"), open("of-a-newer-program")}, Refusals: []Refusal{refused}})
			known := s.p.Pack
			s.p.Pack, s.p.Stage = &bay.Pack{}, bay.Checking
			s.p.Findings[interlock.AgentUnready] = bay.Finding{Raised: true}
			s.run(time.Minute)
			s.p.Pack = known
			s.run(time.Second)
			s.p.Stage = bay.Waiting
			c.then(&s.p)
			s.tick()
			s.p.Findings[interlock.AgentUnready].Raised = false
			s.run(10 * time.Second)
			var ended []string
			for _, f := range s.got.Findings {
				if f.Code != interlock.AgentUnready.String() && !f.Open() {
					ended = append(ended, f.Code)
				}
			}
			for _, r := range s.got.Refusals {
				if !r.Open() {
					ended = append(ended, r.Code+"-refusal")
				}
			}
			require.Equal(t, c.want, strings.Join(ended, " "))
		})
	}
}

// Spans meet, minutes are kept near an event, and hours at rest.
func TestThinnedReadings(t *testing.T) {
	s := newScene(t, Rows{})
	s.run(6 * time.Hour)
	rest := len(s.got.Series)
	require.LessOrEqual(t, rest, 6)
	s.read(26, 40, 25, 7)
	s.tick(bay.Event{Kind: bay.StageChanged})
	s.run(2 * time.Hour)
	fine := 0
	for _, r := range s.got.Series[rest:] {
		if r.SpanS <= 61 {
			fine++
		}
	}
	require.InDelta(t, 30, fine, 2, "a quarter of an hour on both sides")
	s.p.Charge.Active = true
	s.run(2 * time.Hour)
	for _, r := range s.got.Series[len(s.got.Series)-5:] {
		require.InDelta(t, 600, r.SpanS, 60)
	}
	s.got.Series = append(s.got.Series, s.f.Flush().Series...)
	at, ticks := s.got.Series[0].Start.Mono, 0
	for i, r := range s.got.Series {
		require.InDelta(t, at.Seconds(), r.Start.Mono.Seconds(), 1e-9, "row %d does not begin where the last one ended", i)
		at = r.Start.Mono + time.Duration(r.SpanS*float64(time.Second))
		ticks += r.Ticks
		require.True(t, *r.PackVMin <= *r.PackV && *r.PackV <= *r.PackVMax)
	}
	require.Equal(t, s.stamp().Mono, at)
	require.Equal(t, int(s.p.Now/time.Second), ticks)
}

func TestKnown(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		require.Nil(t, Known(v))
	}
	require.Equal(t, 0.0, *Known(0))
}

// TestFollowerAndFileAgree plays random histories, with restarts at random moments,
// into a real file: it accepts every row, at most one of each kind is open, closed
// rows never change, and the chain holds.
func TestFollowerAndFileAgree(t *testing.T) {
	dir, round := inMemory(t), 0
	rapid.Check(t, func(rt *rapid.T) {
		round++
		b, err := Open(t.Context(), filepath.Join(dir, itoa(round)+".db"), quiet())
		require.NoError(rt, err)
		defer b.Close()
		s := newScene(t, Rows{})
		closed := map[int64]Charge{}
		for range rapid.IntRange(5, 15).Draw(rt, "steps") {
			events := s.shake(rt)
			s.got = Rows{}
			s.tick(events...)
			s.run(rapid.SampledFrom([]time.Duration{0, time.Minute, 40 * time.Minute}).Draw(rt, "for"))
			require.NoError(rt, b.Write(t.Context(), Entry{Bay: "bay-1", Pack: s.p.Pack.Name, Stamp: s.stamp(), Events: events, Rows: s.got}))
			all, err := b.OpenRows(t.Context())
			require.NoError(rt, err)
			open := all["bay-1"]
			require.LessOrEqual(rt, len(open.Charges), 1)
			if rapid.Bool().Draw(rt, "restart") {
				s.f = NewFollower("bay-1", open)
			}
			for _, c := range allOf(t, b.Charges(t.Context(), Query{})) {
				if c.Open() {
					continue
				}
				if was, have := closed[c.ID]; have {
					require.Equal(rt, was, c)
				}
				closed[c.ID] = c
			}
		}
		chain, err := b.Verify(t.Context())
		require.NoError(rt, err)
		require.Nil(rt, chain.Break)
	})
}

// shake changes something in the scene and returns its events.
func (s *scene) shake(rt *rapid.T) []bay.Event {
	p := &s.p
	switch rapid.IntRange(0, 8).Draw(rt, "change") {
	case 0:
		if !p.Charge.Active {
			p.Charge.Charges++
			p.Charge.Active, p.Charge.Since = true, p.Now
		}
	case 1:
		p.Charge.Flowing = p.Charge.Active && !p.Charge.Flowing
	case 2:
		p.Charge.Active, p.Charge.Flowing, p.Charge.EndedAt = false, false, p.Now
	case 3:
		p.Stage = bay.Stage(rapid.IntRange(0, int(bay.NumStages)-1).Draw(rt, "stage"))
	case 4:
		p.Visit.Open = !p.Visit.Open
		p.Visit.By = "A"
		return []bay.Event{{Kind: map[bool]bay.EventKind{true: bay.VisitOpened, false: bay.VisitClosed}[p.Visit.Open], By: "A"}}
	case 5:
		c := rapid.IntRange(1, int(interlock.NumCodes)-1).Draw(rt, "code")
		p.Findings[c].Raised, p.Findings[c].Since = !p.Findings[c].Raised, p.Now
	case 6:
		p.Permit.Granted = !p.Permit.Granted
	case 7:
		p.Pack = &bay.Pack{Name: rapid.SampledFrom([]string{"lift-24v", "other", ""}).Draw(rt, "pack"), Cells: 12}
	default:
		kind := rapid.SampledFrom([]order.Kind{order.Fill, order.Level, order.Gravity, order.Quality}).Draw(rt, "order")
		return []bay.Event{asked(order.Order{Kind: kind, Cell: rapid.IntRange(1, 12).Draw(rt, "cell"), ML: 10, Gravity: 1.2})}
	}
	return []bay.Event{{Kind: bay.StageChanged}}
}

// BenchmarkFollow is one tick of one bay without an event.
func BenchmarkFollow(b *testing.B) {
	s := newScene(nil, Rows{})
	b.ReportAllocs()
	for b.Loop() {
		s.p.Now += time.Second
		s.f.Take(s.stamp(), &s.p, nil)
	}
}
