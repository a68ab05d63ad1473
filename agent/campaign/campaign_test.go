package campaign

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// trial is one thing that breaks during a charge.
type trial struct {
	name string
	do   func(*rig)
	fix  func(*rig)
	// bound is the longest time until the charge is blocked: one tick, the
	// finding's raise time, and the age of a stale reading where the fault is
	// silence. The contactor opens in the same tick, within its 15 ms.
	bound time.Duration
	says  interlock.Code // the first reason, or what is reported without blocking
	also  interlock.Code // what must be raised beside it
	// stays is set when the permit rightly stays granted, or when nothing can
	// detect the fault: it states why, and what detects the fault later.
	stays string
	// back is the longest time until the charge continues after the repair: clear
	// time, minimum off time, checking; 0 when it does not recover by itself.
	back time.Duration
	// change is what is set up differently from the other trials, and first what is
	// done before the charge. wired are other parts than the usual ones.
	change func(*bay.Setup)
	wired  *wiring.Parts
	first  func(*rig)
	wires  func(*wiring.Parts) // wired differently from the other trials
}

func fault(f sim.FaultKind, bound time.Duration, says interlock.Code, back time.Duration) trial {
	return trial{
		name: f.String(), do: func(r *rig) { r.truth.SetFault(f, true) }, fix: func(r *rig) { r.truth.SetFault(f, false) },
		bound: bound, says: says, back: back,
	}
}

func with(also interlock.Code, x trial) trial {
	x.also = also
	return x
}

func unseen(f sim.FaultKind, says interlock.Code, why string) trial {
	x := fault(f, 0, says, 0)
	x.stays = why
	return x
}

const (
	atRest   = 80 * time.Second // minimum off time, clear time, ticks between
	settles  = 2 * time.Minute  // plus checking again
	cleanAir = 6 * time.Minute  // plus five minutes of clean air, when the gas sensor was lost too
	handOff  = 5 * time.Minute  // as settles, after a sensor has gone back to the pack's temperature
)

// on is a trial with another level probe.
func on(wires func(*wiring.Parts), kind string, x trial) trial {
	x.name, x.wires = x.name+", "+kind, wires
	return x
}

// rods is a bay with a ladder that is read by test pulses, single one with a potential
// probe. Both have a rod at the lowest level for charging.
func rods(w *wiring.Parts) {
	w.Level = &wiring.Level{
		Input: wiring.Input{ADC: 0x49, RangeV: 4.096}, Kind: level.Ladder, Expander: 0x20,
		Settings: level.Settings{ReferenceOhm: 10e3, EndOhm: 100e3, Rods: []level.Rod{{HeightMM: -5, SeriesOhm: 33e3}, {HeightMM: 4, SeriesOhm: 22e3}}},
	}
}

func single(w *wiring.Parts) {
	w.Level = &wiring.Level{
		Input: w.Level.Input, Kind: level.Potential, Expander: 0x20,
		Settings: level.Settings{PulseV: 3.3, PulseOhm: 100e3, EndOhm: 100e3, CellsBelow: 6, Rods: []level.Rod{{HeightMM: 4, SeriesOhm: 1.02e6}}},
	}
}

// flaps is evidence that is bad for some seconds and good for the next. The drivers read
// at every tick.
func flaps(name string, bad, good int, spoil func(*bay.Readings), bound time.Duration, says interlock.Code, back time.Duration) trial {
	return trial{
		name: name, bound: bound, says: says, back: back,
		do: func(r *rig) {
			from := r.bench.Now()
			p := play(func(out *bay.Readings) {
				if int((r.bench.Now()-from-tick/2)/tick)%(bad+good) < bad {
					spoil(out)
				}
			})
			r.plays.Store(&p)
		},
		fix: func(r *rig) { r.plays.Store(nil) },
	}
}

const (
	leakML  = 250 // brings the pilot cell from 10 mm to below its plates
	another = "lift-24v-b"
)

// elsewhere names the findings that no trial raises, and why.
var elsewhere = map[interlock.Code]string{
	interlock.WaterUnrecorded: "needs somebody who pours into the pack with the lid open: agent/bay/unrecorded_test.go",
	interlock.ReadingsOff:     "needs a person who reads wrong four times: agent/bay/unrecorded_test.go",
	interlock.CellsMiscounted: "needs a full charge and four hours of rest: agent/cellcount/nights_test.go",
	interlock.WaterBalance:    "needs a level that is wrong for six hours of calm after charges: agent/water/balance_test.go",
}

// trials contains every fault of the simulator, and what else breaks.
var trials = []trial{
	fault(sim.ProbeOpen, 3*time.Second, interlock.LevelUnknown, atRest),
	fault(sim.ProbeShort, 3*time.Second, interlock.LevelUnknown, atRest),
	on(rods, "ladder", fault(sim.ProbeOpen, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(rods, "ladder", fault(sim.ProbeShort, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(rods, "ladder", fault(sim.ProbeDrift, 45*time.Minute, interlock.LevelUnknown, atRest)),
	on(rods, "ladder", fault(sim.ADCAbsent, 3*time.Second, interlock.LevelUnknown, cleanAir)),
	on(rods, "ladder", fault(sim.BusStuck, 3*time.Second, interlock.LevelUnknown, cleanAir)),
	on(rods, "ladder", trial{
		name: "cell leaks", says: interlock.LevelUnknown, bound: 30 * time.Second, back: 3 * time.Minute,
		do: func(r *rig) { r.pour(-leakML) }, fix: func(r *rig) { r.pour(leakML) },
	}),
	on(rods, "ladder", fault(sim.ProbeCrust, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(rods, "ladder", fault(sim.ProbeFormed, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(rods, "ladder", fault(sim.ProbeBridged, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(rods, "ladder", fault(sim.ExpanderAbsent, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(single, "potential", fault(sim.ProbeOpen, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(single, "potential", fault(sim.ProbeShort, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(single, "potential", fault(sim.ExpanderAbsent, 3*time.Second, interlock.LevelUnknown, atRest)),
	on(single, "potential", trial{
		name: "cell leaks", says: interlock.LevelUnknown, bound: 2 * time.Minute, back: 4 * time.Minute,
		do: func(r *rig) { r.pour(-leakML) }, fix: func(r *rig) { r.pour(leakML) },
	}),
	unseen(sim.ProbeStuck, 0, "a calm level does not move either; the water balance reports it once the charge records show that 4 mm are gone, and a level rod shows it at the next visit"),
	unseen(sim.ProbeDrift, 0, "1 mm an hour looks like a charge that heats and gasses; the water balance reports it after 4 mm and 6 h of calm"),
	with(interlock.VoltageUnknown, fault(sim.ADCAbsent, 3*time.Second, interlock.LevelUnknown, cleanAir)),
	fault(sim.BusStuck, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ConversionStuck, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.ConfigReset, 3*time.Second, interlock.LevelUnknown, cleanAir),
	fault(sim.TemperatureCRC, 8*time.Second, interlock.TemperatureUnknown, settles),
	fault(sim.TemperaturePowerOn, 8*time.Second, interlock.TemperatureUnknown, settles),
	fault(sim.TemperatureUnplugged, 8*time.Second, interlock.TemperatureUnknown, settles),
	unseen(sim.AmbientUnplugged, 0, "the charge does not need the air temperature; the cool-down then needs twice the rest"),
	unseen(sim.ContactorStuckOpen, interlock.ContactorOpen, "an open contactor is safe; it is reported"),
	unseen(sim.FeedbackShorted, interlock.ContactorOpen, "the current still shows a contactor that sticks; the faulty contact is reported"),
	{
		name: "feedback-broken, then held", says: interlock.ContactorStuck,
		do:    func(r *rig) { r.truth.SetFault(sim.FeedbackBroken, true); r.order(order.Hold, "") },
		fix:   func(r *rig) { r.truth.SetFault(sim.FeedbackBroken, false) },
		bound: 2 * time.Second,
	},
	fault(sim.SenseOpen, 3*time.Second, interlock.VoltageImplausible, 0),
	fault(sim.CurrentOpen, 6*time.Second, interlock.CurrentUnknown, atRest),
	unseen(sim.CompleteBroken, 0, "it reads as not complete, so it can only prove less"),
	{
		name: "contactor-welded, then held", says: interlock.ContactorStuck,
		do:    func(r *rig) { r.truth.SetFault(sim.ContactorWelded, true); r.order(order.Hold, "") },
		fix:   func(r *rig) { r.truth.SetFault(sim.ContactorWelded, false) },
		bound: 2 * time.Second,
	},
	{
		name: "relay-stuck, then held", says: interlock.ContactorStuck,
		do:    func(r *rig) { r.truth.SetFault(sim.RelayStuck, true); r.order(order.Hold, "") },
		fix:   func(r *rig) { r.truth.SetFault(sim.RelayStuck, false) },
		bound: 2 * time.Second,
	},
	unseen(sim.WatchdogStuck, 0, "the relay still opens the contactor; the walk stops the heartbeat once a year"),
	{
		name: "i2c driver hangs", says: interlock.LevelUnknown, bound: 14 * time.Second, back: cleanAir,
		do:  func(r *rig) { hangs := make(chan struct{}); r.hangs.Store(&hangs) },
		fix: func(r *rig) { close(*r.hangs.Swap(nil)) },
	},
	{
		name: "fan stops", says: interlock.AirflowUnproven, bound: 11 * time.Second, back: 2 * time.Minute,
		do: func(r *rig) { r.truth.SetAirflow(false) }, fix: func(r *rig) { r.truth.SetAirflow(true) },
	},
	{
		name: "pack unplugged", says: interlock.AgentUnready, bound: 3 * time.Second, back: 4 * time.Minute,
		do: func(r *rig) { r.truth.Unplug() }, fix: func(r *rig) { r.truth.Connect() },
	},
	{
		name: "mains fail", stays: "without mains nothing charges; the permit only closes the contactor",
		do: func(r *rig) { r.truth.SetMains(false) }, fix: func(r *rig) { r.truth.SetMains(true) },
	},
	{
		name: "cell leaks", says: interlock.PlatesBare, bound: 3 * time.Second, back: atRest,
		do:  func(r *rig) { r.pour(-leakML) },
		fix: func(r *rig) { r.pour(leakML) },
	},
	{
		name: "pack's sensor heated", says: interlock.PackHot, bound: 25 * time.Second, back: handOff,
		do: func(r *rig) { r.truth.TouchPackSensor(60) }, fix: func(r *rig) { r.truth.TouchPackSensor(0) },
	},
	{
		name: "pack read warm", says: interlock.PackWarm, stays: "a warning: what is too hot to charge blocks",
		do: func(r *rig) {
			p := play(func(out *bay.Readings) {
				if out.PackC.OK() {
					out.PackC.Value = 45
				}
			})
			r.plays.Store(&p)
		}, fix: func(r *rig) { r.plays.Store(nil) },
	},
	{
		name: "some hydrogen at its sensor", says: interlock.HydrogenWarning, stays: "a warning: what is near the explosive limit blocks",
		do: func(r *rig) { r.truth.GiveGas(1.2) }, fix: func(r *rig) { r.truth.GiveGas(0) },
	},
	flaps("level each other second", 1, 1, func(out *bay.Readings) { out.Level.LowMM, out.Level.HighMM = -10, -10 },
		6*time.Second, interlock.PlatesBare, atRest),
	flaps("probe's wire each other second", 1, 1, func(out *bay.Readings) {
		if out.Level.Usable() {
			out.Level.Fault = reading.Open
		}
	},
		6*time.Second, interlock.LevelUnknown, atRest),
	flaps("hot for nine seconds of ten", 9, 1, func(out *bay.Readings) { out.PackC.Value = 70 },
		14*time.Second, interlock.PackHot, settles),
	flaps("hydrogen each other second", 1, 1, func(out *bay.Readings) { out.HydrogenPct.Value = 3.9 },
		6*time.Second, interlock.HydrogenHigh, cleanAir),
	flaps("voltage each other second", 1, 1, func(out *bay.Readings) { out.PackV.Value = 3.2 * float64(pack.Cells) },
		6*time.Second, interlock.VoltageImplausible, settles),
	flaps("no air for nine seconds of ten", 9, 1, func(out *bay.Readings) { out.Airflow.Value = 0 },
		14*time.Second, interlock.AirflowUnproven, atRest),
	{
		name: "pack's sensor iced", says: interlock.PackFrozen, bound: 35 * time.Second, back: handOff,
		do: func(r *rig) { r.truth.TouchPackSensor(-80) }, fix: func(r *rig) { r.truth.TouchPackSensor(0) },
	},
	{
		name: "hydrogen at its sensor", says: interlock.HydrogenHigh, bound: 4 * time.Second, back: cleanAir,
		do: func(r *rig) { r.truth.GiveGas(2.5) }, fix: func(r *rig) { r.truth.GiveGas(0) },
	},
	{
		name: "charge without an end", says: interlock.ChargeOverrun, bound: 10 * time.Minute,
		change: func(s *bay.Setup) { s.Limits.ChargeMax = 10 * time.Minute },
		do:     func(*rig) {}, fix: func(*rig) {},
	},
	{
		name: "runaway", says: interlock.Runaway, bound: 51 * time.Minute, // four windows of ten minutes, and the current one
		do:  func(r *rig) { p := runaway(r.bench.Now); r.plays.Store(&p) },
		fix: func(r *rig) { r.plays.Store(nil) },
	},
	{
		name: "pack's name withdrawn", says: interlock.PackUnknown, bound: time.Second, back: settles,
		change: func(s *bay.Setup) {
			other := s.Pack
			other.Name = another
			s.Packs, s.Pack = []bay.Pack{s.Pack, other}, bay.Pack{}
		},
		first: func(r *rig) { r.order(order.Pack, pack.Name) },
		do:    func(r *rig) { r.order(order.Pack, "") },
		fix:   func(r *rig) { r.order(order.Pack, another) },
	},
	{
		name: "overfilled cell reported", says: interlock.Overfilled, bound: time.Second, back: atRest,
		do:  func(r *rig) { r.give(order.Order{Kind: order.Level, Cell: 3, LevelMM: 21, Sure: true}) },
		fix: func(r *rig) { r.give(order.Order{Kind: order.Accept, Reason: "looked again"}) },
	},
	{
		name: "cell read low", says: interlock.LevelDoubted, bound: time.Second, back: atRest,
		do: func(r *rig) { r.give(order.Order{Kind: order.Level, Cell: 3, LevelMM: 2}) },
		fix: func(r *rig) {
			for range 2 {
				r.give(order.Order{Kind: order.Level, Cell: 3, LevelMM: 9})
			}
		},
	},
	{
		name: "disk full", says: interlock.RecordFailing, stays: "the charge is still guarded; the gaps in the record are reported",
		do: func(r *rig) { r.full.Store(true) }, fix: func(r *rig) { r.full.Store(false) },
	},
	{
		name: "hold", says: interlock.Held, bound: time.Second, back: atRest,
		do: func(r *rig) { r.order(order.Hold, "") }, fix: func(r *rig) { r.order(order.Unhold, "") },
	},
	{
		name: "last lock removed", says: interlock.CloseDelay, bound: time.Second, back: atRest,
		do: func(r *rig) { r.order(order.Hold, ""); r.order(order.Unhold, "") }, fix: func(*rig) {},
	},
	{
		name: "visit opened", says: interlock.VisitOpen, bound: 2 * time.Second, back: atRest,
		do: func(r *rig) { r.order(order.VisitOpen, "") }, fix: func(r *rig) { r.order(order.VisitClose, "") },
	},
	{
		name: "loop late", says: interlock.AgentUnready, bound: 5 * time.Second, back: atRest,
		do: func(r *rig) {
			for range 4 {
				r.pass()
			}
		}, fix: func(*rig) {},
	},
}

// TestCampaign breaks one part after another in a running charge.
func TestCampaign(t *testing.T) {
	kinds := map[string]bool{}
	for _, k := range sim.FaultKinds() {
		kinds[k.String()] = true
	}
	var table strings.Builder
	out := 0
	for _, x := range append(registerTrials, rtdTrials...) { // see TestRegisters, TestPlatinum
		delete(kinds, x.name)
	}
	for _, x := range trials {
		name, _, _ := strings.Cut(x.name, ",")
		delete(kinds, name)
		if !t.Run(x.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { x.run(t, &table) })
		}) {
			out++
		}
	}
	for _, k := range []sim.FaultKind{sim.Noise, sim.Spikes} { // see TestNoise
		delete(kinds, k.String())
	}
	for k := range kinds {
		t.Errorf("fault %s of the simulator is not tried", k)
	}
	everyFinding(t)
	t.Logf("faults in a charge:\n%s", table.String())
	t.Logf("figure: faults tried %d, out of bound %d", len(trials), out)
}

// everyFinding fails by name for a finding that no trial raises.
func everyFinding(t *testing.T) {
	t.Helper()
	tried := map[interlock.Code]bool{}
	for _, x := range trials {
		tried[x.says], tried[x.also] = true, true
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if tried[c] == (elsewhere[c] != "") {
			t.Errorf("%v needs a trial that breaks what it watches, or an entry in elsewhere with the reason why there is none", c)
		}
	}
}

func (x *trial) run(t *testing.T, table *strings.Builder) {
	w := config.DefaultWiring(0, pack)
	if x.wired != nil {
		w = *x.wired
	}
	if x.wires != nil {
		x.wires(&w)
	}
	r := newRigOf(t, w, nil, x.change)
	defer func() { _ = r.loop.Stop(time.Second) }()
	if x.first != nil {
		x.first(r)
	}
	r.charge()
	from := r.bench.Now()
	x.do(r)
	if x.stays != "" {
		x.remains(r, table)
		return
	}
	_, ok := r.until(x.bound+time.Minute, func(p *bay.Picture) bool { return !p.Permit.Granted })
	after := r.bench.Now() - from
	p := r.loop.Pictures()[0]
	if !ok || after > x.bound {
		t.Errorf("%s: blocked %v after %v, bound %v; %v", x.name, ok, after, x.bound, p.Codes())
	}
	reason := p.FirstReason()
	if x.says == interlock.ContactorStuck { // an alarm beside the reason
		_, told := r.until(5*time.Second, func(p *bay.Picture) bool { return p.Findings[x.says].Raised })
		p, reason = r.loop.Pictures()[0], x.says
		closed := r.truth.Fault(sim.ContactorWelded) || r.truth.Fault(sim.RelayStuck)
		if !told || r.truth.Truth().ContactorClosed != closed {
			t.Errorf("%s: reported %v, contactor closed %v", x.name, told, r.truth.Truth().ContactorClosed)
		}
	} else if r.pass(); r.truth.Truth().ContactorClosed {
		t.Errorf("%s: the contactor is closed a second after the permit was blocked", x.name)
	}
	if x.also != interlock.NoCode && !p.Findings[x.also].Raised {
		t.Errorf("%s: %v is not raised beside %v", x.name, x.also, p.Codes())
	}
	if reason != x.says {
		t.Errorf("%s: reports %v, want %v (%v)", x.name, reason, x.says, p.Codes())
	}
	fmt.Fprintf(table, "%-28s blocked after %2.0f s (bound %2.0f s)  %s\n", x.name, after.Seconds(), x.bound.Seconds(), said(p, reason))
	x.recovers(r, table)
}

// recovers repairs the fault and waits for the charge to continue.
func (x *trial) recovers(r *rig, table *strings.Builder) {
	r.t.Helper()
	for range 30 {
		r.tick() // it stays blocked while the fault remains
		if x.name != "loop late" && r.loop.Pictures()[0].Permit.Granted {
			r.t.Fatalf("%s: granted again while the fault remains", x.name)
		}
	}
	x.fix(r)
	after, ok := r.until(10*time.Minute, func(p *bay.Picture) bool { return p.Permit.Granted })
	switch p := r.loop.Pictures()[0]; {
	case interlock.Table[x.says].Latches && (ok || !p.Findings[x.says].Latched):
		r.t.Errorf("%s: continues without a release", x.name)
	case x.back > 0 && (!ok || after > x.back):
		r.t.Errorf("%s: continues %v after %v, want at most %v; %v", x.name, ok, after, x.back, p.Codes())
	case ok:
		fmt.Fprintf(table, "%-28s   continues %.0f s after the repair\n", "", after.Seconds())
	default:
		fmt.Fprintf(table, "%-28s   does not continue by itself: %v\n", "", p.Codes())
	}
}

// remains is for faults that do not block: the permit stays granted for ten
// minutes, and what must be reported is reported within one tick plus its raise
// time.
func (x *trial) remains(r *rig, table *strings.Builder) {
	r.t.Helper()
	told := time.Duration(0)
	for after := tick; after <= 10*time.Minute; after += tick {
		p := r.tick()
		if !p.Permit.Granted {
			r.t.Fatalf("%s: blocked after %v by %v, although: %s", x.name, after, p.Codes(), x.stays)
		}
		if x.says != interlock.NoCode && told == 0 && p.Findings[x.says].Raised {
			told = after
			fmt.Fprintf(table, "%-28s not blocked, reported after %.0f s: %s\n", x.name, told.Seconds(), said(p, x.says))
		}
	}
	if x.says != interlock.NoCode && (told == 0 || told > tick+interlock.Table[x.says].Raise) {
		r.t.Errorf("%s: reported after %v", x.name, told)
	}
	fmt.Fprintf(table, "%-28s not blocked: %s\n", x.name, x.stays)
}

// TestSecondChannel: a relay that stays closed is opened in its place by the watchdog
// relay, within its hold after the report, and does not close again by itself. A
// second fault, a watchdog relay that does not drop, leaves the cut-off alone.
func TestSecondChannel(t *testing.T) {
	for _, both := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, nil, nil)
			defer func() { _ = r.loop.Stop(time.Second) }()
			r.charge()
			r.truth.SetFault(sim.WatchdogStuck, both)
			r.truth.SetFault(sim.RelayStuck, true)
			r.order(order.Hold, "")
			bound := tick + interlock.Table[interlock.ContactorStuck].Raise + 10*time.Second + tick
			took, opened := r.until(bound, func(*bay.Picture) bool { return !r.truth.Truth().ContactorClosed })
			if opened == both {
				t.Fatalf("watchdog stuck %v: opened %v", both, opened)
			}
			if both {
				return
			}
			t.Logf("figure: relay stuck closed: the watchdog relay opens the contactor %v after the order", took)
			if _, again := r.until(2*time.Minute, func(*bay.Picture) bool { return r.truth.Truth().ContactorClosed }); again {
				t.Error("it closed again")
			}
		})
	}
}

// TestNoise: noise and spikes are handled by the drivers; the contactor must not
// chatter more often than its minimum off time allows.
func TestNoise(t *testing.T) {
	for name, wires := range map[string]func(*wiring.Parts){"transmitter": func(*wiring.Parts) {}, "ladder": rods, "potential": single} {
		t.Run(name, func(t *testing.T) { noisy(t, wires) })
	}
}

func noisy(t *testing.T, wires func(*wiring.Parts)) {
	for _, kind := range []sim.FaultKind{sim.Noise, sim.Spikes} {
		t.Run(kind.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := config.DefaultWiring(0, pack)
				wires(&w)
				r := newRigOf(t, w, nil, nil)
				defer func() { _ = r.loop.Stop(time.Second) }()
				r.charge()
				r.truth.SetFault(kind, true)
				drops, was := 0, true
				said := map[string]bool{}
				for range 1800 {
					p := r.tick()
					if was && !p.Permit.Granted {
						drops++
						said[p.FirstReason().String()] = true
					}
					was = p.Permit.Granted
				}
				t.Logf("%s for half an hour: the contactor opened %d times %v", kind, drops, said)
				if drops > 15 {
					t.Errorf("%s: the contactor chatters", kind)
				}
			})
		})
	}
}

// caught is a pair that only a charge reveals.
const caught = "at rest both are plausible; the charging current drives the level out of range"

// TestExchanged: with two wires exchanged no charge is granted, except for pairs
// that show plausible values on both; those are named.
func TestExchanged(t *testing.T) {
	ch := func(a, b func(*wiring.Parts) *int) func(*wiring.Parts) {
		return func(w *wiring.Parts) { *a(w), *b(w) = *b(w), *a(w) }
	}
	voltage := func(w *wiring.Parts) *int { return &w.Voltage.Channel }
	current := func(w *wiring.Parts) *int { return &w.Current.Channel }
	level := func(w *wiring.Parts) *int { return &w.Level.Channel }
	hydrogen := func(w *wiring.Parts) *int { return &w.Hydrogen.Channel }
	n, wrong := 0, 0
	for name, tc := range map[string]struct {
		miswire func(*wiring.Parts)
		unseen  string
	}{
		"voltage and current":  {ch(voltage, current), ""},
		"voltage and level":    {ch(voltage, level), ""},
		"voltage and hydrogen": {ch(voltage, hydrogen), ""},
		"current and level":    {ch(current, level), caught},
		"current and hydrogen": {ch(current, hydrogen), ""},
		"level and hydrogen":   {ch(level, hydrogen), ""},
		"pack and ambient temperature": {func(w *wiring.Parts) {
			w.Temperature.Pack, w.Temperature.Ambient = w.Temperature.Ambient, w.Temperature.Pack
		}, "both are temperatures of the room until the pack warms; then the pack never seems to cool, and the technician is not called"},
		"feedback and airflow": {func(w *wiring.Parts) { w.Relay.Feedback.Pin, w.Airflow.Pin = w.Airflow.Pin, w.Relay.Feedback.Pin }, ""},
		"feedback and complete": {func(w *wiring.Parts) { w.Relay.Feedback.Pin, w.Complete.Pin = w.Complete.Pin, w.Relay.Feedback.Pin },
			"the permit does not depend on them; contactor-open is reported at once"},
		"airflow and complete": {func(w *wiring.Parts) { w.Airflow.Pin, w.Complete.Pin = w.Complete.Pin, w.Airflow.Pin }, ""},
	} {
		n++
		if !t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				r := newRig(t, tc.miswire, nil)
				defer func() { _ = r.loop.Stop(time.Second) }()
				_, granted := r.until(10*time.Minute, func(p *bay.Picture) bool { return p.Permit.Granted })
				p := r.loop.Pictures()[0]
				if granted != (tc.unseen != "") {
					t.Errorf("%s exchanged: granted %v, %v", name, granted, p.Codes())
				}
				if tc.unseen == caught {
					_, ok := r.until(time.Minute, func(p *bay.Picture) bool { return !p.Permit.Granted })
					if p = r.loop.Pictures()[0]; !ok {
						t.Errorf("%s exchanged: still granted a minute after the charge began", name)
					}
				}
				codes := slices.Clone(p.Codes())
				t.Logf("%s exchanged: granted %v %v %s", name, granted, codes, tc.unseen)
			})
		}) {
			wrong++
		}
	}
	t.Logf("figure: wires exchanged %d, not as described %d", n, wrong)
}
