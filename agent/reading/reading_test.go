package reading

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const limit = 10 * time.Second

// TestAged: what a reading counts as at 100 s with a limit of 10 s.
func TestAged(t *testing.T) {
	const now = 100 * time.Second
	for name, row := range map[string]struct {
		r    Reading
		want Fault
	}{
		"fresh":            {Good(1, now), None},
		"at the limit":     {Good(1, now-limit), None},
		"past the limit":   {Good(1, now-limit-1), Stale},
		"from the future":  {Good(1, now+1), Stale},
		"from long before": {Good(1, math.MinInt64), Stale},
		"never read":       {Reading{}, Missing},
		"not a number":     {Good(math.NaN(), now), Implausible},
		"endless":          {Good(math.Inf(1), now), Implausible},
		"infinite below":   {Good(math.Inf(-1), now), Implausible},
		"fault stays":      {Bad(BadCRC, now), BadCRC},
		"old fault stays":  {Bad(BusStuck, 0), BusStuck},
		"unknown fault":    {Reading{Fault: 200, At: now}, 200},
	} {
		got := row.r.Aged(now, limit)
		if got.Fault != row.want || got.OK() != (row.want == None) || got.At != row.r.At {
			t.Errorf("%s: %+v, want fault %s", name, got, row.want)
		}
	}
}

func TestLevelAged(t *testing.T) {
	const now = 100 * time.Second
	for name, row := range map[string]struct {
		c    Level
		want Fault
	}{
		"a span":            {LevelBetween(3, 13, now), None},
		"a point":           {LevelBetween(-4, -4, now), None},
		"at the limit":      {LevelBetween(3, 13, now-limit), None},
		"past the limit":    {LevelBetween(3, 13, now-limit-1), Stale},
		"from the future":   {LevelBetween(3, 13, now+1), Stale},
		"from long before":  {LevelBetween(3, 13, math.MinInt64), Stale},
		"never read":        {Level{}, Missing},
		"wrong order":       {LevelBetween(13, 3, now), Contradictory},
		"low not a number":  {LevelBetween(math.NaN(), 3, now), Contradictory},
		"high not a number": {LevelBetween(3, math.NaN(), now), Contradictory},
		"infinite":          {LevelBetween(13, math.Inf(1), now), Implausible},
		"built by hand":     {Level{LowMM: 13, HighMM: 3, At: now, Fault: None}, Implausible},
		"fault stays":       {Level{Fault: Open, At: now}, Open},
	} {
		got := row.c.Aged(now, limit)
		if got.Fault != row.want || got.Usable() != (row.want == None) {
			t.Errorf("%s: %+v, want fault %s", name, got, row.want)
		}
	}
	if mm := LevelBetween(3, 13, 0).MidMM(); mm != 8 {
		t.Errorf("middle of 3 to 13: %v", mm)
	}
}

// TestAgedProperty: a usable value is a number, was good when it was read, and is
// no older than the limit; and age never makes a reading better.
func TestAgedProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Reading{
			Value: rapid.Float64().Draw(t, "value"), At: time.Duration(rapid.Int64().Draw(t, "at")),
			Fault: Fault(rapid.Uint8().Draw(t, "fault")),
		}
		now := time.Duration(rapid.Int64Range(0, math.MaxInt64/2).Draw(t, "now"))
		got := r.Aged(now, limit)
		if got.OK() && (r.Fault != None || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || r.At > now || r.At < now-limit) {
			t.Fatalf("%+v may be used at %s", r, now)
		}
		if later := got.Aged(now+limit, limit); later.OK() && !got.OK() {
			t.Fatalf("%+v became good with age", got)
		}
	})
}

// TestFaults: each fault has its own name and words, and none of them is empty.
func TestFaults(t *testing.T) {
	seen := map[string]bool{}
	for f := Missing; f < numFaults; f++ {
		name := f.String()
		if name == "" || seen[name] || strings.ContainsAny(name, " _") || strings.ToLower(name) != name {
			t.Errorf("fault %d: %q", f, name)
		}
		seen[name] = true
		if back, ok := ParseFault(name); back != f || !ok {
			t.Errorf("%q is fault %d", name, back)
		}
	}
	all := Faults()
	if len(all) != int(numFaults)-2 {
		t.Errorf("%d faults", len(all))
	}
	for _, f := range all {
		if f == None || f == Missing || Bad(f, 0).OK() {
			t.Errorf("%s is among what a sensor can report, or may be used", f)
		}
	}
	if got := Fault(200).String(); got != "fault-200" {
		t.Errorf("unknown fault: %q", got)
	}
	if _, ok := ParseFault("no such"); ok {
		t.Error("a fault that is none")
	}
	if (Reading{}).OK() || (Level{}).Usable() {
		t.Error("a value that was never read may be used")
	}
}

// TestShown: a sensor that answers shows a value, believed or not; a broken one shows none.
func TestShown(t *testing.T) {
	shown := map[Fault]bool{None: true, NotMoving: true, Exchanged: true, ZeroOff: true, Noisy: true}
	for f := range numFaults {
		if got := (Reading{Value: 1, Fault: f}).Shown(); got != shown[f] {
			t.Errorf("%s: shown is %t", f, got)
		}
	}
}

// TestDigits: no displayed value is a minus with only zeros.
func TestDigits(t *testing.T) {
	for _, row := range []struct {
		v    float64
		n    int
		want string
	}{
		{-0.04, 1, "0.0"}, {-0.06, 1, "-0.1"}, {0.04, 1, "0.0"}, {math.Copysign(0, -1), 2, "0.00"},
		{-0.5, 0, "0"}, {-0.6, 0, "-1"}, {-10, 0, "-10"}, {-200.004, 2, "-200.00"}, {25.68, 1, "25.7"},
		{math.NaN(), 1, "NaN"}, {math.Inf(-1), 1, "-Inf"},
	} {
		if got := Digits(row.v, row.n); got != row.want {
			t.Errorf("%g with %d digits: got %s, want %s", row.v, row.n, got, row.want)
		}
	}
}
