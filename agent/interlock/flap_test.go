package interlock_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/interlock"
)

// rhythm is a condition that comes and goes: so many bad ticks, then so many good ones.
type rhythm struct{ bad, good int }

// flapping are rhythms of which more than a fifth is bad.
var flapping = []rhythm{{1, 1}, {9, 1}, {1, 2}, {1, 3}, {5, 10}, {3, 1}}

// within returns the longest time until such a rhythm is raised, as the package's
// documentation states it.
func (f rhythm) within(raise, tick time.Duration) time.Duration {
	share := float64(f.bad) / float64(f.bad+f.good)
	return time.Duration(4*float64(raise)/(5*share-1)) + time.Duration(f.bad+f.good)*tick
}

// TestEveryFindingCountsFlapping: a condition that comes and goes ends in its finding
// within the stated time, whatever the length of a tick.
func TestEveryFindingCountsFlapping(t *testing.T) {
	for code, change := range conditions {
		rule := &interlock.Table[code]
		for _, f := range flapping {
			for _, tick := range []time.Duration{100 * time.Millisecond, time.Second} {
				tick = max(tick, rule.Raise/200)
				r := newRig(t, 0).granted()
				from := r.now
				for n := 0; !r.x.Standing(code).Raised && r.now-from < 24*time.Hour*7; n++ {
					if n%(f.bad+f.good) < f.bad {
						r.step(tick, change)
					} else {
						r.step(tick, nil)
					}
				}
				require.LessOrEqual(t, r.now-from, f.within(rule.Raise, tick), "%v: %v at one tick in %v", code, f, tick)
				require.NotEqual(t, rule.Blocks, r.x.Granted(), code)
			}
		}
	}
}

// TestDisturbedReadings: one bad second in ten raises nothing that has a raise time,
// and so one in a minute does not.
func TestDisturbedReadings(t *testing.T) {
	for code, change := range conditions {
		if interlock.Table[code].Raise < 2*time.Second {
			continue
		}
		for _, f := range []rhythm{{1, 59}, {1, 9}, {1, 4}} {
			r := newRig(t, 0).granted()
			for n := range 1800 {
				if n%(f.bad+f.good) < f.bad {
					r.step(time.Second, change)
				} else {
					r.step(time.Second, nil)
				}
			}
			require.False(t, r.x.Standing(code).Raised, "%v: %v", code, f)
			require.True(t, r.x.Granted(), code)
		}
	}
}

// TestEnumerateFlapping pairs each value that must not be charged on with each other
// value of the same reading, good or not, in each rhythm: the charge ends.
func TestEnumerateFlapping(t *testing.T) {
	b, pairs := bases(t), 0
	calm := situation{
		level: &allReadings.level[0], cellV: &allReadings.cellV[0], packC: &allReadings.packC[0],
		current: &allReadings.current[0], room: calmRoom(),
		feedback: &allReadings.feedback[0], name: interlock.Named,
	}
	type placed struct {
		at     func(*situation) **choice
		values []choice
	}
	readings := []placed{
		{func(s *situation) **choice { return &s.level }, allReadings.level},
		{func(s *situation) **choice { return &s.cellV }, allReadings.cellV},
		{func(s *situation) **choice { return &s.packC }, allReadings.packC},
		{func(s *situation) **choice { return &s.current }, allReadings.current},
	}
	for i := range roomReadings {
		readings = append(readings, placed{func(s *situation) **choice { return &s.room[i] }, roomReadings[i].all})
	}
	for _, reading := range readings {
		for i := range reading.values {
			for j := range reading.values {
				for _, charged := range []bool{false, true} {
					one, other := calm, calm
					one.charged, other.charged = charged, charged
					*reading.at(&one), *reading.at(&other) = &reading.values[i], &reading.values[j]
					if one.may() || i == j {
						continue
					}
					pairs++
					for _, f := range flapping {
						took := f.endsCharge(b[charging], &one, &other)
						require.LessOrEqual(t, took, f.within(10*time.Second, time.Second), "%v: %v and %v", f, &one, &other)
					}
				}
			}
		}
	}
	t.Logf("figure: pairs of values that flap %d, of which granted 0", pairs)
}

// endsCharge returns how long two situations in turn leave a charge the permit.
func (f rhythm) endsCharge(x interlock.Interlock, one, other *situation) time.Duration {
	now := baseEnd
	for n := 0; x.Granted() && now < baseEnd+time.Hour; n++ {
		now += time.Second
		s := one
		if n%(f.bad+f.good) >= f.bad {
			s = other
		}
		in := s.inputs(now)
		x.Step(&in, false)
	}
	return now - baseEnd
}

// spell is a stretch between two ticks, by the verdict of the later one.
type spell struct {
	long     time.Duration
	bad, not bool // bad: the condition held; not: it was proven not to
}

// tail returns how much of the last span of time was bad, and how much was proven not
// to be.
func tail(all []spell, span time.Duration) (bad, not time.Duration) {
	for _, s := range slices.Backward(all) {
		long := min(s.long, span)
		span -= long
		switch {
		case s.bad:
			bad += long
		case s.not:
			not += long
		}
	}
	return bad, not
}

// TestShareOfBadTime holds every raise time to what the package promises, with any
// mixture of good, bad and missing readings and of long and short ticks. It only looks
// back from each tick: raised when nothing was proven good for the raise time; raised
// when half of the last three raise times was bad; not raised as long as less than a
// sixth of each span from the last minutes was not proven good, and no single one lasted
// for a raise time.
func TestShareOfBadTime(t *testing.T) {
	raised, spared := 0, 0
	start := newRig(t, 0).granted()
	rapid.Check(t, func(t *rapid.T) {
		x, now, raise := *start.x, start.now, interlock.Table[interlock.PackHot].Raise
		var all []spell
		most := rapid.IntRange(0, 12).Draw(t, "share of bad ticks, in twelfths")
		for range rapid.IntRange(1, 150).Draw(t, "ticks") {
			s := spell{long: time.Duration(rapid.IntRange(1, 2500).Draw(t, "ms")) * time.Millisecond}
			now += s.long
			in := calm(now)
			switch kind := rapid.IntRange(0, 23).Draw(t, "reading"); {
			case kind < most:
				in.PackC.Value, s.bad = 53, true
			case kind == 23 && most > 0:
				conditions[interlock.TemperatureUnknown](&in)
			default:
				s.not = true
			}
			all = append(all, s)
			before := x.Standing(interlock.PackHot).Raised
			x.Step(&in, false)
			if before || !s.bad {
				continue
			}
			is := x.Standing(interlock.PackHot).Raised
			since, _ := tail(all, 3*raise)
			if (2*since >= 3*raise || proofless(all) >= raise) && !is {
				t.Fatalf("not raised at %v: %v of the last %v bad, nothing proven for %v", now, since, 3*raise, proofless(all))
			}
			if is && mostlyGood(all) && proofless(all) < raise {
				t.Fatalf("raised at %v although more than five sixths of all the time was proven good", now)
			}
			if is {
				raised++
				return
			}
			spared++
		}
	})
	if testing.Short() { // a fifth of the checks
		require.Positive(t, raised+spared)
		return
	}
	require.Greater(t, raised, 5)
	require.Greater(t, spared, 100)
}

// proofless returns for how long nothing was proven good.
func proofless(all []spell) (d time.Duration) {
	for _, s := range slices.Backward(all) {
		if s.not {
			break
		}
		d += s.long
	}
	return d
}

// mostlyGood reports whether more than five sixths of every stretch up to now was proven
// good, leaving out the last raise time.
func mostlyGood(all []spell) bool {
	good, total := time.Duration(0), time.Duration(0)
	for _, s := range slices.Backward(all) {
		if total += s.long; s.not {
			good += s.long
		}
		if total > 10*time.Second && 6*good <= 5*total {
			return false
		}
	}
	return true
}
