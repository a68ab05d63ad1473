package cooldown_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/cooldown"
	"bayward/agent/reading"
)

// TestHardNights lists what a night can do to the sensors: scenario, allowance,
// result. A pack may be called cool only when it truly is: rested for the hour,
// electrolyte at or below 40 °C, within 10 K of the true air, both with an
// allowance for what the sensors can show. A miss must end by itself: "late" is how
// much later than the truth the call may come.
func TestHardNights(t *testing.T) {
	base := night{tauH: 8, startC: 44, airC: 18, swingK: 3, phaseH: 6, strayK: 0.3, share: 1, lagH: 0.1, noiseK: 0.05, stepK: 0.0625, limits: usual(), seed: 9}
	for _, c := range []struct {
		name   string
		change func(n *night)
		overK  float64 // allowance on both temperatures
		lateH  float64 // after the truth holds; 0: must never be called
	}{
		{"clean sensors", func(*night) {}, 0.2, 0.6},
		{"noise of 1 % of 40 °C", func(n *night) { n.noiseK = 0.4 }, 0.3, 0.8},
		{"half a degree of resolution", func(n *night) { n.stepK = 0.5 }, 0.5, 0.8},
		{"a gap of 2 h in the night", func(n *night) { n.gapFrom, n.gapForH = 3, 2 }, 0.2, 1.2},
		{"a gap over the moment of readiness", func(n *night) { n.gapFrom, n.gapForH = 5.5, 3 }, 0.2, 4},
		{"sensor on the case, configured", func(n *night) { n.share, n.limits.SensorShare = 0.87, cooldown.CaseShare }, 0.3, 1.5},
		{"sensor on the case, lag of 20 minutes", func(n *night) { n.share, n.limits.SensorShare, n.lagH = 0.87, cooldown.CaseShare, 0.33 }, 0.3, 2},
		{"sensor on the case, not configured", func(n *night) { n.share = 0.87 }, 10*(1/0.87-1) + 0.3, 1},
		{"a bay in the sun for 4 h", func(n *night) { n.sunK, n.sunH = 6, 4 }, 0.2, 0.8},
		{"no sensor of the air", func(n *night) { n.blind = true }, 2, 12},
		{"a bay at 0 °C", func(n *night) { n.airC, n.startC = 0, 26 }, 0.2, 0.6},
		{"a bay at 50 °C", func(n *night) { n.airC, n.startC = 50, 55 }, 0.2, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := base
			c.change(&n)
			trueAt, calledAt := math.NaN(), math.NaN()
			var at moment
			n.run(40, func(m moment) bool {
				fits := m.h >= 1 && m.trueC <= 40 && m.trueC-m.airC <= 10
				if fits && math.IsNaN(trueAt) {
					trueAt = m.h
				}
				if m.said.Cool {
					calledAt, at = m.h, m
				}
				return !m.said.Cool
			})
			t.Logf("allowed: from %.2f h at most %.1f h late; seen: %.2f h at %.1f °C with air at %.1f °C", trueAt, c.lateH, calledAt, at.trueC, at.airC)
			switch {
			case c.lateH == 0:
				if !math.IsNaN(calledAt) {
					t.Errorf("called cool after %.2f h at %.1f °C", calledAt, at.trueC)
				}
				return
			case math.IsNaN(calledAt):
				t.Fatalf("never called; the truth held from %.2f h", trueAt)
			case at.h < 1 || at.trueC > 40+c.overK || at.trueC-at.airC > 10+c.overK:
				t.Errorf("called cool after %.2f h at %.2f °C with air at %.2f °C", at.h, at.trueC, at.airC)
			case calledAt > trueAt+c.lateH:
				t.Errorf("called %.2f h after the truth, allowed %.2f", calledAt-trueAt, c.lateH)
			}
		})
	}
}

// TestSpikes: single readings far off never make a pack cool; nor, in the other
// direction, do they keep it from being cool for longer than the rules take to hold
// again.
func TestSpikes(t *testing.T) {
	for _, c := range []struct {
		name   string
		packC  float64 // steady truth
		spikeC float64
		want   bool
	}{
		{"a hot pack with cold spikes", 45, 5, false},
		{"a pack far above the air with spikes of the air", 35, 20, false},
		{"a cool pack with a hot spike every quarter of an hour", 24, 84, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			rule := cooldown.New(usual())
			seen := false
			for i := range 4 * 3600 {
				now := time.Duration(i) * time.Second
				v := c.packC
				if i%900 == 899 {
					v = c.spikeC
				}
				rule.Step(&cooldown.Inputs{Now: now, Full: true, Resting: true, PackC: reading.Good(v, now), AmbientC: reading.Good(20, now)})
				seen = seen || rule.Status().Cool
			}
			if seen != c.want {
				t.Errorf("called cool: %v, want %v", seen, c.want)
			}
		})
	}
}

// TestBlindNightUsesWhatIsKnown: without an air sensor there is no estimate on the
// first night, and there is one after a night that taught the time constant.
func TestBlindNightUsesWhatIsKnown(t *testing.T) {
	n := night{tauH: 8, startC: 46, airC: 18, share: 1, lagH: 0.1, noiseK: 0.05, stepK: 0.0625, limits: usual(), seed: 3, blind: true}
	told := 0
	n.run(6, func(m moment) bool {
		if m.said.ReadyKnown && !m.said.Cool {
			told++
		}
		return true
	})
	if told > 0 {
		t.Errorf("%d estimates without an earlier night", told)
	}
	n.memory = &cooldown.Memory{PerH: 1.0 / 8, SpreadPerH: 0.01}
	readyH, all, ok := tellings(n)
	if !ok || len(all) < 2 {
		t.Fatalf("ready: %v, %d estimates", ok, len(all))
	}
	for _, e := range all {
		if readyH < e.early || readyH > e.late {
			t.Errorf("estimate after %.2f h: %.2f to %.2f h, ready at %.2f h", e.at, e.early, e.late, readyH)
		}
	}
}

// TestNeverReadyBefore draws arbitrary readings and checks every call against the
// rule as documented.
func TestNeverReadyBefore(t *testing.T) {
	ticks, calls := 0, 0
	for ticks < 500_000 && !t.Failed() {
		rapid.Check(t, func(t *rapid.T) {
			n, c := anyReadings(t)
			ticks, calls = ticks+n, calls+c
		})
	}
	t.Logf("figure: cool-down property: %d ticks, %d calls, none before its time", ticks, calls)
	if calls < 100 {
		t.Errorf("only %d calls in %d ticks: the property tests next to nothing", calls, ticks)
	}
}

func anyReadings(t *rapid.T) (ticks, calls int) {
	cfg := usual()
	cfg.RestMin = time.Duration(rapid.IntRange(10, 90).Draw(t, "rest")) * time.Minute
	cfg.HasAmbient = rapid.Bool().Draw(t, "has air")
	cfg.SensorShare = rapid.SampledFrom([]float64{0, 1, cooldown.CaseShare}).Draw(t, "share")
	rule := cooldown.New(cfg)
	now := time.Duration(rapid.Int64Range(-1e12, 1e12).Draw(t, "start"))
	endedAt, was := now, false
	goodSince := now
	for range rapid.IntRange(1, 12).Draw(t, "segments") {
		in := cooldown.Inputs{
			Full: rapid.IntRange(0, 5).Draw(t, "full") > 0, Resting: rapid.IntRange(0, 5).Draw(t, "resting") > 0,
		}
		packC, slope := rapid.Float64Range(-20, 60).Draw(t, "pack"), rapid.Float64Range(-6, 2).Draw(t, "slope")
		airC := rapid.Float64Range(-20, 45).Draw(t, "air")
		packOK, airOK := rapid.IntRange(0, 5).Draw(t, "pack ok") > 0, rapid.IntRange(0, 5).Draw(t, "air ok") > 0
		dt := rapid.SampledFrom([]time.Duration{time.Second, 30 * time.Second, 5 * time.Minute, 2 * time.Hour}).Draw(t, "dt")
		for range rapid.IntRange(1, 200).Draw(t, "ticks") {
			now += dt
			packC += slope * dt.Hours()
			if !in.Full || !in.Resting {
				endedAt = now
			}
			in.Now, in.EndedAt = now, endedAt
			in.PackC, in.AmbientC = reading.Good(packC, now), reading.Good(airC, now)
			if !packOK {
				in.PackC = reading.Bad(reading.Open, now)
			}
			if !airOK || !cfg.HasAmbient {
				in.AmbientC = reading.Bad(reading.Missing, now)
			}
			if !in.Full || !in.Resting || !packOK || packC > cfg.WateringMaxC+2 {
				goodSince = now
			}
			rule.Step(&in)
			checkCall(t, rule.Status(), &in, cfg, was, goodSince)
			ticks++
			if rule.Status().Cool && !was {
				calls++
			}
			was = rule.Status().Cool
		}
	}
	return ticks, calls
}

func checkCall(t *rapid.T, s *cooldown.Status, in *cooldown.Inputs, cfg cooldown.Config, was bool, goodSince time.Duration) {
	if s.Cool != (s.WaitingFor == cooldown.NothingLeft && in.Full && in.Resting) {
		t.Fatalf("cool %v but waiting for %v", s.Cool, s.WaitingFor)
	}
	if s.ReadyKnown && (s.ReadyEarly > s.ReadyIn || s.ReadyIn > s.ReadyLate || s.ReadyEarly < 0) {
		t.Fatalf("ready in %v, range %v to %v", s.ReadyIn, s.ReadyEarly, s.ReadyLate)
	}
	if s.ReadyKnown && !s.Cool && s.ReadyEarly < s.RestLeft {
		t.Fatalf("ready in %v at the earliest, with %v of the rest left", s.ReadyEarly, s.RestLeft)
	}
	if !s.Cool {
		return
	}
	switch {
	case !in.Full || !in.Resting || !in.PackC.OK():
		t.Fatalf("cool with full %v, resting %v, reading %v", in.Full, in.Resting, in.PackC.Fault)
	case in.Now-in.EndedAt < cfg.RestMin:
		t.Fatalf("cool after a rest of %v", in.Now-in.EndedAt)
	case in.PackC.Value > cfg.WateringMaxC+4:
		t.Fatalf("cool at %v °C", in.PackC.Value)
	case was:
	case in.PackC.Value > cfg.WateringMaxC+2:
		t.Fatalf("became cool at %v °C", in.PackC.Value)
	case in.Now-goodSince < 5*time.Minute:
		t.Fatalf("became cool %v after it could", in.Now-goodSince)
	case !in.AmbientC.OK() && in.Now-in.EndedAt < 2*cfg.RestMin:
		t.Fatalf("became cool without the air's temperature after %v", in.Now-in.EndedAt)
	}
}

// TestMemory: an impossible time constant is not restored.
func TestMemory(t *testing.T) {
	for _, m := range []cooldown.Memory{
		{}, {PerH: math.NaN(), SpreadPerH: 1}, {PerH: -1, SpreadPerH: 0.1}, {PerH: 0.1}, {PerH: 0.1, SpreadPerH: math.Inf(1)}, {PerH: 1e9, SpreadPerH: 1},
	} {
		rule := cooldown.New(usual())
		rule.Restore(&m)
		if got, ok := rule.Memory(); ok {
			t.Errorf("%+v was restored as %+v", m, got)
		}
	}
	rule := cooldown.New(usual())
	rule.Restore(&cooldown.Memory{PerH: 0.125, SpreadPerH: 0.01})
	if got, ok := rule.Memory(); !ok || got.PerH != 0.125 {
		t.Errorf("a good memory was restored as %+v, %v", got, ok)
	}
}
