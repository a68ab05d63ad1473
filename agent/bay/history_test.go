package bay_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// saga is a bay over many runs of the agent. The world's clock is that of the
// run; truth is the time that has really passed, which the agent cannot know
// across a restart.
type saga struct {
	t     *rapid.T
	w     *world
	core  *bay.Bay
	v     *witness
	truth time.Duration
	saved []byte // as the loop stores it: after every tick with events
	was   bool
	stage bay.Stage

	// What users ordered and what latched, by an independent model; hold and visit
	// are the world's.
	latched [interlock.NumCodes]bool
	taken   []string // the order IDs taken, the latest last

	lifeAt   time.Duration // on the run's clock
	offAt    time.Duration // on truth: when the permit was last granted, or a run ended
	seatedAt time.Duration // on the clock: when a pack was last plugged in
	hotAt    time.Duration // on truth: when charging current last flowed for certain
	hotFrom  time.Duration
	hot      bool
	count    *tally
}

// tally records what the histories consisted of.
type tally struct {
	steps, granted, restarts, damaged, swaps, taken, refused, latched, readied int

	alone [interlock.NumCodes]int
}

// surelyHot is how long a current must flow to be certainly a charge.
const surelyHot = 3 * time.Minute

// steps is the length of the random test: a million steps, a tenth of it with
// -short, and the value of BAYWARD_STEPS if set (ten million at night).
func steps(t *testing.T) int {
	t.Helper()
	if text := os.Getenv("BAYWARD_STEPS"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n <= 0 {
			t.Fatalf("BAYWARD_STEPS is %q, want a number of steps such as 10000000", text)
		}
		return n
	}
	if testing.Short() {
		return 100_000
	}
	return 1_000_000
}

// TestHistories drives the core through random histories with restarts, clock
// jumps, pack swaps and orders of every kind. A restart must never shorten a
// rest, lose a latch, a hold or a visit, or grant what was not granted. An order
// must never grant.
func TestHistories(t *testing.T) {
	var n tally
	for want := steps(t); n.steps < want && !t.Failed(); {
		rapid.Check(t, func(t *rapid.T) { newSaga(t, &n).play() })
	}
	if n.granted < n.steps/50 || n.damaged == 0 || n.swaps == 0 || n.taken == 0 || n.readied == 0 || n.latched == 0 {
		t.Errorf("the histories hardly test anything: %+v", n)
	}
	if n.steps >= 1_000_000 {
		decisive(t, &n.alone)
	}
	t.Logf("figure: history steps %d, granted %d, restarts %d (memory damaged %d), swaps %d, orders taken %d, refused %d, latches %d, ready to water %d, violations 0",
		n.steps, n.granted, n.restarts, n.damaged, n.swaps, n.taken, n.refused, n.latched, n.readied)
}

func newSaga(t *rapid.T, n *tally) *saga {
	setup := baytest.Every(baytest.Setup("bay-1"))
	setup.Fan.SeenOff = rapid.IntRange(0, 3).Draw(t, "fan walked") != 0
	setup.Limits.RestMin, setup.Limits.ChargeMax = 10*time.Minute, 2*time.Hour
	s := &saga{t: t, w: &world{t: t, setup: setup}, count: n}
	s.begin(time.Duration(rapid.Int64Range(0, 1e13).Draw(t, "boot")))
	return s
}

// begin starts a run at a time of its clock.
func (s *saga) begin(now time.Duration) {
	s.w.now, s.lifeAt, s.seatedAt = now, now, now
	s.core = bay.New(s.w.setup)
	s.v = newWitness(now, &s.count.alone)
	s.w.flows = 0
	s.was, s.stage, s.hot = false, bay.StageUnknown, false
	s.w.segment()
	s.w.calm()
}

func (s *saga) play() {
	for range rapid.IntRange(1, 30).Draw(s.t, "acts") {
		switch rapid.SampledFrom(acts).Draw(s.t, "act") {
		case "run":
			s.run()
		case "charge":
			s.charge()
		case "order":
			s.order()
		case "restart":
			s.restart()
		case "runaway":
			s.runaway()
		case "swap":
			s.swap()
		case "jump":
			s.jump()
		case "overfill":
			s.overfill()
		case "readLow":
			s.readLow()
		case "hold":
			s.hold()
		}
	}
}

// acts are weighted by how often they are listed.
var acts = []string{"run", "run", "run", "charge", "charge", "order", "order", "restart", "swap", "jump", "runaway", "overfill", "readLow", "hold"}

func (s *saga) run() {
	s.w.segment()
	s.w.mostlyCalm()
	dt := rapid.SampledFrom([]time.Duration{100 * time.Millisecond, time.Second, time.Second, 30 * time.Second, 5 * time.Minute, 5 * time.Hour}).Draw(s.t, "dt")
	stuck := rapid.IntRange(0, 40).Draw(s.t, "stuck")
	late := rapid.IntRange(1, 500).Draw(s.t, "late")
	for i := range rapid.IntRange(1, 120).Draw(s.t, "ticks") {
		s.w.r.LateTick = i == late
		s.tick(dt, stuck, nil)
	}
	s.w.r.LateTick = false
}

// charge brings the pack to full by a steady taper and lets it rest as full, to exercise
// the calls to water.
func (s *saga) charge() {
	for _, phase := range []struct{ cellV, currentA float64 }{{2.35, 35}, {2.45, 4}, {2.12, 0}} {
		s.w.calm()
		s.w.r.PackV.Value, s.w.r.CurrentA.Value = phase.cellV*float64(s.w.setup.Pack.Cells), phase.currentA
		s.w.r.Level = reading.LevelBetween(5, 5, s.w.now)
		s.w.r.PackC.Value, s.w.r.AmbientC.Value = 26, 25
		for range rapid.IntRange(20, 90).Draw(s.t, "phase") {
			s.tick(2*time.Minute, -1, nil)
		}
	}
}

// runaway raises the current with the temperature at constant voltage, by 7 % and
// 0.7 K in ten minutes. An hour of that is certainly a runaway.
func (s *saga) runaway() {
	s.w.calm()
	s.w.r.Level = reading.LevelBetween(9, 9, s.w.now)
	s.w.r.PackV.Value, s.w.r.CurrentA.Value = 2.45*float64(s.w.setup.Pack.Cells), 20
	s.w.r.PackC.Value, s.w.r.AmbientC.Value = 26, 25
	for minute := 0; minute < 80; minute += 2 {
		s.w.runaway = minute >= 60
		s.tick(2*time.Minute, -1, nil)
		s.w.r.CurrentA.Value *= 1.014
		s.w.r.PackC.Value += 0.14
	}
	s.w.runaway = false
}

// tick is one tick of this run.
func (s *saga) tick(dt time.Duration, stuck int, orders []order.Order) {
	s.w.tick(dt, stuck)
	s.truth += dt
	s.w.r.Orders = orders
	s.step()
}

func (s *saga) step() {
	p, events := s.core.Step(&s.w.r)
	s.count.steps++
	s.follow(events, p)
	s.w.obey(events)
	s.v.check(s.t, s.w, p, s.was)
	checkPicture(s.t, s.w, p, s.stage)
	s.check(p)
	s.was, s.stage = p.Permit.Granted, p.Stage
	if s.was {
		s.offAt = s.truth
		s.count.granted++
	}
	if len(events) > 0 || s.saved == nil {
		text, err := json.Marshal(s.core.Memory())
		if err != nil {
			s.t.Fatalf("the memory is no JSON: %v", err)
		}
		s.saved = text
	}
}

// follow updates the model with the orders of this tick.
func (s *saga) follow(events []bay.Event, p *bay.Picture) {
	for i := range events {
		e := &events[i]
		if e.Kind == bay.OrderRefused {
			s.count.refused++
		}
		if e.Kind == bay.OrderTaken {
			s.obey(e)
		}
	}
	if s.w.r.CurrentA.Value >= 0.05*s.w.setup.Pack.CapacityAh && p.Seen.CurrentA.OK() {
		if !s.hot {
			s.hot, s.hotFrom = true, s.truth
		}
		if s.truth-s.hotFrom >= surelyHot {
			s.hotAt = s.truth
		}
		return
	}
	s.hot = false
}

func (s *saga) obey(e *bay.Event) {
	s.count.taken++
	for _, id := range s.taken {
		if id == e.Order {
			s.t.Fatalf("order %q was taken twice", id)
		}
	}
	s.taken = append(s.taken, e.Order)
	if len(s.taken) > 64 {
		s.taken = s.taken[1:]
	}
	for _, o := range s.w.r.Orders {
		if o.ID != e.Order {
			continue
		}
		switch {
		case o.ID == "" || o.By == "":
			s.t.Fatalf("an order without name or ID was taken: %+v", o)
		case o.Kind == order.Release:
			s.latched = [interlock.NumCodes]bool{} // what still holds latches again below
		}
		return
	}
}

// check compares the picture with the model.
func (s *saga) check(p *bay.Picture) {
	now := s.w.now
	held, visit := s.w.hasp.held(), s.w.hasp.visited()
	if p.Findings[interlock.Held].Raised != held || p.Visit.Open != visit || p.Findings[interlock.VisitOpen].Raised != visit {
		s.t.Fatalf("held %v, visit %v at %v, ordered were %v, %v", p.Findings[interlock.Held].Raised, p.Visit.Open, now, held, visit)
	}
	for c := range s.latched {
		f := &p.Findings[c]
		if s.latched[c] && !f.Latched {
			s.t.Fatalf("%v is lost without a release at %v", interlock.Code(c), now)
		}
		if f.Latched && !s.latched[c] {
			s.count.latched++
		}
		s.latched[c] = s.latched[c] || f.Latched
		if f.Raised && f.Latched != interlock.Table[c].Latches {
			s.t.Fatalf("%v raised and latched %v", interlock.Code(c), f.Latched)
		}
	}
	if p.Stage == bay.ReadyToWater && s.stage != bay.ReadyToWater {
		s.count.readied++
		if rest := s.truth - s.hotAt; rest < s.w.setup.Limits.RestMin {
			s.t.Fatalf("ready to water after a rest of %v", rest)
		}
	}
	if !p.Permit.Granted {
		return
	}
	l := &s.w.setup.Limits
	switch {
	case held || visit:
		s.t.Fatalf("granted at %v although held %v, visit %v", now, held, visit)
	case now-s.lifeAt < max(l.SettleFor, l.OffMin) || now-s.seatedAt < l.SettleFor:
		s.t.Fatalf("granted at %v, life since %v, pack since %v", now, s.lifeAt, s.seatedAt)
	case !s.was && s.truth-s.offAt < l.OffMin:
		s.t.Fatalf("granted %v after the contactor opened", s.truth-s.offAt)
	}
}

// order submits a few orders: new, replayed, late, invalid.
func (s *saga) order() {
	var orders []order.Order
	for range rapid.IntRange(1, 3).Draw(s.t, "orders") {
		s.w.ids++
		o := order.Order{
			ID: fmt.Sprint("o", s.w.ids), Kind: order.Kind(rapid.IntRange(0, int(order.NumKinds)).Draw(s.t, "kind")),
			By:   rapid.SampledFrom([]string{"a person", "a person", "a person", "Ana"}).Draw(s.t, "by"),
			Lock: rapid.SampledFrom([]string{"hold", "visit"}).Draw(s.t, "lock"), Of: rapid.SampledFrom([]string{"", "a person", "Ana"}).Draw(s.t, "of"),
			Reason: rapid.SampledFrom([]string{"gone home", "gone home", ""}).Draw(s.t, "reason"), NobodyAtPack: rapid.IntRange(0, 3).Draw(s.t, "nobody") > 0,
			Cell: rapid.IntRange(0, 13).Draw(s.t, "cell"), ML: rapid.SampledFrom([]float64{0, 120, 2000, 2001, -1, math.NaN()}).Draw(s.t, "ml"),
			Gravity: rapid.SampledFrom([]float64{1.1, 1.277, 1.41, math.NaN()}).Draw(s.t, "sg"), AtC: 25,
			LevelMM: rapid.SampledFrom([]float64{-300, -5, 0, 4, 15, 25, 25, math.Inf(1)}).Draw(s.t, "mm"),
			Cells:   s.w.lines(), Sure: rapid.Bool().Draw(s.t, "sure"),
		}
		switch rapid.IntRange(0, 5).Draw(s.t, "flaw") {
		case 0:
			if len(s.taken) > 0 {
				o.ID = rapid.SampledFrom(s.taken).Draw(s.t, "replayed")
			}
		case 1:
			o.By = ""
		case 2:
			o.ID = ""
		}
		orders = append(orders, o)
	}
	s.tick(time.Second, -1, orders)
	s.w.r.Orders = nil
	for range rapid.IntRange(0, 70).Draw(s.t, "after") {
		s.tick(time.Second, -1, nil)
	}
}

// overfill has a technician find a cell above its ceiling in a pack that nothing
// else keeps from charging, and mostly bring it down again.
func (s *saga) overfill() {
	s.w.calm()
	s.w.r.Level = reading.LevelBetween(9, 9, s.w.now)
	cell := rapid.IntRange(1, s.w.setup.Pack.Cells).Draw(s.t, "over")
	levels := []float64{25, 12, 12}
	for _, mm := range levels[:rapid.IntRange(1, 3).Draw(s.t, "looks")] {
		s.ask(order.Order{Kind: order.Level, Cell: cell, LevelMM: mm, Sure: true})
	}
}

// readLow has a technician read a level that may be at the plate tops in a pack that
// nothing else keeps from charging, and mostly read it again.
func (s *saga) readLow() {
	s.w.calm()
	s.w.r.Level = reading.LevelBetween(9, 9, s.w.now)
	cell := rapid.IntRange(1, s.w.setup.Pack.Cells).Draw(s.t, "low")
	levels := []float64{2, 11, 11}
	for _, mm := range levels[:rapid.IntRange(1, 3).Draw(s.t, "reads")] {
		s.ask(order.Order{Kind: order.Level, Cell: cell, LevelMM: mm})
	}
}

// hold has a technician hold a bay that nothing else keeps from charging, and mostly
// remove the hold again.
func (s *saga) hold() {
	s.w.calm()
	s.w.r.Level = reading.LevelBetween(9, 9, s.w.now)
	s.ask(order.Order{Kind: order.Hold})
	if rapid.IntRange(0, 3).Draw(s.t, "unhold") > 0 {
		s.ask(order.Order{Kind: order.Unhold})
	}
}

// ask gives one order and waits for longer than anything that follows from it alone.
func (s *saga) ask(o order.Order) {
	s.w.ids++
	o.ID, o.By = fmt.Sprint("o", s.w.ids), "a person"
	s.tick(time.Second, -1, []order.Order{o})
	s.w.r.Orders = nil
	for range 100 {
		s.tick(time.Second, -1, nil)
	}
}

// swap removes the pack and brings another, whose plates may be bare.
func (s *saga) swap() {
	s.count.swaps++
	s.w.calm()
	s.w.r.PackV.Value, s.w.r.CurrentA.Value = 0, 0
	for range 8 {
		s.tick(time.Second, -1, nil)
		s.seatedAt = s.w.now
	}
	s.w.calm()
	s.w.r.CurrentA.Value = 0
	if rapid.Bool().Draw(s.t, "bare") {
		s.w.r.Level = reading.LevelBetween(-3, -3, s.w.now)
	}
	s.tick(time.Second, -1, nil)
	s.seatedAt = s.w.now
	if m := s.core.Memory(); m.Charge.Full {
		s.t.Fatal("another pack counts as full")
	}
	for range rapid.IntRange(0, 90).Draw(s.t, "after") {
		s.tick(time.Second, -1, nil)
	}
}

// jump sets the clock back, or forward by years.
func (s *saga) jump() {
	s.tick(time.Second, -1, nil) // a clock that begins in the past has not gone back
	if rapid.Bool().Draw(s.t, "forward") {
		const years = 10 * 8766 * time.Hour
		if s.w.now < 2*years {
			s.tick(years, -1, nil)
		}
		return
	}
	back := rapid.SampledFrom([]time.Duration{1, time.Second, 9 * time.Second, time.Hour, math.MaxInt64}).Draw(s.t, "back")
	for range 5 {
		s.w.tick(0, -1)
		at := s.w.now - back
		s.w.r.Now = at
		for _, r := range baytest.Places(&s.w.r) {
			r.At = at
		}
		s.w.r.Level.At = at
		s.step()
	}
}

// restart ends this run and begins another with the memory of the last one: as
// saved, damaged, or for another pack.
func (s *saga) restart() {
	s.count.restarts++
	if s.saved == nil {
		return
	}
	gap := rapid.SampledFrom([]time.Duration{0, time.Second, 2 * time.Minute, 14 * time.Minute, 3 * time.Hour}).Draw(s.t, "gap")
	proven := rapid.Bool().Draw(s.t, "proven")
	restBefore := s.truth - s.hotAt
	s.truth += gap
	if s.was {
		s.offAt = s.truth - gap
	}
	text := append([]byte{}, s.saved...)
	kind := rapid.SampledFrom([]string{"whole", "whole", "flip", "cut", "other"}).Draw(s.t, "memory")
	switch kind {
	case "flip":
		i := rapid.IntRange(0, len(text)-1).Draw(s.t, "byte")
		text[i] ^= byte(1 << rapid.IntRange(0, 7).Draw(s.t, "bit"))
	case "cut":
		text = text[:rapid.IntRange(0, len(text)-1).Draw(s.t, "length")]
	case "other":
		s.w.setup.Pack.Name += "x"
	}
	// The clock may continue, or start again.
	now := s.w.now
	if rapid.Bool().Draw(s.t, "rebooted") {
		now = time.Duration(rapid.Int64Range(0, 1e12).Draw(s.t, "boot"))
	}
	s.w.hasp.at += now - s.w.now - gap // as long ago as in truth
	s.begin(now)
	known := s.restore(text, gap, proven)
	if !known || kind == "other" { // what was read in the cells is forgotten with the rest
		s.w.dry, s.w.over, s.w.low = nil, nil, nil
	}
	s.saved = nil
	first := s.core.Memory()
	if (!proven || !known || kind == "other" || gap > 15*time.Minute) && first.Charge.Full {
		s.t.Fatalf("full after a restart with %s, gap %v, proven %v", kind, gap, proven)
	}
	s.tick(time.Second, -1, nil)
	if m := s.core.Memory(); m.Charge.Ended && m.Charge.Full && !m.Charge.Active && m.Charge.EndedAgoS > (restBefore+gap+surelyHot+2*time.Second).Seconds() && s.hotAt > 0 {
		s.t.Fatalf("at %v the rest is %v s, in truth it was %v and a gap of %v", s.w.now, m.Charge.EndedAgoS, restBefore, gap)
	}
}

// restore does what the agent does with a stored memory. It reports whether the
// whole memory was taken.
func (s *saga) restore(text []byte, gap time.Duration, proven bool) bool {
	var m bay.Memory
	if json.Unmarshal(text, &m) != nil {
		s.count.damaged++
		s.core.Doubt(bay.MemoryUnreadable, "")
		// A visit and latches may be forgotten: the hold replaces them.
		s.w.hasp.damaged(&bay.Memory{Holds: []bay.LockMemory{{}}})
		s.latched, s.taken = [interlock.NumCodes]bool{}, nil
		return false
	}
	err := s.core.Restore(&m, s.w.now, gap, proven)
	if again, _ := json.Marshal(&m); string(again) != string(s.saved) {
		s.count.damaged++
		after := s.core.Memory()
		s.w.hasp.damaged(&after)
		s.latched, s.taken = [interlock.NumCodes]bool{}, nil
		if err == nil || !s.w.hasp.locks["hold "] || (m.Visit != nil) != s.w.hasp.open {
			s.t.Fatalf("a damaged memory was taken for whole: %v", err)
		}
	}
	return err == nil
}
