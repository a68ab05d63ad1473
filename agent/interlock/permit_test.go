package interlock_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// calm is a tick in which nothing blocks a charge.
func calm(now time.Duration) interlock.Inputs {
	g := func(v float64) reading.Reading { return reading.Good(v, now) }
	in := interlock.Inputs{
		Now: now, Level: reading.LevelBetween(8, 8, now), CellV: g(2.1), PackC: g(25), CurrentA: g(0),
		Feedback: g(1), FreezingC: freezingC, WaterKnown: true, Ready: true, Name: interlock.Named,
		SurelyMM: 5, SurelyKnown: true,
	}
	room := calmRoom()
	putRoom(&in, &room)
	in.Hydrogen = g(0)
	return in
}

// rig steps an interlock second by second.
type rig struct {
	t   *testing.T
	x   *interlock.Interlock
	now time.Duration
}

func newRig(t *testing.T, start time.Duration) *rig {
	return &rig{t, interlock.New(enumLimits, start), start}
}

// granted runs in calm until the permit is granted.
func (r *rig) granted() *rig {
	r.t.Helper()
	for range 61 {
		r.step(time.Second, nil)
	}
	if !r.x.Granted() {
		r.t.Fatal("a minute of calm grants nothing")
	}
	return r
}

// step moves by dt and steps in calm, except for what change does.
func (r *rig) step(dt time.Duration, change func(*interlock.Inputs)) *interlock.Interlock {
	r.now += dt
	in := calm(r.now)
	if !r.x.Granted() {
		in.Feedback.Value = 0
	}
	if change != nil {
		change(&in)
	}
	r.x.Step(&in, false)
	return r.x
}

// TestEveryCodeHasACondition fails by name for a finding that no test here raises:
// TestTimes checks only those in the map.
func TestEveryCodeHasACondition(t *testing.T) {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if (conditions[c] == nil) == (elsewhere[c] == nil) {
			t.Errorf("%v must have its condition in the map conditions of cases_test.go, or the test that creates it in elsewhere", c)
		}
	}
}

// TestTimes checks the raise and clear time of every row, to the nanosecond, and
// that the permit is blocked where it must be.
func TestTimes(t *testing.T) {
	for code, change := range conditions {
		t.Run(code.String(), func(t *testing.T) {
			r, rule := newRig(t, -time.Hour).granted(), &interlock.Table[code]
			if rule.Raise > 0 {
				if x := r.step(rule.Raise-1, change); x.Standing(code).Raised || !x.Granted() {
					t.Fatalf("raised a nanosecond before %v", rule.Raise)
				}
				r.step(1, change)
			} else {
				r.step(time.Second, change)
			}
			s := r.x.Standing(code)
			if !s.Raised || s.Since != r.now || s.Latched != rule.Latches || r.x.Granted() == rule.Blocks {
				t.Fatalf("after %v: %+v, granted %v", rule.Raise, *s, r.x.Granted())
			}
			if rule.Blocks && r.x.Changed() != r.now {
				t.Errorf("blocked at %v, want %v", r.x.Changed(), r.now)
			}
			r.clears(code, rule, change)
		})
	}
}

func (r *rig) clears(code interlock.Code, rule *interlock.Rule, change func(*interlock.Inputs)) {
	r.t.Helper()
	if rule.Latches {
		r.step(time.Hour, nil)
		if r.step(time.Hour, nil); !r.x.Standing(code).Raised || r.x.Granted() {
			r.t.Fatal("a latch cleared by itself")
		}
		return
	}
	// A relapse starts the clear time again.
	if rule.Clear > 0 {
		r.step(time.Second, nil)
		r.step(rule.Clear-1, change)
	}
	r.step(time.Second, nil)
	if rule.Clear > 0 {
		if r.step(rule.Clear-1, nil); !r.x.Standing(code).Raised {
			r.t.Fatalf("cleared a nanosecond before %v", rule.Clear)
		}
		r.step(1, nil)
	}
	if code == interlock.AgentUnready { // includes the contactor's minimum off time
		r.step(time.Minute, nil)
	}
	if r.x.Standing(code).Raised {
		r.t.Fatalf("not cleared after %v", rule.Clear)
	}
}

// TestMinimumOffTime: the contactor stays open for it, to the nanosecond, and the
// evidence says so.
func TestMinimumOffTime(t *testing.T) {
	r := newRig(t, 0).granted()
	r.step(time.Second, conditions[interlock.Held])
	off := r.now
	r.step(time.Second, nil)
	e := r.x.Standing(interlock.AgentUnready)
	if !e.Raised || e.Evidence.Reason != interlock.ContactorRest || e.Evidence.Value != 59 {
		t.Errorf("during the minimum off time: %+v", *e)
	}
	if r.step(off+time.Minute-1-r.now, nil); r.x.Granted() {
		t.Error("granted a nanosecond before the minimum off time")
	}
	if r.step(1, nil); !r.x.Granted() || r.x.Changed() != r.now {
		t.Error("not granted after the minimum off time")
	}
	r.x.Limits.OffMin = time.Hour
	if r.step(time.Second, nil); !r.x.Granted() {
		t.Error("the minimum off time ends a granted permit")
	}
}

// TestNeverBothGood: a wire that alternates between bad values and none is never
// proven good, so it does not keep the permit. It used to: each finding took the
// other's tick as good.
func TestNeverBothGood(t *testing.T) {
	for name, pair := range map[string][2]func(*interlock.Inputs){
		"level":       {bare, noLevel},
		"temperature": {conditions[interlock.PackHot], conditions[interlock.TemperatureUnknown]},
		"frozen":      {conditions[interlock.PackFrozen], conditions[interlock.TemperatureUnknown]},
		"voltage":     {conditions[interlock.VoltageImplausible], conditions[interlock.VoltageUnknown]},
		"current": {conditions[interlock.CurrentUnknown], func(in *interlock.Inputs) {
			conditions[interlock.CurrentUnknown](in)
			conditions[interlock.VoltageUnknown](in)
		}},
	} {
		r := newRig(t, 0).granted()
		for i := range 12 {
			r.step(time.Second, pair[i%2])
		}
		if r.x.Granted() {
			t.Errorf("%s: granted after 12 s without one good reading", name)
		}
	}
}

// TestOneWireOneFinding: what a broken wire takes with it is reported once.
func TestOneWireOneFinding(t *testing.T) {
	for name, tc := range map[string]struct {
		change func(*interlock.Inputs)
		want   []interlock.Code
	}{
		"probe":       {noLevel, []interlock.Code{interlock.LevelUnknown}},
		"thermometer": {conditions[interlock.TemperatureUnknown], []interlock.Code{interlock.TemperatureUnknown}},
		"sense lead":  {conditions[interlock.VoltageUnknown], []interlock.Code{interlock.VoltageUnknown}},
		"voltage and current": {func(in *interlock.Inputs) {
			in.CellV, in.CurrentA = reading.Bad(reading.NoAnswer, in.Now), reading.Bad(reading.NoAnswer, in.Now)
		}, []interlock.Code{interlock.VoltageUnknown}},
		"hydrogen": {func(in *interlock.Inputs) { in.Hydrogen = reading.Bad(reading.Open, in.Now) }, []interlock.Code{interlock.HydrogenHigh}},
		"pack and its sensors": {func(in *interlock.Inputs) {
			noLevel(in)
			in.CellV.Value, in.PackC, in.Ready, in.Plug = 0, reading.Bad(reading.NoAnswer, in.Now), false, interlock.Unplugged
		}, []interlock.Code{interlock.AgentUnready}},
	} {
		for _, from := range []*rig{newRig(t, 0).granted(), newRig(t, 0)} {
			for range 70 {
				from.step(time.Second, tc.change)
			}
			from.only(name, tc.want)
		}
	}
}

// only fails when any other finding is raised.
func (r *rig) only(name string, want []interlock.Code) {
	r.t.Helper()
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		wanted := false
		for _, w := range want {
			wanted = wanted || w == c
		}
		if r.x.Standing(c).Raised != wanted {
			r.t.Errorf("%s: %v raised %v", name, c, !wanted)
		}
	}
}

// TestFadingPlug: while a plug is being pulled its sensors are not reported, but
// nothing starts, and they do not count as good either.
func TestFadingPlug(t *testing.T) {
	fading := func(in *interlock.Inputs) {
		noLevel(in)
		in.CellV.Value, in.Plug = 0, interlock.Fading
	}
	r := newRig(t, 0).granted()
	for range 5 {
		r.step(time.Second, fading)
	}
	r.only("fading plug", nil)
	if r.step(time.Second, noLevel); r.x.Granted() {
		t.Error("the level has been unknown for six seconds and the permit is granted")
	}
	r = newRig(t, 0).granted()
	for range 2 {
		r.step(time.Second, func(in *interlock.Inputs) { fading(in); bare(in) })
	}
	if r.step(time.Second, bare); r.x.Granted() {
		t.Error("the plates have been bare for three seconds and the permit is granted")
	}
	r = newRig(t, 0)
	for range 120 {
		if r.step(time.Second, fading); r.x.Granted() {
			t.Fatal("granted on an empty plug")
		}
	}
	bareAndFading := func(in *interlock.Inputs) { fading(in); bare(in) }
	r = newRig(t, 0).granted()
	for range 3 {
		r.step(time.Second, bareAndFading)
	}
	r.only("bare plates at a fading plug", nil)
	away := func(in *interlock.Inputs) { bareAndFading(in); in.Plug = interlock.Unplugged }
	for range 3 {
		r.step(time.Second, away)
	}
	r.only("pack unplugged", []interlock.Code{interlock.AgentUnready})
}

// TestBareByTheRecord: one cell that is bare by the record blocks like one that the
// probe shows, whatever the probe reads.
func TestBareByTheRecord(t *testing.T) {
	recorded := func(cells int) func(*interlock.Inputs) {
		return func(in *interlock.Inputs) { in.BareCells = cells }
	}
	r := newRig(t, 0).granted()
	r.step(time.Second, recorded(1))
	r.step(time.Second, recorded(1))
	r.only("one cell is bare by the record", []interlock.Code{interlock.PlatesBare})
	if e := r.x.Standing(interlock.PlatesBare).Evidence; e.Reason != interlock.CellsBare || e.Value != 1 || e.Limit != 3 {
		t.Errorf("evidence %+v", e)
	}
	for range 60 {
		r.step(time.Second, recorded(8))
		r.step(time.Second, func(in *interlock.Inputs) { recorded(8)(in); noLevel(in) })
	}
	if r.x.Granted() || !r.x.Standing(interlock.PlatesBare).Raised || r.x.Standing(interlock.PlatesBare).Evidence.Value != 8 {
		t.Errorf("%+v after two minutes of bare cells", r.x.Standing(interlock.PlatesBare))
	}
	for range 120 {
		r.step(time.Second, recorded(0))
	}
	if !r.x.Granted() {
		t.Error("not granted after all cells were covered")
	}
	r.step(time.Second, recorded(1))
	if r.step(time.Second, func(in *interlock.Inputs) { recorded(1)(in); noLevel(in) }); r.x.Granted() {
		t.Error("granted without a level and with a bare cell")
	}
}

// TestDoubtedLevels: the careful lower bound blocks at the plate tops, whatever the probe
// shows, and clears half a millimetre above them. Where it has nothing to count from it blocks
// as well, unless that is because of a reading whose own finding blocks.
func TestDoubtedLevels(t *testing.T) {
	surely := func(mm float64) func(*interlock.Inputs) {
		return func(in *interlock.Inputs) {
			in.SurelyMM, in.SurelyAt = mm, interlock.Evidence{Value: 984, Limit: 7, Reason: interlock.ByBalance}
		}
	}
	r := newRig(t, 0).granted()
	if r.step(time.Second, surely(0.01)); !r.x.Granted() {
		t.Fatal("blocked above the plate tops")
	}
	r.step(time.Second, surely(0))
	r.only("at the plate tops", []interlock.Code{interlock.LevelDoubted})
	want := interlock.Evidence{Value: 984, Limit: 7, Fault: reading.None, Reason: interlock.ByBalance}
	if e := r.x.Standing(interlock.LevelDoubted).Evidence; e != want {
		t.Errorf("evidence %+v, want %+v", e, want)
	}
	for range 120 {
		if r.step(time.Second, surely(0.49)); r.x.Granted() {
			t.Fatal("granted again below the all-clear")
		}
	}
	if r.step(time.Second, surely(0.5)); !r.x.Granted() {
		t.Error("not granted at the all-clear")
	}
	nothing := func(in *interlock.Inputs) { in.SurelyKnown = false }
	r = newRig(t, 0).granted()
	r.step(time.Second, nothing)
	r.only("nothing to count from", []interlock.Code{interlock.LevelDoubted})
	if e := r.x.Standing(interlock.LevelDoubted).Evidence; e.Reason != interlock.NeverRead {
		t.Errorf("evidence %+v", e)
	}
	for code, also := range map[interlock.Code]func(*interlock.Inputs){
		interlock.LevelUnknown: noLevel, interlock.TemperatureUnknown: conditions[interlock.TemperatureUnknown],
		interlock.PackUnknown: conditions[interlock.PackUnknown],
	} {
		r = newRig(t, 0)
		for range 70 {
			r.step(time.Second, func(in *interlock.Inputs) { nothing(in); also(in) })
		}
		r.only("nothing to count from, for another reason", []interlock.Code{code})
	}
}

// TestContactor compares order, contact and current.
func TestContactor(t *testing.T) {
	set := func(contact, currentA float64) func(*interlock.Inputs) {
		return func(in *interlock.Inputs) { in.Feedback.Value, in.CurrentA.Value, in.Held = contact, currentA, true }
	}
	for name, tc := range map[string]struct {
		change func(*interlock.Inputs)
		stuck  bool
		reason interlock.Reason
	}{
		"open":                 {set(0, 0), false, 0},
		"stray current":        {set(0, enumLimits.StrayA), false, 0},
		"contact closed":       {set(1, 0), true, interlock.Usual},
		"contact unclear":      {set(0.5, 0), true, interlock.Usual},
		"current":              {set(0, enumLimits.StrayA+0.01), true, interlock.ByCurrent},
		"current not a number": {set(0, math.NaN()), true, interlock.ByCurrent},
		"discharge":            {set(0, -30), false, 0},
	} {
		r := newRig(t, 0).granted()
		r.step(time.Second, tc.change) // the order to open comes at the end of this tick
		r.step(2999*time.Millisecond, tc.change)
		if r.x.Standing(interlock.ContactorStuck).Raised {
			t.Errorf("%s: reported before 3 s", name)
		}
		r.step(time.Millisecond, tc.change)
		s := r.x.Standing(interlock.ContactorStuck)
		if s.Raised != tc.stuck || s.Raised && (!s.Latched || s.Evidence.Reason != tc.reason) {
			t.Errorf("%s: %+v", name, *s)
		}
	}
}

// TestContactorOpen distinguishes a contactor that does not close from a broken
// contact: by the current.
func TestContactorOpen(t *testing.T) {
	stray := enumLimits.StrayA
	for name, tc := range map[string]struct {
		feedback, current reading.Reading
		want              interlock.Evidence
	}{
		"no current":       {reading.Good(0, 0), reading.Good(0, 0), interlock.Evidence{Fault: reading.None}},
		"stray current":    {reading.Good(0, 0), reading.Good(stray, 0), interlock.Evidence{Fault: reading.None}},
		"current":          {reading.Good(0, 0), reading.Good(30, 0), interlock.Evidence{Value: 30, Fault: reading.None, Reason: interlock.ByCurrent}},
		"current unknown":  {reading.Good(0, 0), reading.Reading{Value: 30, Fault: reading.Open}, interlock.Evidence{Fault: reading.None}},
		"contact not read": {reading.Bad(reading.Missing, 0), reading.Good(0, 0), interlock.Evidence{Fault: reading.Missing}},
		"contact unclear":  {reading.Good(0.5, 0), reading.Good(0, 0), interlock.Evidence{Fault: reading.None}},
		"value of a fault": {reading.Reading{Value: 1, Fault: reading.Open}, reading.Good(0, 0), interlock.Evidence{Fault: reading.Open}},
	} {
		r := newRig(t, 0).granted()
		r.step(5*time.Second, func(in *interlock.Inputs) { in.Feedback, in.CurrentA = tc.feedback, tc.current })
		if s := r.x.Standing(interlock.ContactorOpen); !s.Raised || s.Evidence != tc.want || s.Latched {
			t.Errorf("%s: %+v, want %+v", name, *s, tc.want)
		}
	}
}

// TestFrozenClears only more than one degree above the freezing point.
func TestFrozenClears(t *testing.T) {
	r := newRig(t, 0).granted()
	r.step(time.Minute, conditions[interlock.PackFrozen])
	for range 3 {
		r.step(time.Hour, func(in *interlock.Inputs) { in.PackC.Value = freezingC + 1 })
	}
	if !r.x.Standing(interlock.PackFrozen).Raised {
		t.Error("cleared at one degree")
	}
}

// TestOneReason: the minimum off time is not a reason beside another one.
func TestOneReason(t *testing.T) {
	r := newRig(t, 0).granted()
	for range 3 {
		r.step(time.Second, conditions[interlock.Held])
	}
	r.only("held", []interlock.Code{interlock.Held})
	r = newRig(t, 0).granted()
	for range 3 {
		r.step(time.Second, func(in *interlock.Inputs) { in.Ready, in.ReadyAt.Reason = false, interlock.NoPack })
	}
	if e := r.x.Standing(interlock.AgentUnready).Evidence; e.Reason != interlock.NoPack {
		t.Errorf("without a pack: %+v", e)
	}
}

// TestRelease: a latch clears only with a release, and only when everything
// configured shows that the condition is gone.
func TestRelease(t *testing.T) {
	for name, tc := range map[string]struct {
		limits func(*interlock.Limits)
		change func(*interlock.Inputs)
		gone   bool
	}{
		"all show open":           {nil, nil, true},
		"contact closed":          {nil, func(in *interlock.Inputs) { in.Feedback.Value = 1 }, false},
		"contact not read":        {nil, func(in *interlock.Inputs) { in.Feedback.Fault = reading.Missing }, false},
		"current not read":        {nil, conditions[interlock.CurrentUnknown], false},
		"no contact wired":        {func(l *interlock.Limits) { l.Fitted = l.Fitted.Without(reading.ContactorFeedback) }, func(in *interlock.Inputs) { in.Feedback.Fault = reading.Missing }, true},
		"no current wired":        {func(l *interlock.Limits) { l.Fitted = l.Fitted.Without(reading.PackCurrent) }, conditions[interlock.CurrentUnknown], true},
		"closed, no contact used": {func(l *interlock.Limits) { l.Fitted = l.Fitted.Without(reading.ContactorFeedback) }, func(in *interlock.Inputs) { in.Feedback.Value = 1 }, true},
	} {
		r := newRig(t, 0)
		if tc.limits != nil {
			tc.limits(&r.x.Limits)
		}
		r.x.Restore(interlock.ContactorStuck, interlock.Evidence{Value: 7}, 0)
		in := calm(time.Second)
		in.Feedback.Value = 0
		if tc.change != nil {
			tc.change(&in)
		}
		r.x.Step(&in, false)
		if s := r.x.Standing(interlock.ContactorStuck); !s.Latched || s.Evidence.Value != 7 {
			t.Errorf("%s: lost without a release: %+v", name, *s)
		}
		r.x.Step(&in, true)
		if s := r.x.Standing(interlock.ContactorStuck); s.Raised == tc.gone || s.Latched == tc.gone {
			t.Errorf("%s: after the release: %+v", name, *s)
		}
	}
	r := newRig(t, 0)
	r.x.Restore(interlock.NoCode, interlock.Evidence{}, 0)
	r.x.Restore(interlock.NumCodes, interlock.Evidence{}, 0)
	r.x.RestoreBad(interlock.NoCode, time.Minute)
	r.x.RestoreBad(interlock.NumCodes, time.Minute)
	if raised := r.x.Raised(); raised != 0 {
		t.Errorf("codes of no finding have raised %b", raised)
	}
	r.x.Restore(interlock.PackHot, interlock.Evidence{}, 0)
	if s := r.x.Standing(interlock.PackHot); !s.Raised || s.Latched {
		t.Errorf("a finding that does not latch comes back without a latch, got %+v", *s)
	}
}

// TestNotConfigured: an input that is not wired is not required.
func TestNotConfigured(t *testing.T) {
	r := newRig(t, 0)
	r.x.Limits = interlock.Limits{ChargeLevelMM: 3, ChargeMaxC: 51, ChargeResumeC: 38, StrayA: 2.25}
	for range 2 {
		r.step(time.Second, func(in *interlock.Inputs) {
			in.Feedback, in.CurrentA = reading.Reading{}, reading.Reading{}
			for i := range roomReadings {
				*roomReadings[i].place(in) = reading.Reading{}
			}
		})
	}
	r.only("nothing optional wired", nil)
	if !r.x.Granted() {
		t.Error("not granted")
	}
}

// TestZeroValues: forgotten fields block, and so does a limit that is not a number.
func TestZeroValues(t *testing.T) {
	x := interlock.New(enumLimits, 0)
	for now := time.Duration(0); now < time.Hour; now += time.Minute {
		x.Step(&interlock.Inputs{Now: now}, true)
		if x.Granted() {
			t.Fatal("granted on zero values")
		}
	}
	nan := math.NaN()
	cases := map[string]func(*interlock.Limits, *interlock.Inputs){
		"lowest level for charging": func(l *interlock.Limits, _ *interlock.Inputs) { l.ChargeLevelMM = nan },
		"charge max":                func(l *interlock.Limits, in *interlock.Inputs) { l.ChargeMaxC, in.PackC.Value = nan, 40 },
		"hydrogen":                  func(l *interlock.Limits, _ *interlock.Inputs) { l.HydrogenMaxPct, l.HydrogenResumePct = nan, nan },
		"freezing":                  func(_ *interlock.Limits, in *interlock.Inputs) { in.FreezingC = nan },
		"lower bound":               func(_ *interlock.Limits, in *interlock.Inputs) { in.SurelyMM = nan },
		"level value":               func(_ *interlock.Limits, in *interlock.Inputs) { in.Level.LowMM = nan },
		"voltage":                   func(_ *interlock.Limits, in *interlock.Inputs) { in.CellV.Value = nan },
		"temperature":               func(_ *interlock.Limits, in *interlock.Inputs) { in.PackC.Value = nan },
	}
	for i := range roomReadings {
		cases[roomReadings[i].sensor.String()+" value"] = func(_ *interlock.Limits, in *interlock.Inputs) { roomReadings[i].place(in).Value = nan }
	}
	for name, spoil := range cases {
		r := newRig(t, 0)
		for range 100 {
			r.step(time.Second, func(in *interlock.Inputs) { spoil(&r.x.Limits, in) })
		}
		if r.x.Granted() {
			t.Errorf("%s is not a number and the permit is granted", name)
		}
	}
}

// TestEvidence: a finding keeps its numbers while its reading is gone, and updates
// them while the reading is there.
func TestEvidence(t *testing.T) {
	r := newRig(t, 0).granted()
	for range 3 {
		r.step(time.Second, bare)
	}
	check := func(code interlock.Code, want interlock.Evidence) {
		t.Helper()
		if s := r.x.Standing(code); !s.Raised || s.Evidence != want {
			t.Errorf("%v: %+v, want %+v", code, *s, want)
		}
	}
	check(interlock.PlatesBare, interlock.Evidence{Value: -1, Limit: 3, Fault: reading.None})
	r.step(time.Second, noLevel)
	check(interlock.PlatesBare, interlock.Evidence{Value: -1, Limit: 3, Fault: reading.None})
	r.step(time.Second, func(in *interlock.Inputs) { in.Level.LowMM = 2 })
	check(interlock.PlatesBare, interlock.Evidence{Value: 2, Limit: 3, Fault: reading.None, Reason: interlock.BelowChargeLevel})
	r.step(time.Second, nil)
	check(interlock.PlatesBare, interlock.Evidence{Value: 8, Limit: 3, Fault: reading.None})

	volts := func(v float64, charged bool) func(*interlock.Inputs) {
		return func(in *interlock.Inputs) { in.CellV.Value, in.Charged = v, charged }
	}
	for _, tc := range []struct {
		v       float64
		charged bool
		want    interlock.Evidence
	}{
		{1.6, false, interlock.Evidence{Value: 1.6, Limit: 1.7, Reason: interlock.TooLow}},
		{1.7, false, interlock.Evidence{Value: 1.7, Limit: 1.75, Reason: interlock.TooLow}}, // a limit itself is not beyond it
		{1.72, false, interlock.Evidence{Value: 1.72, Limit: 1.75, Reason: interlock.TooLow}},
		{2.5, false, interlock.Evidence{Value: 2.5, Limit: 2.45, Reason: interlock.TooHigh}},
		{2.45, false, interlock.Evidence{Value: 2.45, Limit: 2.42, Reason: interlock.TooHigh}},
		{2.9, true, interlock.Evidence{Value: 2.9, Limit: 2.85, Reason: interlock.TooHigh}},
		{2.44, false, interlock.Evidence{Value: 2.44, Limit: 2.42, Reason: interlock.TooHigh}},
		{2.95, true, interlock.Evidence{Value: 2.95, Limit: 2.9, Reason: interlock.TooHigh}},
		{2.87, true, interlock.Evidence{Value: 2.87, Limit: 2.85, Reason: interlock.TooHigh}},
		{-2.1, false, interlock.Evidence{Value: -2.1, Reason: interlock.Reversed}},
		{-0.31, false, interlock.Evidence{Value: -0.31, Reason: interlock.Reversed}},
		{-0.3, false, interlock.Evidence{Value: -0.3, Limit: 1.7, Reason: interlock.TooLow}},
	} {
		for range 3 {
			r.step(time.Second, volts(1.2, false))
		}
		r.step(time.Second, volts(tc.v, tc.charged))
		tc.want.Fault = reading.None
		check(interlock.VoltageImplausible, tc.want)
	}
}

// TestAtALimit: "no charge above 51 °C" lets one go on at 51 °C, and a finding clears at
// the value that its clearing limit names.
func TestAtALimit(t *testing.T) {
	const chargeMaxC = 51
	r := newRig(t, 0).granted()
	hot := func(c float64) func(*interlock.Inputs) {
		return func(in *interlock.Inputs) { in.PackC.Value = c }
	}
	for range 3600 {
		r.step(time.Second, hot(chargeMaxC))
	}
	require.False(t, r.x.Standing(interlock.PackHot).Raised)
	for range 600 {
		r.step(time.Second, hot(math.Nextafter(chargeMaxC, 100)))
	}
	require.True(t, r.x.Standing(interlock.PackHot).Raised)

	for _, v := range []struct {
		v       float64
		charged bool
	}{{1.75, false}, {2.42, false}, {1.75, true}, {2.85, true}} {
		r := newRig(t, 0).granted()
		volts := func(cell float64) func(*interlock.Inputs) {
			return func(in *interlock.Inputs) { in.CellV.Value, in.Charged = cell, v.charged }
		}
		for range 60 {
			r.step(time.Second, volts(1.2))
		}
		require.True(t, r.x.Standing(interlock.VoltageImplausible).Raised)
		for range 3600 {
			r.step(time.Second, volts(v.v))
		}
		require.False(t, r.x.Standing(interlock.VoltageImplausible).Raised, "%v V, charged %v", v.v, v.charged)
	}
}

// TestEvidenceOfAReadingThatIsGone: the last numbers remain, and it is marked that they
// are the last; a good reading is marked, too. No number comes from a missing reading.
func TestEvidenceOfAReadingThatIsGone(t *testing.T) {
	bus := func(in *interlock.Inputs) { in.Hydrogen = reading.Bad(reading.BusStuck, in.Now) }
	away := func(in *interlock.Inputs) {
		noLevel(in)
		in.Plug, in.Ready = interlock.Unplugged, false
	}
	stirred := func(in *interlock.Inputs) { in.WaterKnown, in.ApartMM = false, 0 }
	for name, tc := range map[string]struct {
		code           interlock.Code
		raise, then    func(*interlock.Inputs)
		want           interlock.Evidence
		clearing, gone bool
	}{
		"bare, then a broken wire": {interlock.PlatesBare, bare, noLevel, interlock.Evidence{Value: -1, Limit: 3, Fault: reading.None}, false, true},
		"bare, then unplugged":     {interlock.PlatesBare, bare, away, interlock.Evidence{Value: -1, Limit: 3, Fault: reading.None}, false, true},
		"warm, then no reading":    {interlock.PackWarm, conditions[interlock.PackWarm], conditions[interlock.TemperatureUnknown], interlock.Evidence{Value: 43, Limit: 43, Fault: reading.None}, false, true},
		"apart, then stirred":      {interlock.WaterBalance, conditions[interlock.WaterBalance], stirred, interlock.Evidence{Value: 4.1, Limit: 4}, false, true},
		"gas, then no reading":     {interlock.HydrogenHigh, conditions[interlock.HydrogenHigh], bus, interlock.Evidence{Limit: 1, Fault: reading.BusStuck}, false, false},
		"no reading, then no gas":  {interlock.HydrogenHigh, bus, nil, interlock.Evidence{Limit: 1, Fault: reading.None}, true, false},
		"no reading, then some":    {interlock.HydrogenHigh, bus, func(in *interlock.Inputs) { in.Hydrogen.Value = 1.5 }, interlock.Evidence{Value: 1.5, Limit: 1, Fault: reading.None}, false, false},
	} {
		r := newRig(t, 0).granted()
		for range 12 {
			r.step(max(time.Second, interlock.Table[tc.code].Raise/10), tc.raise)
			require.False(t, r.x.Standing(tc.code).Gone, name)
		}
		s := r.x.Standing(tc.code)
		require.True(t, s.Raised && !s.Gone && !s.Clearing(), name)
		r.step(time.Second, tc.then)
		require.Equal(t, tc.want, s.Evidence, name)
		require.Equal(t, tc.gone, s.Gone, name)
		require.Equal(t, tc.clearing, s.Clearing(), name)
		r.step(time.Second, tc.raise)
		require.False(t, s.Gone || s.Clearing(), name)
	}
	r := newRig(t, 0).granted()
	require.False(t, r.x.Standing(interlock.HydrogenHigh).Clearing(), "not raised")
	for range 3 {
		r.step(time.Second, bus)
	}
	for range 400 {
		r.step(time.Second, nil)
	}
	require.False(t, r.x.Standing(interlock.HydrogenHigh).Clearing(), "cleared")
}

// TestWater: the tolerance is 4 mm, the all-clear 2 mm, in both directions.
func TestWater(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		for mm, want := range map[float64][2]bool{4.01: {true, true}, 4: {false, true}, 2.01: {false, true}, 2: {false, false}} {
			apart := func(mm float64) func(*interlock.Inputs) {
				return func(in *interlock.Inputs) { in.ApartMM = sign * mm }
			}
			r := newRig(t, 0).granted()
			r.step(6*time.Hour, apart(mm))
			if r.x.Standing(interlock.WaterBalance).Raised != want[0] {
				t.Errorf("%v mm: raised %v", sign*mm, !want[0])
			}
			r.step(6*time.Hour, apart(9))
			r.step(time.Hour, apart(mm))
			r.step(time.Hour, apart(mm))
			if r.x.Standing(interlock.WaterBalance).Raised != want[1] {
				t.Errorf("%v mm after 9: raised %v", sign*mm, !want[1])
			}
		}
	}
	r := newRig(t, 0).granted()
	r.step(7*time.Hour, func(in *interlock.Inputs) { in.WaterKnown, in.ApartMM = false, 9 })
	r.only("unknown values are not compared", nil)
}

// TestExtremeClock: times at the ends of the clock do not overflow into a permit
// that stays granted.
func TestExtremeClock(t *testing.T) {
	x := interlock.New(enumLimits, math.MinInt64)
	in := calm(math.MinInt64 + 2*time.Minute)
	x.Step(&in, false)
	if !x.Granted() {
		t.Fatal("not granted")
	}
	in = calm(math.MaxInt64)
	bare(&in)
	if x.Step(&in, false); x.Granted() {
		t.Error("the plates have been bare for longer than the clock can count and the permit is granted")
	}
}

// TestAPackWithoutAName has no temperature of its own either: one cause is reported
// once, and a temperature that was unknown before clears.
func TestAPackWithoutAName(t *testing.T) {
	nameless := func(name interlock.Name) func(*interlock.Inputs) {
		return func(in *interlock.Inputs) { in.Name, in.PackC = name, reading.Bad(reading.NoAnswer, in.Now) }
	}
	for _, name := range []interlock.Name{interlock.Unnamed, interlock.Sought} {
		r := newRig(t, 0).granted()
		if x := r.step(time.Second, nameless(name)); x.Granted() || !x.Standing(interlock.PackUnknown).Raised {
			t.Fatalf("name %d: still granted", name)
		}
		if x := r.step(time.Minute, nameless(name)); x.Standing(interlock.TemperatureUnknown).Raised {
			t.Fatalf("name %d: reported as a broken thermometer", name)
		}
	}
	r := newRig(t, 0).granted()
	r.step(time.Minute, func(in *interlock.Inputs) { in.PackC = reading.Bad(reading.NoAnswer, in.Now) })
	if !r.x.Standing(interlock.TemperatureUnknown).Raised {
		t.Fatal("no unknown temperature at the start")
	}
	for range 11 {
		r.step(time.Second, func(in *interlock.Inputs) { in.Name = interlock.Unnamed })
	}
	if r.x.Standing(interlock.TemperatureUnknown).Raised || !r.x.Standing(interlock.PackUnknown).Raised {
		t.Fatal("a temperature that is good again does not clear")
	}
}

// TestASoughtPack is not reported during the search, but nothing starts.
func TestASoughtPack(t *testing.T) {
	r := newRig(t, 0)
	sought := func(in *interlock.Inputs) { in.Name, in.Ready = interlock.Sought, false }
	for range 90 {
		if x := r.step(time.Second, sought); x.Standing(interlock.PackUnknown).Raised {
			t.Fatal("reported during the search")
		}
	}
	if x := r.step(time.Second, func(in *interlock.Inputs) { in.Name = interlock.Sought }); x.Granted() {
		t.Fatal("granted")
	}
}

// TestOverfilledNamesTheCell: the evidence of one overfilled cell is its number, and of
// several the first of them and how many there are.
func TestOverfilledNamesTheCell(t *testing.T) {
	for cells, want := range map[int]interlock.Reason{1: interlock.Usual, 2: interlock.Several} {
		r := newRig(t, 0).granted()
		for range 3 {
			r.step(time.Second, func(in *interlock.Inputs) { in.Overfilled, in.OverCells = 4, cells })
		}
		if e := r.x.Standing(interlock.Overfilled).Evidence; r.x.Granted() || e.Reason != want || e.Value != 4 || e.Limit != float64(cells) {
			t.Errorf("%d cells: granted %v, evidence %+v", cells, r.x.Granted(), e)
		}
	}
}

// TestMiscountedCells says which way the count is off: more cells than configured, or fewer.
func TestMiscountedCells(t *testing.T) {
	for fit, want := range map[int]interlock.Reason{13: interlock.MoreCells, 11: interlock.Usual} {
		r := newRig(t, 0).granted()
		for range 60 {
			r.step(time.Minute, func(in *interlock.Inputs) { in.CellsFit, in.CellsOf = fit, 12 })
		}
		if e := r.x.Standing(interlock.CellsMiscounted); !e.Raised || e.Evidence.Reason != want {
			t.Errorf("%d fit 12: %+v, want reason %d", fit, e, want)
		}
		r.step(time.Second, func(in *interlock.Inputs) { in.CellsFit, in.CellsOf = 12, 12 })
		if e := r.x.Standing(interlock.CellsMiscounted); e.Raised || e.Evidence.Reason != interlock.Usual {
			t.Errorf("12 fit 12 after %d: %+v, want it cleared, and no word of more cells", fit, e)
		}
	}
	for _, fit := range []int{0, 12} { // not known, and as configured
		r := newRig(t, 0).granted()
		for range 60 {
			r.step(time.Minute, func(in *interlock.Inputs) { in.CellsFit, in.CellsOf = fit, 12 })
		}
		if r.x.Standing(interlock.CellsMiscounted).Raised {
			t.Errorf("%d fit 12: raised", fit)
		}
	}
}
