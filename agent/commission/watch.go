package commission

import (
	"context"
	"fmt"
	"sort"
	"strings"
	"time"

	"bayward/agent/reading"
	"bayward/agent/words"
)

// agree is how many consecutive looks must agree: a single one could be a bubble, a
// bounce or a loose clip.
const agree = 3

// task is one action by hand and the check that its effect is seen.
type task struct {
	says   string
	act    Action
	within time.Duration
	show   func(*Look) string // the live reading
	// followed reports whether the reading shows what was done.
	followed func(*Look) bool
	// instead names what followed in its place, such as the sensor of another bay;
	// "" for nothing.
	instead func(others map[string]*Look) string
	hint    string // added when the time is over: what to check
}

// follow prints a task, watches until its effect is seen and returns how long that
// took. The time starts when the task is given.
func (w *walk) follow(ctx context.Context, t task) (time.Duration, error) {
	w.say("%s", t.says)
	if w.Hand != nil {
		if err := w.before(ctx, "(simulated)"); err != nil {
			return 0, err
		}
		w.act(t.act)
	}
	seen := sightings{task: t, wrong: map[string]int{}}
	for start := w.Rig.Now(); ; {
		took := w.Rig.Now() - start
		l := w.look(ctx)
		if text := t.show(l); text != seen.shown {
			w.item("%s", text)
			seen.shown = text
		}
		others := map[string]*Look(nil)
		if t.instead != nil {
			others = w.Rig.Others(ctx)
		}
		if done, err := seen.judge(l, others, took); done || err != nil {
			return took, err
		}
		if err := w.pause(ctx); err != nil {
			return took, err
		}
	}
}

// pause waits for the next look and checks whether the person wants to skip.
func (w *walk) pause(ctx context.Context) error {
	line, ok, err := w.typed()
	if err != nil {
		return err
	}
	if ok && strings.EqualFold(line, "skip") {
		return w.reason(ctx)
	}
	return w.Rig.Wait(ctx, lookEvery)
}

// sightings counts what was seen of a task so far.
type sightings struct {
	task
	shown string
	good  int            // consecutive looks in which the reading had followed
	wrong map[string]int // how often something else had followed
}

func (s *sightings) judge(l *Look, others map[string]*Look, took time.Duration) (done bool, err error) {
	if s.followed(l) {
		s.good++
	} else {
		s.good = 0
	}
	if s.instead != nil {
		if text := s.instead(others); text != "" {
			s.wrong[text]++
		}
	}
	other := mostSeen(s.wrong)
	wrong := s.wrong[other] >= agree
	switch {
	case wrong && s.good == 0:
		return false, failed("%s", other)
	case wrong && s.good >= agree:
		return false, failed("%s, as well as this bay's: a lead is shared or bridged", other)
	case s.good >= agree:
		return true, nil
	case took >= s.within:
		return false, failed("the reading did not follow within %s: %s. %s", s.within, s.shown, s.hint)
	}
	return false, nil
}

// mostSeen returns the text seen most often, "" for none.
func mostSeen(seen map[string]int) string {
	var texts []string
	for text := range seen {
		texts = append(texts, text)
	}
	sort.Slice(texts, func(i, j int) bool {
		return seen[texts[i]] > seen[texts[j]] || seen[texts[i]] == seen[texts[j]] && texts[i] < texts[j]
	})
	if len(texts) == 0 {
		return ""
	}
	return texts[0]
}

// look takes a look and stores it.
func (w *walk) look(ctx context.Context) *Look {
	w.here = w.Rig.Look(ctx)
	return w.here
}

// collect takes n looks in a row.
func (w *walk) collect(ctx context.Context, n int) ([]*Look, error) {
	var all []*Look
	for i := range n {
		if i > 0 {
			if err := w.Rig.Wait(ctx, lookEvery); err != nil {
				return nil, err
			}
		}
		all = append(all, w.look(ctx))
		if _, _, err := w.typed(); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// points is the number of looks for one calibration point.
const points = 20

// measure returns the mean of an input over several looks. Every look must be good:
// one fault invalidates the point.
func (w *walk) measure(ctx context.Context, part string, read func(*Look) reading.Reading) (point, error) {
	looks, err := w.collect(ctx, points)
	if err != nil {
		return point{}, err
	}
	var volts []float64
	for _, l := range looks {
		v, ok := l.Volts[part]
		if r := read(l); !ok || !r.OK() {
			return point{}, failed("%s could not be read while it was measured: %s", part, faultText(r.Fault))
		}
		volts = append(volts, v)
	}
	p := point{looks: len(volts)}
	p.inputV, p.noiseV = meanOf(volts)
	return p, nil
}

// value formats a reading for a person: its figure and the raw volts, or its fault.
func value(r reading.Reading, digits int, unit string, l *Look, part string) string {
	text := "cannot be read: " + faultText(r.Fault)
	if r.OK() {
		text = reading.Digits(r.Value, digits) + " " + unit
	}
	return text + input(l, part)
}

// input formats the raw voltage of a part, "" for a part without one.
func input(l *Look, part string) string {
	v, there := l.Volts[part]
	if !there {
		return ""
	}
	return " (input " + reading.Digits(v, 4) + " V)"
}

func showVoltage(l *Look) string { return "pack voltage " + value(l.PackV, 2, "V", l, "voltage") }
func showCurrent(l *Look) string { return "current " + value(l.CurrentA, 1, "A", l, "current") }
func showPackC(l *Look) string   { return "pack temperature " + value(l.PackC, 1, "°C", l, "") }
func showAir(l *Look) string     { return "air temperature " + value(l.AmbientC, 1, "°C", l, "") }
func showHydrogen(l *Look) string {
	return "hydrogen " + value(l.HydrogenPct, 2, "%", l, "hydrogen")
}

func showLevel(l *Look) string {
	c := l.Level
	text := "level cannot be read: " + faultText(c.Fault)
	switch {
	case c.Usable() && c.LowMM == c.HighMM:
		text = fmt.Sprintf("level %s mm above the plate tops", reading.Digits(c.LowMM, 0))
	case c.Usable():
		text = fmt.Sprintf("level between %s and %s mm above the plate tops", reading.Digits(c.LowMM, 0), reading.Digits(c.HighMM, 0))
	}
	return text + input(l, "level")
}

func showContact(name string, r reading.Reading) string {
	switch {
	case !r.OK():
		return name + " cannot be read: " + faultText(r.Fault)
	case r.Value == 1:
		return name + " is closed"
	}
	return name + " is open"
}

func is(r reading.Reading, v float64) bool { return r.OK() && r.Value == v }

// faultText says in English why a reading cannot be used, because the record of a
// walk is in English.
func faultText(f reading.Fault) string { return words.EnglishSI().Fault(f) }
