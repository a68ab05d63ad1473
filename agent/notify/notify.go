// Package notify turns pictures into notices for a technician: one for each bay,
// the one that matters most now. A notice is raised once, seen when a visit is
// opened, and settled when its reason is gone; it is updated, not repeated. The
// package decides and delivers; agent/words has the words.
package notify

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// Kind is what a notice asks for. The zero value asks for nothing.
type Kind uint8

// The kinds, from the least to the most pressing.
const (
	Nothing         Kind = iota
	WaterSoon            // the lowest level for charging is reached within days
	LevelsDue            // somebody must read the level of some cells within days
	PackWarm             // warm enough that others interrupt a charge
	ChargeBlocked        // something keeps the pack from charging for long
	ProbeFailed          // blocked by a missing reading
	ReadyToWater         // full, rested, cool, and needs water
	HydrogenWarning      // hydrogen well before the explosive limit
	CoverPlates          // bare plates: just enough water before the charge
	VisitForgotten       // a visit has been open for very long
	ContactorStuck       // charging cannot be stopped from here
	NumKinds
)

// String returns the kind's name in messages, such as "ready-to-water".
func (k Kind) String() string {
	switch k {
	case WaterSoon:
		return "water-soon"
	case LevelsDue:
		return "levels-due"
	case PackWarm:
		return "pack-warm"
	case HydrogenWarning:
		return "hydrogen-warning"
	case ProbeFailed:
		return "probe-failed"
	case VisitForgotten:
		return "visit-forgotten"
	case ChargeBlocked:
		return "charge-blocked"
	case ReadyToWater:
		return "ready-to-water"
	case CoverPlates:
		return "cover-plates"
	case ContactorStuck:
		return "contactor-stuck"
	case Nothing, NumKinds:
	}
	return "nothing"
}

// State is the state of a notice.
type State uint8

// The states of a notice.
const (
	Settled State = iota // its reason is gone; also before the first notice
	Raised
	Seen // someone is at the pack
)

// String returns the state's name in messages.
func (s State) String() string {
	switch s {
	case Raised:
		return "raised"
	case Seen:
		return "seen"
	default:
		return "settled"
	}
}

// Notice is a message for a technician; agent/words has the words for it.
type Notice struct {
	Kind  Kind
	State State
	At    time.Duration // of the tick in which it entered this state
}

// blockedFor is how long a charge must be blocked before the technician is called:
// slosh, checking and a short fault end by themselves.
const blockedFor = 10 * time.Minute

// Watch tracks the notices of one bay. The zero value is ready to use.
type Watch struct {
	now    Notice
	code   interlock.Code // why a charge is blocked, when that is the notice
	told   bool
	called bool // to water, and nobody has come yet
	asked  bool // for level readings, and nobody has come yet
}

// Update processes a picture and reports whether the notice changed. The first
// change comes once the bay has finished checking, even when there is nothing to
// report: a notice from before a restart may still be displayed somewhere.
func (w *Watch) Update(p *bay.Picture) (n Notice, changed bool) {
	kind, state := w.next(p)
	code := interlock.NoCode
	if (kind == ChargeBlocked || kind == ProbeFailed) && state == Raised {
		code = w.blocker(p)
	}
	w.called = (w.called || kind == ReadyToWater && state == Raised) && !p.Visit.Open && !lasting(p)
	w.asked = (w.asked || (kind == LevelsDue || kind == ReadyToWater) && state == Raised) && !p.Visit.Open && p.Water.ReadDue
	if kind == w.now.Kind && state == w.now.State && (code == w.code || state != Raised) && !w.first(p) {
		return w.now, false
	}
	w.now, w.code, w.told = Notice{Kind: kind, State: state, At: p.Now}, code, true
	return w.now, true
}

// Watches are the watches of several bays by their names. One that is new begins
// with its first picture.
type Watches map[string]*Watch

// Update is Watch.Update for the bay of the picture.
func (w Watches) Update(p *bay.Picture) (n Notice, changed bool) {
	if w[p.Bay] == nil {
		w[p.Bay] = &Watch{}
	}
	return w[p.Bay].Update(p)
}

func (w *Watch) first(p *bay.Picture) bool {
	return !w.told && p.Stage != bay.StageUnknown && p.Stage != bay.Checking
}

// next returns the current notice. During a visit its reason is being worked on, so
// the notice stays, unless something more pressing comes up. That is raised,
// because the technician may not know of it.
func (w *Watch) next(p *bay.Picture) (Kind, State) {
	kind := w.kindOf(p)
	known := w.now.State == Seen || w.now.State == Raised && w.now.At <= p.Visit.Since
	switch {
	case p.Visit.Open && known && kind <= w.now.Kind:
		return w.now.Kind, Seen
	case kind != Nothing:
		return kind, Raised
	default:
		return w.now.Kind, Settled
	}
}

func (w *Watch) kindOf(p *bay.Picture) Kind {
	raised := func(c interlock.Code) bool { return p.Findings[c].Raised }
	switch {
	case raised(interlock.ContactorStuck):
		return ContactorStuck
	case p.Visit.Open && p.Now-p.Visit.Since >= bay.VisitForgottenAfter:
		return VisitForgotten
	case raised(interlock.PlatesBare) && p.Stage != bay.Vacant:
		return CoverPlates
	case raised(interlock.HydrogenWarning):
		return HydrogenWarning
	case p.Stage == bay.ReadyToWater:
		return ReadyToWater
	case p.Stage != bay.Vacant && !p.Charge.Full && w.blocker(p) != interlock.NoCode:
		if interlock.Table[w.blocker(p)].Unread == interlock.UnreadAlone {
			return ProbeFailed
		}
		return ChargeBlocked
	case raised(interlock.PackWarm) && p.Stage != bay.Vacant:
		return PackWarm
	case p.Stage != bay.Vacant && w.levels(p):
		return LevelsDue
	case p.Stage != bay.Vacant && w.soon(p):
		return WaterSoon
	}
	return Nothing
}

// levels reports whether a round of level readings is due that nobody has been called to:
// once for each round, since a call to water asks for the readings too.
func (w *Watch) levels(p *bay.Picture) bool {
	return p.Water.ReadDue && (!w.asked || w.now.Kind == LevelsDue && w.now.State == Raised)
}

const week, day = 7 * 24, 24 // h

// soon reports whether water lasts for less than a week. A forecast wavers with the noise
// of the level, so once raised the notice remains until even the early end of the range
// is beyond the week, or somebody has been there; and it does not follow a call to water
// that nobody came to, day after day.
func (w *Watch) soon(p *bay.Picture) bool {
	f := &p.Water
	switch {
	case w.now.Kind == WaterSoon && w.now.State == Raised:
		return !lasting(p)
	case w.called:
		return false
	}
	return f.ForecastOK && f.ForecastH < week
}

// lasting reports whether water certainly lasts for more than a week.
func lasting(p *bay.Picture) bool {
	f := &p.Water
	return f.ForecastOK && f.ForecastH >= week+day && f.ForecastLo >= week
}

// blocker returns what has blocked a charge for long, NoCode for nothing. While that
// remains, another finding before it must have lasted for as long to take its place: one
// that comes and goes is no news.
func (w *Watch) blocker(p *bay.Picture) interlock.Code {
	c := p.FirstReason()
	switch {
	case c == interlock.NoCode:
		return c
	case interlock.Table[c].Severity > interlock.Info && p.Now-p.Findings[c].Since >= blockedFor:
		return c
	case w.code != interlock.NoCode && p.Findings[w.code].Raised:
		return w.code
	}
	return interlock.NoCode
}
