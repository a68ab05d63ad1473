package cooldown_test

import (
	"math"
	"sort"
	"testing"

	"bayward/agent/cooldown"
)

// said is an estimate given some time into a night.
type said struct{ at, ready, early, late float64 }

// asked are the times after a charge, h, at which the technician may look.
var asked = []float64{0.75, 1, 2, 4}

// tellings runs a night. It returns when the pack became ready and the estimate at
// each of the asked times; ok is false when it never became ready.
func tellings(n night) (readyH float64, all []said, ok bool) {
	next := 0
	n.run(40, func(m moment) bool {
		if m.said.Cool {
			readyH, ok = m.h, true
			return false
		}
		if next < len(asked) && m.h >= asked[next] {
			if m.said.ReadyKnown {
				all = append(all, said{asked[next], m.h + m.said.ReadyIn.Hours(), m.h + m.said.ReadyEarly.Hours(), m.h + m.said.ReadyLate.Hours()})
			}
			next++
		}
		return true
	})
	return readyH, all, ok
}

// score counts how often the truth was in the range.
type score struct {
	nights, in, early, late int
	widths, misses          []float64
}

func (s *score) add(readyH float64, e said) {
	s.nights++
	switch {
	case readyH < e.early:
		s.early++
	case readyH > e.late:
		s.late++
	default:
		s.in++
	}
	s.widths = append(s.widths, (e.late-e.early)/(readyH-e.at))
	s.misses = append(s.misses, math.Abs(readyH-e.ready))
}

func median(x []float64) float64 {
	sort.Float64s(x)
	if len(x) == 0 {
		return math.NaN()
	}
	return x[len(x)/2]
}

// TestRangeHolds checks that the time to ready is in its range at least as often as
// cooldown.ReadyCoverage promises, over nights that are steadier than those that the
// range is made for (TestRangesOnWideNights), and that the range is not far too wide for
// them. The lower bound is four standard errors of a share of 0.9 below it, and 0.03 for
// the difference between these nights and those that the rule's constants were chosen
// for.
func TestRangeHolds(t *testing.T) {
	const nights = 300
	for _, c := range []struct {
		name   string
		change func(n *night)
	}{
		{"first night of a pack", func(*night) {}},
		{"later night", func(n *night) { n.memory = n.taught() }},
		{"sensor on the case", func(n *night) { n.share, n.limits.SensorShare = 0.87, cooldown.CaseShare }},
	} {
		t.Run(c.name, func(t *testing.T) {
			at := map[float64]*score{}
			for _, h := range asked {
				at[h] = &score{}
			}
			for seed := range uint64(nights) {
				n := someNight(seed)
				c.change(&n)
				readyH, all, ok := tellings(n)
				for _, e := range all {
					if ok && readyH > e.at+0.25 {
						at[e.at].add(readyH, e)
					}
				}
			}
			for _, h := range asked {
				at[h].check(t, h)
			}
		})
	}
}

func (s *score) check(t *testing.T, h float64) {
	t.Helper()
	share := float64(s.in) / float64(s.nights)
	t.Logf("figure: cool-down, %.2f h after the charge: %.1f %% of %d nights inside the range (target: %.0f %%), %d sooner, %d later; median error %.2f h, median width %.2f of what was left",
		h, 100*share, s.nights, 100*cooldown.ReadyCoverage, s.early, s.late, median(s.misses), median(s.widths))
	if s.nights < 100 {
		t.Fatalf("only %d nights give an estimate", s.nights)
	}
	allow := 4*math.Sqrt(0.9*0.1/float64(s.nights)) + 0.03
	if share < cooldown.ReadyCoverage-allow {
		t.Errorf("%.3f of the ranges given after %.2f h hold, want %.2f - %.2f", share, h, cooldown.ReadyCoverage, allow)
	}
	if wide := median(s.widths); !(wide < 4.5) {
		t.Errorf("the ranges given after %.2f h are %.1f times as wide as what was left", h, wide)
	}
}

// taught returns what another night taught about the same pack.
func (n night) taught() *cooldown.Memory {
	other := someNight(n.seed + 1_000_000)
	other.tauH = n.tauH
	m, ok := other.run(6, func(moment) bool { return true }).Memory()
	if !ok {
		return nil
	}
	return &m
}
