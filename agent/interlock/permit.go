package interlock

import (
	"math"
	"time"
)

// Standing is the state of one finding.
type Standing struct {
	Raised   bool
	Latched  bool
	Since    time.Duration // when it was raised
	Evidence Evidence
	Gone     bool // its reading is gone: Evidence is of the last one

	bad        time.Duration // leaky count of bad time, at most its raise time
	clearSince time.Duration
	clearing   bool
}

// Interlock holds the state of all findings and the permit. Create it with [New].
type Interlock struct {
	Limits    Limits
	standings [NumCodes]Standing
	judged    [NumCodes]Judged
	raised    Codes // the findings that are raised
	granted   bool
	changed   time.Duration // when the permit last changed
	last      time.Duration // the tick before
}

// New returns an interlock that blocks. The contactor counts as opened now: it may
// have been closed before a restart.
func New(l Limits, now time.Duration) *Interlock {
	return &Interlock{Limits: l, changed: now, last: now}
}

// Granted reports whether the permit is granted after the last step.
func (i *Interlock) Granted() bool { return i.granted }

// Changed returns when the permit last changed.
func (i *Interlock) Changed() time.Duration { return i.changed }

// Raised returns the findings that are raised.
func (i *Interlock) Raised() Codes { return i.raised }

// Clearing reports whether the finding is still raised only because its all-clear has
// not held for long enough yet; Evidence is then of a good reading.
func (s *Standing) Clearing() bool { return s.Raised && s.clearing }

// Standing returns the state of one finding.
func (i *Interlock) Standing(c Code) *Standing { return &i.standings[c] }

// Step judges one tick. With release, latched findings whose condition is gone
// are cleared; a release never clears a condition that still holds.
func (i *Interlock) Step(in *Inputs, release bool) {
	i.Limits.judge(in, !i.granted, &i.judged)
	if in.Ready && i.standings[AgentUnready].Raised {
		i.judgeRest(in.Now)
	}
	dt := max(elapsed(i.last, in.Now), 0)
	i.last = in.Now
	for c := NoCode + 1; c < NumCodes; c++ {
		if i.standings[c].quiet(&i.judged[c], dt) {
			continue
		}
		i.standings[c].step(&Table[c], &i.judged[c], in.Now, dt, release)
		i.note(c)
	}
	i.decide(in.Now)
}

// note updates the set for one finding.
func (i *Interlock) note(c Code) {
	i.raised &^= 1 << c
	if i.standings[c].Raised {
		i.raised |= 1 << c
	}
}

// raise raises one finding outside its own time.
func (i *Interlock) raise(c Code, j *Judged, now time.Duration) {
	i.standings[c].raise(&Table[c], j, now)
	i.note(c)
}

// drain is how much faster bad time counts than good time wears it off. A condition
// that is bad for more than a fifth of the time, 1/(1+drain), is raised, however it is
// spread; see the package's documentation.
const drain = 4

// quiet processes a tick that proves the condition not bad, and reports whether
// nothing else is to do because the finding is not raised. That is the usual case.
func (s *Standing) quiet(j *Judged, dt time.Duration) bool {
	if !j.fine() {
		return false
	}
	s.bad = max(s.bad-dt/drain, 0)
	return !s.Raised
}

// step is the one state machine that all other findings share. The time since the
// tick before counts as bad when this tick does not prove the opposite: what happened
// between two ticks is unknown. So a slow trace raises at once, and so does a wire that
// alternates between no value and bad values.
func (s *Standing) step(r *Rule, j *Judged, now, dt time.Duration, release bool) {
	if !j.fine() {
		s.bad += min(dt, r.Raise-s.bad)
	}
	switch {
	case !s.Raised && j.bad() && s.bad >= r.Raise:
		s.raise(r, j, now)
	case s.Raised:
		s.keep(r, j, now, release)
	}
}

func (s *Standing) raise(r *Rule, j *Judged, now time.Duration) {
	s.Raised, s.Latched, s.Since, s.Evidence, s.clearing, s.Gone = true, r.Latches, now, j.Evidence, false, false
}

func (s *Standing) keep(r *Rule, j *Judged, now time.Duration, release bool) {
	if s.Latched {
		if release && j.Verdict == Clear {
			s.Raised, s.Latched = false, false
		}
		return
	}
	s.Gone = j.Verdict == Unjudged || j.Verdict == Away
	if !s.Gone {
		s.Evidence = j.Evidence
	}
	if j.Verdict != Clear {
		s.clearing = false
		return
	}
	if !s.clearing {
		s.clearing, s.clearSince = true, now
	}
	if elapsed(s.clearSince, now) >= r.Clear {
		s.Raised = false
	}
}

// decide grants only when no blocking finding is raised, no blocking rule is bad in
// this very tick, and the contactor's minimum off time is over. A rule that is bad
// in that tick is raised, so that a blocked permit always has a reason; raise times
// only protect a charge in progress.
func (i *Interlock) decide(now time.Duration) {
	if i.granted {
		if i.blocked() {
			i.granted, i.changed = false, now
		}
		return
	}
	if i.blocked() {
		return
	}
	for c := NoCode + 1; c < NumCodes; c++ {
		if Table[c].Blocks && i.judged[c].stops(&Table[c]) {
			i.raise(c, &i.judged[c], now)
		}
	}
	if i.judgeRest(now) {
		i.raise(AgentUnready, &i.judged[AgentUnready], now)
	}
	if !i.blocked() {
		i.granted, i.changed = true, now
	}
}

// stops reports whether a verdict forbids starting a charge. A verdict that is
// missing belongs to another finding, which forbids it.
func (j *Judged) stops(r *Rule) bool { return j.bad() || r.ToStart && j.Verdict == Between }

// fine reports whether a tick proves the condition not bad.
func (j *Judged) fine() bool { return j.Verdict == Between || j.Verdict == Away || j.Verdict == Clear }

func (j *Judged) bad() bool { return j.Verdict == Bad || j.Verdict == Unknown }

// elapsed returns the time between two ticks; an overflow counts as very long.
func elapsed(since, now time.Duration) time.Duration {
	d := now - since
	if d < 0 && now > since {
		return math.MaxInt64
	}
	return d
}

// judgeRest turns the all-clear of a ready agent into "minimum off time" until that
// is over, and reports whether it did.
func (i *Interlock) judgeRest(now time.Duration) bool {
	left := i.Limits.OffMin - elapsed(i.changed, now)
	if i.granted || left <= 0 {
		return false
	}
	i.judged[AgentUnready] = Judged{Bad, Evidence{Value: left.Seconds(), Reason: ContactorRest}}
	return true
}

func (i *Interlock) blocked() bool { return i.raised&blocking != 0 }

// Prove raises a finding whose condition was seen to hold for long enough between
// two ticks; the next step judges it like any other raised finding.
func (i *Interlock) Prove(c Code, e Evidence, now time.Duration) {
	if !i.standings[c].Raised {
		i.raise(c, &Judged{Verdict: Bad, Evidence: e}, now)
	}
}

// Restore raises a finding again after a restart. It stands until its all-clear has
// held for its whole clear time, or it is released.
func (i *Interlock) Restore(c Code, e Evidence, now time.Duration) {
	if c > NoCode && c < NumCodes {
		i.raise(c, &Judged{Verdict: Bad, Evidence: e}, now)
	}
}

// BadFor returns the count of bad time of a finding, up to its raise time.
func (i *Interlock) BadFor(c Code) time.Duration { return i.standings[c].bad }

// RestoreBad continues that count after a restart.
func (i *Interlock) RestoreBad(c Code, d time.Duration) {
	if c > NoCode && c < NumCodes {
		i.standings[c].bad = min(max(d, 0), Table[c].Raise)
	}
}
