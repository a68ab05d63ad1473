package commission

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"bayward/agent/reading"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

func (w *walk) level(ctx context.Context, s *Step) error {
	l := w.Bay.Wiring.Level
	before, others := w.look(ctx).Level, w.Rig.Others(ctx)
	if !before.Usable() {
		return failed("the level cannot be read before the step: %s", faultText(before.Fault))
	}
	w.say("Acid is on the probe: gloves, face shield, a cloth with soda at hand. The pilot cell is the one with the probe.")
	for _, t := range w.probeTasks(before, others) {
		t.within, t.show = 2*time.Minute, showLevel
		took, err := w.follow(ctx, t.task)
		if err != nil {
			return err
		}
		s.Evidence = append(s.Evidence, fmt.Sprintf("%s: %s, after %s", t.what, strings.TrimPrefix(showLevel(w.here), "level "), seconds(took)))
	}
	if !l.Kind.Measures() {
		s.Evidence = append(s.Evidence, "heights of rods are set by hand; nothing to calibrate")
		return nil
	}
	return w.levelHeight(ctx, s, l)
}

// probeTask is an action at the level probe and its name.
type probeTask struct {
	what string
	task
}

// probeTasks lists the actions that a probe must respond to, in order.
func (w *walk) probeTasks(before reading.Level, others map[string]*Look) []probeTask {
	kind := w.Bay.Wiring.Level.Kind
	exchanged := func(now map[string]*Look) string {
		for name, n := range now {
			if o := others[name]; o != nil && o.Level.Usable() && (!n.Level.Usable() || n.Level.LowMM < o.Level.LowMM-3) {
				return "the level probe of " + name + " followed: the probes of the two bays are exchanged"
			}
		}
		return ""
	}
	return []probeTask{
		{"lifted out", task{
			says: "Lift the probe out of the electrolyte and hold it over the cell.", act: LiftProbe,
			followed: func(l *Look) bool {
				return l.Level.Usable() && w.dry(l.Level) && l.Level.LowMM < before.LowMM
			}, instead: exchanged,
			hint: "Dry it must show no wet rod, or less than the lowest level for charging. Is the probe stuck, bridged by crust or of another bay?",
		}},
		{"back in its cell", task{
			says: "Rinse it over the cell and put it back in its place.", act: LowerProbe,
			followed: func(l *Look) bool { return l.Level.Usable() && math.Abs(l.Level.LowMM-before.LowMM) <= 3 },
			hint:     "It must say what it said before.",
		}},
		{"loop opened", task{
			says: "Pull the probe's plug, or one of its wires at the terminals.", act: OpenLoop,
			followed: reads(kind.Opened()), instead: exchanged,
			hint: "An open loop must be told as a broken wire. Does the end resistor sit at the probe, and not at the Pi?",
		}},
		{"loop closed again", task{
			says: "Connect it again.", act: CloseLoop,
			followed: func(l *Look) bool { return l.Level.Usable() && math.Abs(l.Level.LowMM-before.LowMM) <= 3 },
		}},
		{"shorted by the clip", task{
			says: "Put the test clip across the probe's two terminals.", act: ShortLoop,
			followed: reads(kind.Shorted()), instead: exchanged,
			hint: "A short must be told as one.",
		}},
		{"clip taken off", task{
			says: "Take the clip off.", act: UnshortLoop,
			followed: func(l *Look) bool { return l.Level.Usable() && math.Abs(l.Level.LowMM-before.LowMM) <= 3 },
		}},
	}
}

// dry reports whether the probe reads as if it hangs in the air. With rods, none may
// be wet: the top rod then proves only its own height, which is at the lowest level
// for charging or above.
func (w *walk) dry(l reading.Level) bool {
	p := w.Bay.Wiring.Level
	if p.Kind.Measures() {
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
	p, ok, err := w.withMeter(ctx, "level", "Level rod in the pilot cell, mm above the plate tops, or \"skip\"", -50, 300, height)
	if err != nil {
		return err
	}
	if !ok {
		s.Evidence = append(s.Evidence, "height not compared with a level rod")
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
		return failed("the level rod says %s mm and the probe %.1f mm; more than %.0f mm apart is a probe that hangs wrong, not an offset", short(p.meter.value), shown, maxLevelMM)
	case l.LowMM+offset > 0 || l.HighMM+offset < w.Pack.FillMarkMM:
		return failed("with offset_mm %s the probe would not reach from bare plates to fill_mark_mm: hang it at another height", fixed(offset))
	}
	u := 2 * math.Hypot(rodMM/math.Sqrt(3), scale.MMPerV()*p.noiseV/math.Sqrt(float64(p.looks)))
	s.Evidence = append(s.Evidence, fmt.Sprintf("level rod %s mm, probe %s mm: level.offset_mm %s (configured %s), within %.1f mm", short(p.meter.value), reading.Digits(shown, 1), reading.Digits(offset, 1), fixed(l.OffsetMM), u))
	w.found("level.offset_mm", offset)
	w.uncertain("level", u)
	return nil
}
