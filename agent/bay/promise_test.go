package bay_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// world draws readings in segments: each reading keeps a mode for a while, so
// raise and clear times, checking and the minimum off time are crossed from both
// sides.
type world struct {
	t     *rapid.T
	now   time.Duration
	setup bay.Setup
	r     bay.Readings
	ids   int

	// What readings alone do not show, by an independent model.
	hasp    hasp            // the locks, as ordered and accepted
	dry     map[int]bool    // cells that a rod showed dry, and no level above the tops since
	over    map[int]bool    // cells that a rod showed at the bottom of the vent well or above, and that were not drawn off and read since
	drawn   map[int]bool    // of them, those that were drawn off since
	lastC   reading.Reading // pack temperature of the tick before
	low     map[int]bool    // cells last read so low that a rod's own error reaches the plate tops
	flows   time.Duration   // how long current has flowed into a pack that is not full, without a break
	still   bool            // the airflow switch has once shown no air
	runaway bool            // a runaway is simulated, and has lasted long enough
}

var faults = append([]reading.Fault{reading.Missing}, reading.Faults()...)

func (w *world) reading(name string, values ...float64) reading.Reading {
	if rapid.IntRange(0, 9).Draw(w.t, name+" fault") == 0 {
		return reading.Bad(rapid.SampledFrom(faults).Draw(w.t, name+" kind"), w.now)
	}
	return reading.Good(rapid.SampledFrom(values).Draw(w.t, name), w.now)
}

func (w *world) segment() {
	cells := float64(w.setup.Pack.Cells)
	w.r.PackV = w.reading("cell V", math.NaN(), math.Inf(1), 0, 1.2, 1.95, 2.08, 2.1, 2.12, 2.3, 2.41, 2.44, 2.5, 2.6, 2.84, 2.95, -2.1)
	w.r.PackV.Value *= cells
	w.r.CurrentA = w.reading("A", -20, 0, 0, 0.3, 4, 10, 35, 35, math.NaN())
	w.r.PackC = w.reading("pack °C", -70, -30, 5, 25, 25, 30, 37.9, 38.1, 50.9, 51.1, 60)
	w.r.AmbientC = w.reading("air °C", -5, 20, 25, 40)
	w.r.Airflow = w.reading("air", 1, 1, 1, 0)
	w.r.HydrogenPct = w.reading("H2", 0, 0.2, 0.9, 1.5, 2.5)
	w.r.ContactorClosed = w.reading("feedback", 0, 1)
	w.r.ChargerComplete = w.reading("complete", 0, 0, 1)
	c := w.reading("level", -10, -0.1, 0, 0.1, 2.9, 3, 8, 12, 25, math.Inf(1), math.NaN())
	w.r.Level = reading.LevelBetween(c.Value, c.Value+rapid.SampledFrom([]float64{0, 0, 4, -1}).Draw(w.t, "span"), w.now)
	if !c.OK() {
		w.r.Level = reading.Level{LowMM: 10, HighMM: 10, At: w.now, Fault: c.Fault}
	}
}

// tick moves the clock and refreshes the times of good readings, except the
// reading that the segment keeps stuck in the past.
func (w *world) tick(dt time.Duration, stuck int) {
	w.now += dt
	w.r.Now = w.now
	places := baytest.Places(&w.r)
	for i, r := range places {
		if i != stuck {
			r.At = w.now
		}
	}
	if stuck != len(places) {
		w.r.Level.At = w.now
	}
}

func (w *world) orders() []order.Order {
	if rapid.IntRange(0, 7).Draw(w.t, "order") != 0 {
		return nil
	}
	w.ids++
	return []order.Order{{
		ID:   fmt.Sprint(rapid.IntRange(max(0, w.ids-2), w.ids).Draw(w.t, "id")),
		Kind: order.Kind(rapid.IntRange(0, int(order.NumKinds)).Draw(w.t, "order kind")),
		By:   rapid.SampledFrom([]string{"", "a person", "a person", "Ana"}).Draw(w.t, "by"),
		Lock: rapid.SampledFrom([]string{"hold", "visit", ""}).Draw(w.t, "lock"),
		Of:   rapid.SampledFrom([]string{"a person", "Ana", ""}).Draw(w.t, "of"), Reason: rapid.SampledFrom([]string{"gone home", ""}).Draw(w.t, "reason"),
		NobodyAtPack: rapid.Bool().Draw(w.t, "nobody"),
		Cell:         rapid.IntRange(-1, 14).Draw(w.t, "cell"), ML: rapid.Float64Range(-10, 3000).Draw(w.t, "ml"),
		Gravity: rapid.Float64Range(0.9, 1.5).Draw(w.t, "sg"), AtC: 25, LevelMM: rapid.SampledFrom([]float64{-300, -5, 0, 2, 6, 9, 13, 30, 300}).Draw(w.t, "mm"),
		Cells: w.lines(), Sure: rapid.Bool().Draw(w.t, "sure"),
	}}
}

// lines draws the lines of an entry.
func (w *world) lines() (cells []order.CellEntry) {
	for range rapid.IntRange(0, 2).Draw(w.t, "lines") {
		c := order.CellEntry{Cell: rapid.IntRange(0, 13).Draw(w.t, "line's cell")}
		if rapid.Bool().Draw(w.t, "pours") {
			c.ML = new(rapid.SampledFrom([]float64{-1, 0, 5, 50, 500, 3000}).Draw(w.t, "line's ml"))
		}
		c.How = rapid.SampledFrom([]order.How{"", "", order.Measured, order.ToMark, order.AsProposed}).Draw(w.t, "how")
		c.Dry = rapid.IntRange(0, 2).Draw(w.t, "dry") == 0
		if rapid.Bool().Draw(w.t, "reads") {
			c.LevelMM = new(rapid.SampledFrom([]float64{-5, 0, 0.5, 4, 10, 13, 22, 30}).Draw(w.t, "line's mm"))
		}
		if rapid.IntRange(0, 3).Draw(w.t, "draws") == 0 {
			c.DrawnML = new(rapid.SampledFrom([]float64{0, 50, 1000}).Draw(w.t, "drawn"))
		}
		cells = append(cells, c)
	}
	return cells
}

// look follows which cells a rod showed dry, from what was said alone: a level at
// the tops is dry, one above them is not, and filling to the mark ends at it.
func (w *world) look(o *order.Order) {
	var lines []order.CellEntry
	switch o.Kind {
	case order.Entry:
		lines = o.Cells
	case order.Level:
		lines = []order.CellEntry{{Cell: o.Cell, LevelMM: &o.LevelMM}}
	case order.Accept:
		w.over = nil
	default:
	}
	if w.over == nil {
		w.over, w.drawn = map[int]bool{}, map[int]bool{}
	}
	if w.dry == nil {
		w.dry = map[int]bool{}
	}
	if w.low == nil {
		w.low = map[int]bool{}
	}
	if o.Kind == order.Correct {
		delete(w.low, o.Cell)
	}
	for _, c := range lines {
		w.fill(&c)
		w.doubt(&c, o.Late())
		switch {
		case c.LevelMM != nil:
			w.dry[c.Cell] = *c.LevelMM <= 0
		case c.How == order.ToMark:
			w.dry[c.Cell] = false
		case c.Dry:
			w.dry[c.Cell] = true
		}
	}
}

// fill follows which cells a rod showed at the bottom of the vent well or above: no
// ceiling is so high. What was drawn off and then read below may be in order.
func (w *world) fill(c *order.CellEntry) {
	n := c.Cell
	if c.DrawnML != nil {
		w.drawn[n] = w.over[n]
	}
	switch {
	case c.LevelMM == nil:
	case *c.LevelMM >= w.setup.Pack.VentWellMM:
		w.over[n], w.drawn[n] = true, false
	case w.drawn[n]:
		w.over[n] = false
	}
}

// rodErrorMM is the level read at which a level rod's error reaches the plate tops: it is
// read to a millimetre, and a reader may be off by half of a low level. Common practice.
const rodErrorMM = 2.0

// doubt follows which cells were last read, in electrolyte that is not cold, so low that
// the rod's error reaches the plate tops, and given nothing since.
func (w *world) doubt(c *order.CellEntry, late bool) {
	switch {
	case c.LevelMM != nil && !late && c.How != order.ToMark:
		w.low[c.Cell] = *c.LevelMM > 0 && *c.LevelMM <= rodErrorMM && w.ok(w.r.PackC) && w.r.PackC.Value >= 25 &&
			w.lastC.OK() && w.lastC.Value >= 25 // an order is of the tick before
	case c.LevelMM != nil, c.ML != nil, c.DrawnML != nil, c.How == order.ToMark, c.Dry:
		delete(w.low, c.Cell)
	}
}

// some reports whether any cell is in a set.
func some(cells map[int]bool) bool {
	for _, is := range cells {
		if is {
			return true
		}
	}
	return false
}

// obey updates the model with the orders taken in a tick.
func (w *world) obey(events []bay.Event) {
	defer func() { w.lastC = w.r.PackC }()
	w.still = w.still || w.ok(w.r.Airflow) && w.r.Airflow.Value == 0
	for i := range events {
		for _, o := range w.r.Orders {
			if events[i].Kind != bay.OrderTaken || o.ID != events[i].Order {
				continue
			}
			w.hasp.turn(&o, w.now)
			w.look(&o)
			break
		}
	}
}

// watch counts how long current has certainly flowed. A tick after more than ten
// minutes proves nothing about the time between. A current and a voltage that
// contradict each other are unknown, and block.
func (w *world) watch(p *bay.Picture, dt time.Duration) {
	i := w.r.CurrentA.Value / w.setup.Pack.CapacityAh
	if p.Charge.Full || !p.Seen.CurrentA.OK() || !p.Seen.PackV.OK() || !w.ok(w.r.PackV) || !w.plugged() || !w.ok(w.r.CurrentA) || !(i >= 0.05 && i < 1) || dt > 10*time.Minute {
		w.flows = 0
		return
	}
	w.flows += dt
}

// longTicks is how long a tracker may need to see a charge begin and to find it
// too long: three ticks of at most ten minutes.
const longTicks = 30 * time.Minute

// ok reports whether a reading can be believed.
func (w *world) ok(r reading.Reading) bool {
	return r.Fault == reading.None && w.now-r.At <= w.setup.Limits.StaleAfter && !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
}

// plugged: without a pack its sensors are not judged, and nothing is granted.
func (w *world) plugged() bool {
	cellV := w.r.PackV.Value / float64(w.setup.Pack.Cells)
	return !(cellV > -0.3 && cellV < 0.3)
}

// frozen is certain below the freezing point of a full pack's acid, -67 °C at
// 1.277, and of acid of 1.15, -15 °C, in a pack reported as nearly empty. Both
// are from the freezing table of TM 5-1185; the bounds are below them by more
// than a margin.
func (w *world) frozen(p *bay.Picture) bool {
	c := w.r.PackC.Value
	return w.ok(w.r.PackC) && (c <= -70 || c <= -30 && p.Charge.SocKnown && p.Charge.Soc < 0.25)
}

// elsewhere names the tests that are the oracles of the blockers that forbids
// does not have.
var elsewhere = map[interlock.Code]func(*testing.T){
	interlock.PackUnknown: TestIdentityKeepsItsPromise, // packs that are carried between bays
}

// TestEveryBlockerHasAnOracle fails by name for a blocking finding that no oracle
// expects: it could stop blocking and no test would notice.
func TestEveryBlockerHasAnOracle(t *testing.T) {
	w := &world{setup: fuzzSetup()}
	w.r = goodReadings(&w.setup)
	reasons := w.forbids(&bay.Picture{})
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		_, there := reasons[c]
		there = there || elsewhere[c] != nil
		switch blocks := interlock.Table[c].Blocks; {
		case blocks && !there:
			t.Errorf("%v blocks and has no oracle: say in forbids (promise_test.go), from the words of the design, when no charge may run", c)
		case !blocks && there:
			t.Errorf("%v does not block, and has an oracle that forbids", c)
		}
	}
}

// forbids returns, independently of the rules, what forbids a charge in a tick.
func (w *world) forbids(p *bay.Picture) (reasons map[interlock.Code]bool) {
	s, l, ok := &w.setup, &w.setup.Limits, w.ok
	cellV := w.r.PackV.Value / float64(s.Pack.Cells)
	level, plugged := w.r.Level, w.plugged()
	coverOK := level.Fault == reading.None && w.now-level.At <= s.Limits.StaleAfter && !math.IsInf(level.HighMM, 0)
	return map[interlock.Code]bool{
		interlock.AgentUnready:       w.r.LateTick || w.r.Keeper != bay.KeeperObeys || ok(w.r.PackV) && !plugged && w.r.CurrentA.Fault != reading.None,
		interlock.LevelUnknown:       plugged && !coverOK,
		interlock.Overfilled:         some(w.over),
		interlock.PlatesBare:         plugged && (coverOK && !(level.LowMM > 0) || some(w.dry)),
		interlock.LevelDoubted:       plugged && some(w.low),
		interlock.VoltageUnknown:     !ok(w.r.PackV),
		interlock.CurrentUnknown:     ok(w.r.PackV) && !ok(w.r.CurrentA),
		interlock.VoltageImplausible: plugged && ok(w.r.PackV) && !(cellV >= 1.7 && cellV <= 2.9),
		interlock.TemperatureUnknown: plugged && !ok(w.r.PackC),
		interlock.PackHot:            plugged && ok(w.r.PackC) && !(w.r.PackC.Value <= l.ChargeMaxC),
		interlock.PackFrozen:         plugged && w.frozen(p),
		interlock.ChargeOverrun:      w.flows > l.ChargeMax+longTicks,
		interlock.Runaway:            w.runaway,
		interlock.VisitOpen:          w.hasp.visited(),
		interlock.Held:               w.hasp.held(),
		interlock.CloseDelay:         w.hasp.waits(w.now, l.CloseDelay),
		interlock.AirflowUnproven:    !ok(w.r.Airflow) || w.r.Airflow.Value != 1 || !s.Fan.SeenOff && !w.still,
		interlock.HydrogenHigh:       !ok(w.r.HydrogenPct) || !(w.r.HydrogenPct.Value < l.HydrogenMaxPct),
	}
}

// witness records since when each reason has applied without a break, and when it has
// applied since the permit was last granted.
type witness struct {
	lastGood map[interlock.Code]time.Duration
	bad      map[interlock.Code][]stretch
	at       time.Duration
	alone    *[interlock.NumCodes]int // ticks in which it was the only reason that forbade a charge
}

// stretch is the time between two ticks, of which the second was bad.
type stretch struct{ from, to time.Duration }

func newWitness(at time.Duration, alone *[interlock.NumCodes]int) *witness {
	return &witness{map[interlock.Code]time.Duration{}, map[interlock.Code][]stretch{}, at, alone}
}

// badTime returns how much of the time since a moment was bad.
func (v *witness) badTime(c interlock.Code, since time.Duration) (sum time.Duration) {
	for _, s := range v.bad[c] {
		sum += max(s.to-max(s.from, since), 0)
	}
	return sum
}

// decisive fails by name for an oracle that was never the only reason that
// forbade a charge: such an oracle tests nothing.
func decisive(t *testing.T, alone *[interlock.NumCodes]int) {
	t.Helper()
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if interlock.Table[c].Blocks && elsewhere[c] == nil && alone[c] == 0 {
			t.Errorf("the histories never make %v the only reason", c)
		}
	}
}

// failer is the part of a test that a check needs.
type failer interface {
	Fatalf(format string, args ...any)
}

func (v *witness) check(t failer, w *world, p *bay.Picture, was bool) {
	w.watch(p, w.now-v.at)
	before := v.at
	v.at = w.now
	reasons, last, n := w.forbids(p), interlock.NoCode, 0
	if !was {
		clear(v.bad)
	}
	for code, bad := range reasons {
		if !bad {
			v.lastGood[code] = w.now
			continue
		}
		last, n = code, n+1
		if !p.Permit.Granted {
			continue
		}
		if !was {
			t.Fatalf("granted at %v although %v", w.now, code)
		}
		raise := interlock.Table[code].Raise
		if code == interlock.AgentUnready && !w.r.LateTick && w.r.Keeper == bay.KeeperObeys {
			raise = 2 * time.Second // of an empty plug: two readings
		}
		if stood := w.now - v.lastGood[code]; stood >= raise {
			t.Fatalf("still granted at %v although %v for %v", w.now, code, stood)
		}
		// However it comes and goes: not with half of the last three raise times bad.
		v.bad[code] = append(v.bad[code], stretch{before, w.now})
		if sum := v.badTime(code, w.now-3*raise); 2*sum >= 3*raise {
			t.Fatalf("still granted at %v although %v for %v of the last %v", w.now, code, sum, 3*raise)
		}
	}
	if n == 1 {
		v.alone[last]++
	}
}

// TestPromise drives random histories through the core and holds it to the first
// section of the design: no permit with bare plates, an unknown level or any
// other missing evidence; no call to water a pack that is not full, rested and
// cool; no water past the bottom of the vent well.
func TestPromise(t *testing.T) {
	steps, total, grants := steps(t), 0, 0
	var alone [interlock.NumCodes]int
	rounds := 0
	for total < steps {
		rounds++
		rapid.Check(t, func(t *rapid.T) {
			n, g := history(t, &alone)
			total += n
			grants += g
		})
		if t.Failed() {
			return
		}
	}
	if grants < total/100 {
		t.Errorf("granted in %d of %d steps: the histories hardly test the granting side", grants, total)
	}
	t.Logf("figure: property steps %d, of which %d with the permit granted, violations 0", total, grants)
}

func history(t *rapid.T, alone *[interlock.NumCodes]int) (steps, grants int) {
	setup := baytest.Every(baytest.Setup("bay-1"))
	setup.Limits.RestMin, setup.Limits.ChargeMax = 10*time.Minute, 2*time.Hour
	setup.Fan.SeenOff = rapid.IntRange(0, 3).Draw(t, "fan walked") != 0
	w := &world{t: t, setup: setup, now: time.Duration(rapid.Int64Range(-1e12, 1e12).Draw(t, "start"))}
	w.r = goodReadings(&setup)
	core := bay.New(setup)
	v := newWitness(w.now, alone)
	was, last := false, bay.StageUnknown
	for range rapid.IntRange(1, 40).Draw(t, "segments") {
		before := w.r
		w.segment()
		w.mostlyCalm()
		flaps := rapid.SampledFrom([]int{0, 0, 0, 1, 2, 5}).Draw(t, "flaps")
		dt := rapid.SampledFrom([]time.Duration{100 * time.Millisecond, time.Second, time.Second, 30 * time.Second, 10 * time.Minute, 5 * time.Hour}).Draw(t, "dt")
		stuck := rapid.IntRange(0, 40).Draw(t, "stuck")
		for n := range rapid.IntRange(1, 150).Draw(t, "ticks") {
			if flaps > 0 && n%flaps == 0 { // between these readings and those of the segment before
				w.r, before = before, w.r
			}
			w.tick(dt, stuck)
			w.r.Orders = w.orders2(steps)
			w.r.LateTick, w.r.Keeper = steps%997 == 0, bay.KeeperObeys
			if steps%1009 == 0 {
				w.r.Keeper = bay.Keeper(1 + steps/1009%5) // more than there are
			}
			p, events := core.Step(&w.r)
			for i := range events {
				if e := &events[i]; e.Stage == bay.Cooling && e.WaitingFor == cooldown.NothingLeft && e.Kind == bay.StageChanged && !p.Cool.Cool {
					t.Fatalf("%v: told that the pack is rested and cool, which it is not", w.now)
				}
			}
			steps++
			w.obey(events)
			v.check(t, w, p, was)
			checkPicture(t, w, p, last)
			was, last = p.Permit.Granted, p.Stage
			if was {
				grants++
			}
		}
	}
	return steps, grants
}

// orders2 limits the draws of a history: an order may come every 50 steps.
func (w *world) orders2(step int) []order.Order {
	if step%50 != 0 {
		return nil
	}
	return w.orders()
}

// mostlyCalm leaves one segment in four calm; in the others it changes one
// reading.
func (w *world) mostlyCalm() {
	kind, r := rapid.IntRange(0, 3).Draw(w.t, "calm"), w.r
	if kind == 0 {
		return
	}
	w.calm()
	if kind > 1 {
		return
	}
	switch rapid.IntRange(0, 5).Draw(w.t, "but for") {
	case 0:
		w.r.PackV = r.PackV
	case 1:
		w.r.CurrentA = r.CurrentA
	case 2:
		w.r.PackC = r.PackC
	case 3:
		w.r.Level = r.Level
	case 4:
		w.r.Airflow = r.Airflow
	case 5:
		w.r.HydrogenPct = r.HydrogenPct
	}
}

// calm makes a segment in which everything is good, because otherwise no permit
// would ever be granted.
func (w *world) calm() {
	w.r.PackV = reading.Good(2.1*float64(w.setup.Pack.Cells), w.now)
	if rapid.Bool().Draw(w.t, "charging") {
		w.r.PackV.Value = 2.45 * float64(w.setup.Pack.Cells)
		w.r.CurrentA = reading.Good(rapid.SampledFrom([]float64{3, 10, 30}).Draw(w.t, "charge A"), w.now)
	}
	w.r.PackC, w.r.AmbientC = reading.Good(30, w.now), reading.Good(25, w.now)
	for s := reading.Hydrogen; s < reading.NumSensors; s++ {
		if s != reading.ContactorFeedback && s != reading.ChargerComplete {
			*w.r.Place(s) = reading.Good(s.Well(), w.now)
		}
	}
	level := rapid.SampledFrom([]float64{3, 5, 9, 14}).Draw(w.t, "calm level")
	w.r.Level = reading.LevelBetween(level, level, w.now)
}

func checkPicture(t failer, w *world, p *bay.Picture, last bay.Stage) {
	blocking := p.FirstReason()
	if p.Permit.Granted == (blocking != interlock.NoCode) {
		t.Fatalf("permit %v with first reason %v at %v", p.Permit, blocking, w.now)
	}
	if p.Visit.Open && p.Permit.Granted {
		t.Fatalf("granted with an open visit at %v", w.now)
	}
	if !p.Visit.Open && w.hasp.of("visit") {
		t.Fatalf("the visit is closed at %v although somebody is in it: %v", w.now, w.hasp.locks)
	}
	if p.Stage == bay.ReadyToWater && last != bay.ReadyToWater {
		checkReady(t, w, p)
	}
	checkWater(t, w, p)
}

func checkReady(t failer, w *world, p *bay.Picture) {
	l := &w.setup.Limits
	switch {
	case !p.Charge.Full:
		t.Fatalf("called to water a pack that is not full at %v", w.now)
	case p.Charge.Flowing || w.now-p.Charge.EndedAt < l.RestMin:
		t.Fatalf("called to water a pack that has not rested at %v", w.now)
	case !p.Seen.PackC.OK() || p.Seen.PackC.Value > l.WateringMaxC+3:
		t.Fatalf("called to water a pack at %+v at %v", p.Seen.PackC, w.now)
	case !p.Water.Known || !p.Water.Due:
		t.Fatalf("called to water a pack that does not need it at %v", w.now)
	}
}

// checkWater calculates each cell's fill independently and warms it to the limit:
// 5.66e-4 per °C at gravity 1.28 is the slope of Myhre, Nielsen and Saastad, J.
// Chem. Eng. Data 43 (1998) 617.
func checkWater(t failer, w *world, p *bay.Picture) {
	if !p.Water.Known {
		return
	}
	pack := &w.setup.Pack
	hotMM := pack.ElectrolyteML * 5.66e-4 * (w.setup.Limits.ChargeMaxC - 25) / pack.FreeSurfaceCM2 * 10
	for c := range p.Water.Cells {
		for _, ml := range []float64{p.Water.NeedML[c], p.Water.CoverPlatesML[c]} {
			after := p.Water.LevelMM[c] + ml/pack.FreeSurfaceCM2*10
			if ml > 0 && !(after+hotMM <= pack.VentWellMM) {
				t.Fatalf("cell %d: %.1f ml on %.1f mm reach %.1f mm when hot; bottom of the vent well %.1f", c+1, ml, p.Water.LevelMM[c], after+hotMM, pack.VentWellMM)
			}
		}
	}
}
