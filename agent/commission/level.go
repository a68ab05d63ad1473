package commission

import (
	"context"
	"fmt"
	"math"
	"time"

	"bayward/agent/reading"
	"bayward/agent/words"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

func (w *walk) level(ctx context.Context, s *Step) error {
	l := w.Bay.Wiring.Level
	before, others := w.look(ctx).Level, w.Rig.Others(ctx)
	if !before.Usable() {
		return failed("walk.level.before", words.OfFault(before.Fault))
	}
	w.say("walk.level.acid")
	w.rods(s, "walk.level.before-lift")
	for _, t := range w.probeTasks(before, others) {
		t.within, t.show = 2*time.Minute, showLevel
		took, err := w.follow(ctx, t.task)
		if err != nil {
			return err
		}
		s.prove(words.Of("walk.level.evidence", words.Of(t.what), showLevel(w.here), took.Seconds()))
		w.rods(s, t.what)
	}
	if l == nil {
		return w.deviceHeight(ctx, s)
	}
	if !l.Kind.Measures() {
		s.prove(words.Of("walk.level.fixed"))
		return nil
	}
	return w.levelHeight(ctx, s, l)
}

// rods records what rods answer to their pulses. Acid keeps a voltage after a pulse and
// metal does not; the driver judges it, and who compares the walk of another year sees a
// crust or a corroded clamp come.
func (w *walk) rods(s *Step, what string) {
	if l := w.here; l.RodsRead && !math.IsInf(l.Rods.Ohm, 0) {
		s.prove(words.Of("walk.level.rods", words.Of(what), l.Rods.Ohm/1e3, l.Rods.LeftV*1e3, l.Rods.OwnV*1e3))
	}
}

// probeTask is an action at the level probe and the text that names it.
type probeTask struct {
	what string // key of agent/words
	task
}

// probeTasks lists the actions that a probe must respond to, in order.
func (w *walk) probeTasks(before reading.Level, others map[string]*Look) []probeTask {
	swapped := func(now map[string]*Look) *words.Sentence {
		for name, n := range now {
			if o := others[name]; o != nil && o.Level.Usable() && (!n.Level.Usable() || n.Level.LowMM < o.Level.LowMM-3) {
				return other("walk.level.other", name)
			}
		}
		return nil
	}
	asBefore := func(l *Look) bool { return l.Level.Usable() && w.backAt(before, l.Level) }
	first := []probeTask{
		{"walk.level.lifted", task{
			asks: words.Of("walk.level.lift"), act: LiftProbe,
			followed: func(l *Look) bool {
				return l.Level.Usable() && w.dry(l.Level) && l.Level.LowMM < before.LowMM
			}, instead: swapped, hint: words.Of("walk.level.lift.hint"),
		}},
		{"walk.level.lowered", task{asks: words.Of("walk.level.lower"), act: LowerProbe, followed: asBefore, hint: words.Of("walk.level.lower.hint")}},
	}
	l := w.Bay.Wiring.Level
	if l == nil {
		return append(first, deviceTasks(swapped, asBefore)...)
	}
	kind := l.Kind
	return append(first,
		[]probeTask{
			{"walk.level.opened", task{
				asks: words.Of("walk.level.open"), act: OpenLoop, followed: reads(kind.Opened()), instead: swapped, hint: words.Of("walk.level.open.hint"),
			}},
			{"walk.level.closed", task{asks: words.Of("walk.level.close"), act: CloseLoop, followed: asBefore}},
			w.replaced(swapped),
			{"walk.level.restored", task{asks: words.Of("walk.level.restore"), act: RestoreProbe, followed: asBefore}},
		}...)
}

// backAt reports whether a probe that was lifted shows what it showed before. The acid of
// a pack that was plugged in sloshes for a minute or two, so the rods next to the level
// may have changed; but one that was wet then must be wet again.
func (w *walk) backAt(before, now reading.Level) bool {
	if l := w.Bay.Wiring.Level; l == nil || l.Kind.Measures() {
		return math.Abs(now.LowMM-before.LowMM) <= 3
	}
	return now.LowMM <= before.HighMM && now.HighMM >= before.LowMM && w.dry(now) == w.dry(before)
}

// replaced is the test of a failure's signal. Nothing is shorted that could spark in
// the gas zone, or put a supply on a converter's input.
func (w *walk) replaced(swapped func(map[string]*Look) *words.Sentence) probeTask {
	l := w.Bay.Wiring.Level
	in, failure := l.Kind.StandIn(&l.Settings), reads(l.Kind.Shorted())
	t := task{act: ReplaceProbe, instead: swapped, followed: func(seen *Look) bool {
		v, read := seen.Volts["level"] // not read: more than the input's range
		return failure(seen) && v <= in.HighV && (read || in.HighV >= l.TopV())
	}}
	if in.Ohm == 0 {
		t.asks, t.hint = words.Of("walk.level.short"), words.Of("walk.level.short.hint")
		return probeTask{"walk.level.shorted", t}
	}
	t.asks, t.hint = words.Of("walk.level.resistor", in.Ohm), words.Of("walk.level.resistor.hint", in.HighV)
	return probeTask{"walk.level.failure", t}
}

// dry reports whether the probe reads as if it hangs in the air. With rods, none may
// be wet: the top rod then proves only its own height, which is at the lowest level
// for charging or above.
func (w *walk) dry(l reading.Level) bool {
	p := w.Bay.Wiring.Level
	if p == nil || p.Kind.Measures() {
		return l.HighMM < w.Pack.ChargeLevelMM
	}
	return l.HighMM <= p.Rods[0].HeightMM+p.OffsetMM
}

// reads reports whether the level is unreadable for the given reason of the probe.
func reads(why error) func(*Look) bool {
	want := map[error]reading.Fault{level.ErrOpen: reading.Open, level.ErrShort: reading.Short, level.ErrOverRange: reading.OverRange}[why]
	return func(l *Look) bool { return l.Level.Fault == want && want != reading.Missing }
}

const (
	// rodMM is how accurately a person reads a level rod (common practice, no
	// source).
	rodMM = 1.0
	// maxLevelMM is the largest accepted difference between level rod and probe.
	// Beyond that the probe is mounted wrongly, which no offset fixes.
	maxLevelMM = 10.0
)

func (w *walk) levelHeight(ctx context.Context, s *Step, l *wiring.Level) error {
	height := func(l *Look) reading.Reading {
		return reading.Reading{Value: l.Level.LowMM, At: l.Level.At, Fault: l.Level.Fault}
	}
	p, ok, err := w.withMeter(ctx, "level", "walk.ask.level", -50, 300, height)
	if err != nil {
		return err
	}
	if !ok {
		s.prove(words.Of("walk.level.not-compared"))
		return nil
	}
	probe, err := level.New(l.Kind, l.Settings)
	if err != nil {
		return err // cannot fail: the configuration was checked
	}
	scale, ok := probe.(level.Scale)
	if !ok {
		return fmt.Errorf("bug: a level probe of kind %s measures and has no scale", l.Kind)
	}
	shown := scale.LevelMM(p.inputV)
	off := p.meter.value - shown
	offset := l.OffsetMM + off
	switch {
	case math.Abs(off) > maxLevelMM:
		return failed("walk.level.far", short(p.meter.value), shown, maxLevelMM)
	case l.LowMM+offset > 0 || l.HighMM+offset < w.Pack.FillMarkMM:
		return failed("walk.level.reach", rounded(offset))
	}
	u := 2 * math.Hypot(rodMM/math.Sqrt(3), scale.MMPerV()*p.noiseV/math.Sqrt(float64(p.looks)))
	s.prove(words.Of("walk.level.calibrated", short(p.meter.value), shown, offset, rounded(l.OffsetMM), u))
	w.found("level.offset_mm", offset)
	w.uncertain("level", u)
	return nil
}
