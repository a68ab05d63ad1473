package commission

import (
	"context"
	"maps"
	"slices"
	"time"

	"bayward/agent/reading"
	"bayward/agent/words"
)

// agree is how many consecutive looks must agree: a single one could be a bubble, a
// bounce or a loose clip.
const agree = 3

// task is one action by hand and the check that its effect is seen.
type task struct {
	asks   words.Sentence
	act    Action
	within time.Duration
	show   func(*Look) words.Sentence // the live reading
	// followed reports whether the reading shows what was done.
	followed func(*Look) bool
	// instead names what followed in its place, such as the sensor of another bay;
	// nil for nothing.
	instead func(others map[string]*Look) *words.Sentence
	hint    words.Sentence // added when the time is over: what to check
}

// follow prints a task, watches until its effect is seen and returns how long that
// took. The time starts when the task is given.
func (w *walk) follow(ctx context.Context, t task) (time.Duration, error) {
	w.put("", t.asks)
	if w.Hand != nil {
		if err := w.before(ctx, "walk.simulated.task"); err != nil {
			return 0, err
		}
		w.act(t.act)
	}
	seen := sightings{task: t, wrong: map[string]*sighting{}}
	for start := w.Rig.Now(); ; {
		took := w.Rig.Now() - start
		l := w.look(ctx)
		if now := t.show(l); w.Voice.Word(now) != w.Voice.Word(seen.shown) {
			w.item(now)
			seen.shown = now
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
	if ok && w.is(line, typedSkip) {
		return w.reason(ctx)
	}
	return w.Rig.Wait(ctx, lookEvery)
}

// sightings counts what was seen of a task so far.
type sightings struct {
	task
	shown words.Sentence
	good  int                  // consecutive looks in which the reading had followed
	wrong map[string]*sighting // what else had followed, by its English text
}

// sighting is something else that followed.
type sighting struct {
	what words.Sentence
	n    int
}

func (s *sightings) judge(l *Look, others map[string]*Look, took time.Duration) (done bool, err error) {
	if s.followed(l) {
		s.good++
	} else {
		s.good = 0
	}
	if s.instead != nil {
		s.count(s.instead(others))
	}
	other := s.mostSeen()
	wrong := other.n >= agree
	switch {
	case wrong && s.good == 0:
		return false, problem{other.what}
	case wrong && s.good >= agree:
		return false, failed("walk.both", other.what)
	case s.good >= agree:
		return true, nil
	case took >= s.within:
		return false, s.late()
	}
	return false, nil
}

func (s *sightings) late() error {
	minutes := s.within.Minutes()
	if s.hint.Key == "" {
		return failed("walk.slow", minutes, s.shown)
	}
	return failed("walk.slow.hint", minutes, s.shown, s.hint)
}

func (s *sightings) count(what *words.Sentence) {
	if what == nil {
		return
	}
	text := words.EnglishSI().Word(*what)
	if s.wrong[text] == nil {
		s.wrong[text] = &sighting{what: *what}
	}
	s.wrong[text].n++
}

// mostSeen returns what was seen most often, the zero value for nothing.
func (s *sightings) mostSeen() (most sighting) {
	for _, text := range slices.Sorted(maps.Keys(s.wrong)) {
		if s.wrong[text].n > most.n {
			most = *s.wrong[text]
		}
	}
	return most
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
		r := read(l)
		v, ok := l.Volts[part]
		if !ok && w.inRegister(part) {
			v, ok = r.Value, true
		}
		if !ok || !r.OK() {
			return point{}, failed("walk.unread.measured", words.Of("walk.reading."+part), words.OfFault(r.Fault))
		}
		volts = append(volts, v)
	}
	p := point{looks: len(volts)}
	p.inputV, p.noiseV = meanOf(volts)
	return p, nil
}

// shown is a reading for a person: its figure, or its fault.
func shown(r reading.Reading, name, unit string) words.Sentence {
	if !r.OK() {
		return unread(name, r.Fault)
	}
	return words.Of("walk.show."+unit, words.Of("walk.reading."+name), r.Value)
}

func unread(name string, f reading.Fault) words.Sentence {
	return words.Of("walk.show.unread", words.Of("walk.reading."+name), words.OfFault(f))
}

// withInput adds the raw voltage of a part, if it could be converted.
func withInput(s words.Sentence, l *Look, part string) words.Sentence {
	if v, there := l.Volts[part]; there {
		return words.Of("walk.show.input", s, v)
	}
	return s
}

func showVoltage(l *Look) words.Sentence {
	return withInput(shown(l.PackV, "voltage", "V"), l, "voltage")
}

func showCurrent(l *Look) words.Sentence {
	return withInput(shown(l.CurrentA, "current", "A"), l, "current")
}
func showPackC(l *Look) words.Sentence { return shown(l.PackC, "pack", "C") }
func showAir(l *Look) words.Sentence   { return shown(l.AmbientC, "air", "C") }
func showHydrogen(l *Look) words.Sentence {
	return withInput(shown(l.HydrogenPct, "hydrogen", "pct"), l, "hydrogen")
}

func showLevel(l *Look) words.Sentence { return withInput(levelOf(l), l, "level") }

func levelOf(l *Look) words.Sentence {
	switch c := l.Level; {
	case !c.Usable():
		return unread("level", c.Fault)
	case c.LowMM == c.HighMM:
		return words.Of("walk.show.level", c.LowMM)
	default:
		return words.Of("walk.show.levels", c.LowMM, c.HighMM)
	}
}

func showContact(name string, r reading.Reading) words.Sentence {
	switch {
	case !r.OK():
		return unread(name, r.Fault)
	case r.Value == 1:
		return words.Of("walk.show.closed", words.Of("walk.reading."+name))
	}
	return words.Of("walk.show.open", words.Of("walk.reading."+name))
}

func is(r reading.Reading, v float64) bool { return r.OK() && r.Value == v }
