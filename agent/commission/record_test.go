package commission_test

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/words"
	"bayward/sensors/wiring"
)

// TestOnlyProvenPasses: whatever steps it has, a record has passed only if it is
// signed, no step failed, the steps that every bay needs have passed, and the
// optional ones have passed or are not fitted.
func TestOnlyProvenPasses(t *testing.T) {
	keys := []string{"rest", "voltage", "level", "temperature", "ambient", "current", "airflow", "complete", "hydrogen", "relay", "heartbeat", "death"}
	outcome := rapid.SampledFrom([]commission.Result{
		commission.Passed, commission.Passed, commission.Passed, commission.Failed, commission.Skipped, commission.NotFitted, commission.NotDone,
	})
	passed := 0
	rapid.Check(t, func(t *rapid.T) {
		r := &commission.Record{Signed: rapid.Bool().Draw(t, "signed")}
		got := map[string]commission.Result{}
		good := rapid.Bool().Draw(t, "mostly good")
		for _, key := range keys {
			if !good && rapid.IntRange(0, 9).Draw(t, key+" is there") == 0 {
				continue
			}
			got[key] = commission.Passed
			if !good || rapid.IntRange(0, 19).Draw(t, key+" is odd") == 0 {
				got[key] = outcome.Draw(t, key)
			}
			r.Steps = append(r.Steps, commission.Step{Key: key, Result: got[key]})
		}
		if r.Result() != commission.Passed {
			return
		}
		passed++
		if !r.Signed {
			t.Fatal("passed without a signature")
		}
		for key, result := range got {
			if result == commission.Failed {
				t.Fatalf("passed, and %s has failed", key)
			}
		}
		for _, key := range []string{"rest", "voltage", "level", "temperature", "relay", "death"} {
			if got[key] != commission.Passed {
				t.Fatalf("passed, and %s is %q", key, got[key])
			}
		}
		for _, key := range []string{"current", "airflow", "heartbeat"} {
			if result, there := got[key]; there && result != commission.Passed && result != commission.NotFitted {
				t.Fatalf("passed, and %s is %q", key, result)
			}
		}
	})
	if passed == 0 {
		t.Error("no record has passed: nothing was tested")
	}
}

// TestMayResume: a walk can be resumed only if it is unfinished, is of this bay with
// this wiring, and has proven something.
func TestMayResume(t *testing.T) {
	c := &trial{answer: [][2]string{{"Switch the fan off", "quit"}}}
	rec, _ := c.run(t)
	b, pack := &c.cfg.Bays[0], c.cfg.Packs[0]
	if !commission.MayResume(rec, b, pack, true) {
		t.Fatal("an unfinished walk cannot be gone on with")
	}
	for name, may := range map[string]func() bool{
		"no record":   func() bool { return commission.MayResume(nil, b, pack, true) },
		"signed":      func() bool { r := *rec; r.Signed = true; return commission.MayResume(&r, b, pack, true) },
		"nothing yet": func() bool { r := *rec; r.Steps = nil; return commission.MayResume(&r, b, pack, true) },
		"real bay":    func() bool { return commission.MayResume(rec, b, pack, false) },
		"another bay": func() bool { o := *b; o.Name = "bay-2"; return commission.MayResume(rec, &o, pack, true) },
		"another pack": func() bool {
			p := pack
			p.CapacityAh++
			return commission.MayResume(rec, b, p, true)
		},
		"another calibration": func() bool {
			o, v := *b, *b.Wiring.Voltage
			v.Ratio *= 1.01
			o.Wiring.Voltage = &v
			return commission.MayResume(rec, &o, pack, true)
		},
		"another probe": func() bool {
			o, l := *b, *b.Wiring.Level
			l.ShuntOhm++
			o.Wiring.Level = &l
			return commission.MayResume(rec, &o, pack, true)
		},
	} {
		if may() {
			t.Errorf("%s: it is gone on with", name)
		}
	}
}

// TestResume: proven steps are not asked for again. The look at rest is always
// repeated, and a failure then counts.
func TestResume(t *testing.T) {
	first := &trial{answer: [][2]string{{"Switch the fan off", "quit"}}}
	rec, _ := first.run(t)
	again := &trial{resume: rec}
	done, err := again.run(t)
	if err != nil || done.Result() != commission.Passed || strings.Count(again.said(), "Already proven") != 6 {
		t.Errorf("%v\n%s\n%s", err, done.Text(words.EnglishSI()), again.said())
	}

	rec, _ = first.run(t)
	worse := &trial{resume: rec, spoil: func(b *bench) { b.truth.SetLoad(20) }}
	done, err = worse.run(t)
	if err != nil || done.Result() != commission.Failed || stepOf(t, done, "rest").Result != commission.Failed {
		t.Errorf("%v\n%s", err, done.Text(words.EnglishSI()))
	}
}

// TestFragment: the calibration has the keys of the configuration and gives the
// uncertainty of each reading once for each of its keys. No name breaks out of the
// comment.
func TestFragment(t *testing.T) {
	r := &commission.Record{
		Bay: "bay-1", Person: "A.\nPerson", Begun: commission.Stamp{Wall: time.Unix(1e9, 0)}, Simulated: true,
		Calibration: map[string]float64{"level.offset_mm": 2.1, "voltage.ratio": 11.02, "current.zero_v": 1.65},
		Uncertain:   map[string]float64{"level": 1.2, "voltage": 0.17},
	}
	const want = `# Calibration of bay-1 from bayward wiring, 2001-09-09 01:46 UTC (clock not set), by A. Person.
# SIMULATED sensors: of no use on a real bay.
# Copy these values over those in the configuration, then run: bayward check --config FILE
bays:
  - name: bay-1
    wiring:
      voltage:
        ratio: 11.02   # readings then within 0.17 V
      current:
        zero_v: 1.65
      level:
        offset_mm: 2.1   # readings then within 1.2 mm
`
	if got := r.Fragment(words.EnglishSI()); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// TestFingerprint: every part of the wiring and every figure of the pack changes it.
func TestFingerprint(t *testing.T) {
	cfg, err := config.Parse("f", []byte(usual))
	if err != nil {
		t.Fatal(err)
	}
	b, pack := cfg.Bays[0], cfg.Packs[0]
	seen := map[string]string{commission.Fingerprint(&b, pack): "as it is"}
	for name, change := range map[string]func(*wiring.Parts){
		"voltage":     func(w *wiring.Parts) { v := *w.Voltage; v.OffsetV = 0.1; w.Voltage = &v },
		"current":     func(w *wiring.Parts) { w.Current = nil },
		"temperature": func(w *wiring.Parts) { v := *w.Temperature; v.Pack = "28-000000000099"; w.Temperature = &v },
		"level":       func(w *wiring.Parts) { v := *w.Level; v.OffsetMM = 1; w.Level = &v },
		"kind":        func(w *wiring.Parts) { v := *w.Level; v.Kind = "rod"; w.Level = &v },
		"relay":       func(w *wiring.Parts) { v := *w.Relay; v.Pin = "X"; w.Relay = &v },
		"airflow":     func(w *wiring.Parts) { w.Airflow = nil },
	} {
		other := b
		change(&other.Wiring)
		fingerprint := commission.Fingerprint(&other, pack)
		if was, taken := seen[fingerprint]; taken {
			t.Errorf("%s: the same as %s", name, was)
		}
		seen[fingerprint] = name
	}
}
