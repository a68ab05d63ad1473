package config

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"bayward/agent/config/exampletest"
	"bayward/agent/water"
)

// FuzzParse: no input makes Parse panic, a refusal names the place and the reason,
// and an accepted file satisfies everything that the rest of the program relies on.
func FuzzParse(f *testing.F) {
	f.Add([]byte(exampletest.Example(f)))
	for _, text := range []string{small, strings.Replace(small, transmitter, ladder, 1), simulated, "", "---\n---", "bays: [{wiring: {level: {rods: [~]}}}]",
		"? [a]\n: b", "a: &x {b: *x}", "<<: {site: a}", "!!map {site: a}", "site: |\n  x\n", "\xef\xbb\xbfsite: a"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, judge := range []struct {
			opts []Option
			all  func(*testing.T, *Config)
		}{{nil, acceptedBays}, {[]Option{PacksOnly()}, acceptedPacks}} {
			c, err := Parse("f", data, judge.opts...)
			if err != nil {
				refusal(t, err)
				continue
			}
			acceptedPacks(t, c)
			judge.all(t, c)
		}
	})
}

func refusal(t *testing.T, err error) {
	t.Helper()
	all, ok := errors.AsType[*Error](err)
	if !ok || len(all.Problems) == 0 {
		t.Fatalf("%T without a problem: %v", err, err)
	}
	for _, p := range all.Problems {
		if p.Accepted == "" || p.Line < 0 || strings.ContainsAny(p.String(), "\n\r\x00") {
			t.Errorf("a complaint that is not one clear line: %q", p.String())
		}
	}
}

func acceptedPacks(t *testing.T, c *Config) {
	t.Helper()
	for _, p := range c.Packs {
		if p.Cells < 1 || p.Cells > water.MaxCells || !(p.CapacityAh > 0) || !(p.FreeSurfaceCM2 > 0) ||
			!(0 < p.ChargeLevelMM && p.ChargeLevelMM < p.FillMarkMM && p.FillMarkMM < p.VentWellMM) || math.IsInf(p.VentWellMM, 0) {
			t.Errorf("accepted pack %+v", p)
		}
		s, err := c.PackSetup(p.Name)
		if err != nil {
			t.Fatalf("accepted, but %v", err)
		}
		l := s.Limits
		if !(l.ChargeResumeC < l.ChargeMaxC && l.ChargeMaxC <= 55) || !(l.HydrogenResumePct < l.HydrogenMaxPct && l.HydrogenMaxPct <= 2) ||
			l.RestMin < 10*time.Minute || l.StaleAfter < 2*time.Second || l.StaleAfter > time.Minute || l.SettleFor < 5*time.Second {
			t.Errorf("accepted limits %+v", l)
		}
	}
}

func acceptedBays(t *testing.T, c *Config) {
	t.Helper()
	setups, err := c.Setups()
	if err != nil || len(setups) == 0 || len(setups) > MaxBays {
		t.Fatalf("accepted, but %d bays, %v", len(setups), err)
	}
	lines := map[string]bool{}
	for i, s := range setups {
		w := &c.Bays[i].Wiring
		if w.Voltage == nil || w.Temperature == nil || w.Level == nil || w.Relay == nil {
			t.Fatalf("accepted wiring %+v", w)
		}
		for _, pin := range []string{w.Relay.Pin, w.Relay.Heartbeat} {
			if lines[pin] && pin != "" {
				t.Errorf("accepted two outputs on %q", pin)
			}
			lines[pin] = true
		}
		if w.Relay.Pin == "" || !(w.Voltage.RangeV*w.Voltage.Ratio > 2.8*float64(s.Pack.Cells)) {
			t.Errorf("accepted relay %+v, voltage %+v", w.Relay, w.Voltage)
		}
	}
}
