package interlock_test

import (
	"fmt"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// situation is one point of the space.
type situation struct {
	level, cellV, packC, current, feedback *choice
	room                                   [len(roomReadings)]*choice

	charged, unready, overrun, runaway, visit, held, leaving, over, doubted bool
	plug                                                                    interlock.Plug
	name                                                                    interlock.Name
	latched                                                                 int             // bits of latches, from an earlier run
	alone                                                                   interlock.Codes // each was once the only one that blocked
	release                                                                 bool
	before                                                                  before
}

// before is the state until the situation came.
type before uint8

const (
	charging  before = iota // the permit was granted
	heldOnly                // blocked for one reason that is gone, after the minimum off time
	allRaised               // blocked, and every finding raised by its own condition
	numBefore
)

// meanings returns those of the readings that can block, while a pack is there.
func (s *situation) meanings() []meaning {
	of := func(c *choice) meaning {
		if s.charged {
			return c.charged
		}
		return c.atRest
	}
	var m []meaning
	for _, c := range s.room {
		m = append(m, of(c))
	}
	unknownV := s.cellV.fault != reading.None
	if unknownV || of(s.current) == bad {
		m = append(m, bad)
	}
	if s.plug == interlock.Plugged {
		m = append(m, of(s.level), of(s.cellV), of(s.packC))
	}
	return m
}

func (s *situation) worst() (w meaning) {
	for _, m := range s.meanings() {
		w = max(w, m)
	}
	return w
}

// atOnce reports whether the situation ends a charge in the same tick.
func (s *situation) atOnce() bool {
	return s.unready || s.nameless() || s.plug == interlock.Unplugged || s.overrun || s.runaway || s.visit || s.held || s.leaving || s.over || s.doubted || s.latchBlocks()
}

// nameless reports whether a pack is there and unknown. On charge there is no time
// to look for it.
func (s *situation) nameless() bool {
	return s.plug != interlock.Unplugged && (s.name == interlock.Unnamed || s.name != interlock.Named && s.before == charging)
}

// latchBlocks reports whether a latched finding blocks; an alarm does not.
func (s *situation) latchBlocks() bool {
	for i, c := range latches {
		if s.latched>>i&1 != 0 && !slices.Contains(alarms, c) {
			return true
		}
	}
	return false
}

// may reports whether a charge may continue or start in the situation once it has
// lasted, independently of the rules.
func (s *situation) may() bool {
	latched := s.latchBlocks() || s.before == allRaised
	if s.unready || s.nameless() || s.overrun || s.runaway || s.visit || s.held || s.leaving || s.over || s.doubted || latched && !s.release {
		return false
	}
	switch s.before {
	case charging:
		// A latch released in the tick in which it was found ends the charge no
		// more than a condition that is gone.
		return s.plug != interlock.Unplugged && s.worst() < bad
	case heldOnly:
		return s.plug == interlock.Plugged && s.name == interlock.Named && s.worst() < noStart
	default:
		return s.plug == interlock.Plugged && s.name == interlock.Named && s.worst() == allGood
	}
}

func (s *situation) inputs(now time.Duration) interlock.Inputs {
	of := func(c *choice) reading.Reading { return reading.Reading{Value: c.value, At: now, Fault: c.fault} }
	in := interlock.Inputs{
		Now: now, CellV: of(s.cellV), PackC: of(s.packC), CurrentA: of(s.current),
		Feedback: of(s.feedback), FreezingC: freezingC, Charged: s.charged,
		Level:   reading.Level{LowMM: s.level.value, HighMM: s.level.value, At: now, Fault: s.level.fault},
		Runaway: s.runaway, VisitOpen: s.visit, Held: s.held, Ready: !s.unready, Plug: s.plug, Name: s.name,
	}
	putRoom(&in, &s.room)
	if s.overrun {
		in.Overrun = interlock.ByHours
	}
	if s.leaving {
		in.LeaveFor = time.Millisecond
	}
	if s.over {
		in.Overfilled, in.OverCells = 4, 1
	}
	if in.SurelyMM, in.SurelyKnown = 5, true; s.doubted {
		in.SurelyMM = -1
	}
	return in
}

// bases returns the interlocks to start from, one for each before.
func bases(t *testing.T) (b [numBefore]interlock.Interlock) {
	t.Helper()
	calm := situation{
		level: &allReadings.level[0], cellV: &allReadings.cellV[0], packC: &allReadings.packC[0],
		current: &allReadings.current[0], room: calmRoom(),
		feedback: &allReadings.feedback[0], name: interlock.Named,
	}
	held, broken := calm, calm
	held.held = true
	broken.level, broken.cellV, broken.packC = &allReadings.level[4], &allReadings.cellV[4], &allReadings.packC[4]
	broken.room, broken.feedback = brokenRoom(), &allReadings.feedback[1]
	broken.name = interlock.Unnamed
	broken.overrun, broken.runaway, broken.visit, broken.held, broken.leaving, broken.over, broken.doubted, broken.unready = true, true, true, true, true, true, true, true
	for i, s := range []situation{calm, held, broken} {
		x := interlock.New(enumLimits, 0)
		for now := time.Duration(0); now <= 5*time.Minute; now += time.Second {
			in := s.inputs(now)
			x.Step(&in, false)
		}
		b[i] = *x
	}
	if !b[charging].Granted() || b[heldOnly].Granted() || b[allRaised].Granted() {
		t.Fatal("the starting points are not what they should be")
	}
	return b
}

const baseEnd = 5 * time.Minute

// try runs one situation and describes what is wrong, if anything.
func (s *situation) try(b *[numBefore]interlock.Interlock) string {
	x := b[s.before]
	for i, c := range latches {
		if s.latched>>i&1 != 0 {
			x.Restore(c, interlock.Evidence{Value: 1}, baseEnd)
		}
	}
	in := s.inputs(baseEnd + time.Second)
	x.Step(&in, false)
	first := x.Granted()
	switch {
	case s.before != charging && first && !s.may():
		return "granted at once"
	case s.before == charging && first && s.atOnce():
		return "still granted after one tick"
	case s.before == charging && !first && !s.atOnce():
		return fmt.Sprintf("blocked before the raise time by %v", slices.Collect(x.Raised().All()))
	}
	if first || s.before != charging {
		last := baseEnd + 11*time.Second // all raise times are over
		if s.before == allRaised {
			last = baseEnd + 10*time.Minute // all clear times are over
		}
		in.Now = last
		x.Step(&in, s.release)
		if got := x.Granted(); got != s.may() {
			return fmt.Sprintf("granted %v after %v, raised: %v", got, last-baseEnd, slices.Collect(x.Raised().All()))
		}
	}
	if blocks := x.Raised() & blockers; blocks != 0 && blocks&(blocks-1) == 0 {
		s.alone |= blocks
	}
	return s.consistent(&x)
}

// blockers are the findings that block.
var blockers = func() (all interlock.Codes) {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if interlock.Table[c].Blocks {
			all |= 1 << c
		}
	}
	return all
}()

// consistent: the permit is the absence of blocking findings, and latches end only
// by a release.
func (s *situation) consistent(x *interlock.Interlock) string {
	blocked := false
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		blocked = blocked || interlock.Table[c].Blocks && x.Standing(c).Raised
	}
	if x.Granted() == blocked {
		return fmt.Sprintf("granted %v, blocked %v", x.Granted(), blocked)
	}
	for i, c := range latches {
		if (s.latched>>i&1 != 0 || s.before == allRaised) && !s.release && !x.Standing(c).Latched {
			return fmt.Sprintf("%v lost without a release", c)
		}
	}
	closedSeen := s.feedback.value == 1 || s.current.value > enumLimits.StrayA
	if s.before != charging && closedSeen && !x.Granted() && !x.Standing(interlock.ContactorStuck).Raised {
		return "a stuck contactor is not reported"
	}
	return ""
}

// each calls f with every situation of the space; with people, times everything
// that people and memory can do.
func each(r space, people bool, f func(*situation)) {
	yes := []bool{false}
	masks := []int{0}
	if people {
		yes, masks = []bool{false, true}, masks[:0]
		for m := range 1 << len(latches) {
			masks = append(masks, m)
		}
	}
	var s situation
	pick := func(to **choice, from []choice, next func()) func() {
		return func() {
			for i := range from {
				*to = &from[i]
				next()
			}
		}
	}
	flip := func(to *bool, values []bool, next func()) func() {
		return func() {
			for _, *to = range values {
				next()
			}
		}
	}
	both := []bool{false, true}
	run := func() { f(&s) }
	run = flip(&s.release, yes, run)
	inner := run
	run = func() {
		for s.before = range numBefore {
			for _, s.latched = range masks {
				if s.doubted && s.latched != 0 { // the record of the other cells knows nothing of latches
					continue
				}
				for s.plug = range interlock.Unplugged + 1 {
					inner()
				}
			}
		}
	}
	late := run
	run = func() { // beside a lock, the delay after the last one and a record that blocks add nothing
		late()
		if !people || s.held || s.visit {
			return
		}
		for _, one := range []*bool{&s.leaving, &s.over, &s.doubted} {
			*one = true
			late()
			*one = false
		}
	}
	run = flip(&s.held, yes, flip(&s.visit, yes, flip(&s.runaway, yes, flip(&s.overrun, yes, run))))
	named := run
	run = func() {
		for s.name = range interlock.Named + 1 {
			if s.name == interlock.Named || !people || !s.unready {
				named()
			}
		}
	}
	run = flip(&s.unready, both, flip(&s.charged, both, run))
	for i := range r.room {
		run = pick(&s.room[i], r.room[i], run)
	}
	run = pick(&s.feedback, r.feedback, run)
	run = pick(&s.current, r.current, pick(&s.packC, r.packC, pick(&s.cellV, r.cellV, run)))
	pick(&s.level, r.level, run)()
}

// TestEnumerate tries every combination of the discretised readings with every
// earlier permit, and every combination of people, latches and charge with fewer
// values of the readings. With BAYWARD_LONG set it tries the whole product, which
// takes hours.
func TestEnumerate(t *testing.T) {
	type part struct {
		r      space
		people bool
	}
	parts := []part{{allReadings, false}, {fewReadings, true}}
	if os.Getenv("BAYWARD_LONG") != "" {
		parts = []part{{allReadings, true}}
	}
	if testing.Short() {
		parts = parts[1:]
	}
	b := bases(t)
	var mu sync.Mutex
	total, wrong, alone := 0, 0, interlock.Codes(0)
	var wg sync.WaitGroup
	for _, p := range parts {
		for i := range p.r.level {
			wg.Go(func() {
				mine := p.r
				mine.level = mine.level[i : i+1]
				n := 0
				seen := interlock.Codes(0)
				each(mine, p.people, func(s *situation) {
					n++
					why := s.try(&b)
					if seen |= s.alone; why != "" {
						mu.Lock()
						if wrong++; wrong <= 10 {
							t.Errorf("%s: %s", why, s)
						}
						mu.Unlock()
					}
				})
				mu.Lock()
				total, alone = total+n, alone|seen
				mu.Unlock()
			})
		}
	}
	wg.Wait()
	t.Logf("figure: states enumerated %d, violations %d", total, wrong)
	if testing.Short() {
		return
	}
	for c := range (blockers &^ alone).All() {
		t.Errorf("%v is never all that blocks: give its readings the values in allReadings that decide it, with what each means", c)
	}
}

// TestLatchesAreEnumerated: the handwritten list of latches is complete.
func TestLatchesAreEnumerated(t *testing.T) {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		r := &interlock.Table[c]
		if r.Latches != slices.Contains(latches, c) {
			t.Errorf("%v latches %v: the list latches in enumerate_test.go disagrees", c, r.Latches)
		}
		if r.Latches && r.Blocks == slices.Contains(alarms, c) {
			t.Errorf("%v blocks %v: the list alarms in enumerate_test.go disagrees", c, r.Blocks)
		}
	}
}

func (s *situation) String() string {
	return fmt.Sprintf("level %v, V %v, °C %v, A %v, room %v, feedback %v, charged %v, unready %v, overrun %v, runaway %v, visit %v, held %v, leaving %v, over %v, doubted %v, plug %d, latched %b, release %v, before %d",
		*s.level, *s.cellV, *s.packC, *s.current, s.roomText(), *s.feedback, s.charged, s.unready,
		s.overrun, s.runaway, s.visit, s.held, s.leaving, s.over, s.doubted, s.plug, s.latched, s.release, s.before)
}

func (s *situation) roomText() (all []choice) {
	for _, c := range s.room {
		all = append(all, *c)
	}
	return all
}
