package commission

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/words"
)

// Result is the outcome of a step. The zero value is "not done".
type Result string

// The results.
const (
	NotDone   Result = ""
	Passed    Result = "passed"
	Failed    Result = "failed"
	Skipped   Result = "skipped"    // by the person
	NotFitted Result = "not fitted" // the configuration has nothing to prove
)

// Stamp is a time on both clocks, because a Pi's wall clock may be wrong.
type Stamp struct {
	Wall    time.Time `json:"wall"`
	Trusted bool      `json:"trusted"` // the wall clock was set from a source since boot
	BootID  string    `json:"boot_id"`
	MonoS   float64   `json:"mono_s"` // seconds since that boot
}

// Step is the outcome of one step.
type Step struct {
	Key      string   `json:"key"`
	Title    string   `json:"title"`
	Result   Result   `json:"result"`
	Why      string   `json:"why,omitempty"`      // reason for failing, skipping or not fitted
	Evidence []string `json:"evidence,omitempty"` // the readings, in sentences with figures
	// Reason and Proof are Why and Evidence as codes and numbers, to be worded in
	// another language. A reason that a person typed has none, nor has a record of
	// an older program.
	Reason *words.Sentence  `json:"reason,omitempty"`
	Proof  []words.Sentence `json:"proof,omitempty"`
	Begun  Stamp            `json:"begun"`
	Ended  Stamp            `json:"ended"`
	By     string           `json:"by"`
}

// because sets the reason of a result.
func (s *Step) because(why words.Sentence) {
	s.Why, s.Reason = words.EnglishSI().Word(why), &why
}

// prove adds evidence.
func (s *Step) prove(seen words.Sentence) {
	s.Evidence, s.Proof = append(s.Evidence, words.EnglishSI().Word(seen)), append(s.Proof, seen)
}

// title returns the step's title for a reader.
func (s *Step) title(v words.Voice) string { return v.WordOr(title(s.Key), s.Title) }

// reason returns Why for a reader.
func (s *Step) reason(v words.Voice) string {
	if s.Reason == nil {
		return s.Why
	}
	return v.WordOr(*s.Reason, s.Why)
}

// evidence returns Evidence for a reader.
func (s *Step) evidence(v words.Voice) []string {
	all := slices.Clone(s.Evidence)
	if len(s.Proof) != len(all) {
		return all
	}
	for i, seen := range s.Proof {
		all[i] = v.WordOr(seen, all[i])
	}
	return all
}

// outcome sums the step up for a reader.
func (s *Step) outcome(v words.Voice) words.Sentence {
	if s.Why == "" {
		return words.Of("walk.outcome", s.title(v), s.Result.Sentence())
	}
	return words.Of("walk.outcome.why", s.title(v), s.Result.Sentence(), strings.TrimSuffix(s.reason(v), "."))
}

// Sentence names the result.
func (r Result) Sentence() words.Sentence {
	if r == NotDone {
		return words.Of("walk.result.not-done")
	}
	return words.Of("walk.result." + strings.ReplaceAll(string(r), " ", "-"))
}

// Record is one walk of one bay.
type Record struct {
	V         int    `json:"v"` // version of this format: 1
	ID        string `json:"id"`
	Bay       string `json:"bay"`
	Pack      string `json:"pack"`
	Person    string `json:"person"`
	Program   string `json:"program"`            // program version
	Wiring    string `json:"wiring"`             // fingerprint of the configuration
	Watchdog  string `json:"watchdog,omitempty"` // line of the heartbeat; a record of an older program has none
	Fan       string `json:"fan,omitempty"`      // line of the airflow switch, likewise
	Simulated bool   `json:"simulated"`          // no real hardware was proven
	Begun     Stamp  `json:"begun"`
	Ended     *Stamp `json:"ended,omitempty"`
	Signed    bool   `json:"signed"` // the person confirmed it with the name
	Steps     []Step `json:"steps"`
	// Calibration has the configuration's keys below wiring, such as
	// "voltage.ratio". Uncertain is the remaining uncertainty of each value, in the
	// unit of the reading, at about 95 %.
	Calibration map[string]float64 `json:"calibration,omitempty"`
	Uncertain   map[string]float64 `json:"uncertain,omitempty"`
}

// everyBay lists the steps that every bay must pass.
var everyBay = []string{"rest", "voltage", "level", "temperature", "relay", "death"}

// Result returns the outcome of the whole walk. It is failed if any step failed. It
// is not done if the person has not signed, if a step that every bay needs has not
// passed, or if a step that a safe charge depends on was left out. Otherwise it is
// passed.
func (r *Record) Result() Result {
	out := Passed
	if !r.Signed {
		out = NotDone
	}
	for _, key := range everyBay {
		if !r.passed(key) {
			out = NotDone
		}
	}
	for i := range r.Steps {
		switch s := &r.Steps[i]; {
		case s.Result == Failed:
			return Failed
		case s.Result != Passed && s.Result != NotFitted && (slices.Contains(needed, s.Key) || slices.Contains(relaySteps, s.Key)):
			out = NotDone
		}
	}
	return out
}

func (r *Record) step(key string) *Step {
	for i := range r.Steps {
		if r.Steps[i].Key == key {
			return &r.Steps[i]
		}
	}
	return nil
}

func (r *Record) passed(key string) bool {
	s := r.step(key)
	return s != nil && s.Result == Passed
}

// ProvedWatchdog returns when the walk saw the watchdog relay on this line open, and
// who walked; ok is false if it did not.
func (r *Record) ProvedWatchdog(line string) (at Stamp, by string, ok bool) {
	s := r.step("heartbeat")
	if r.Simulated || r.Watchdog != line || s == nil || s.Result != Passed {
		return Stamp{}, "", false
	}
	return s.Ended, s.By, true
}

// TriedFan reports whether a signed walk tried the airflow switch on this line, and then
// whether it saw the switch follow the fan off and on.
func (r *Record) TriedFan(line string) (passed, tried bool) {
	s := r.step("airflow")
	if r.Simulated || !r.Signed || r.Fan != line || s == nil {
		return false, false
	}
	return s.Result == Passed, s.Result == Passed || s.Result == Failed
}

// keep stores a step's outcome and replaces an earlier try.
func (r *Record) keep(s Step) {
	if old := r.step(s.Key); old != nil {
		*old = s
		return
	}
	r.Steps = append(r.Steps, s)
}

// Text returns the record for a person to read.
func (r *Record) Text(v words.Voice) string {
	var b strings.Builder
	line := func(indent string, s words.Sentence) { b.WriteString(indent + v.Word(s) + "\n") }
	state := words.Of("walk.record.unsigned")
	if r.Signed {
		state = words.Of("walk.record.signed", r.Person)
	}
	line("", words.Of("walk.record.head", r.Bay, r.Pack, r.Begun.text(), r.Person))
	if r.Simulated {
		line("", words.Of("walk.record.simulated"))
	}
	line("", words.Of("walk.record.result", r.Result().Sentence(), state))
	for i := range r.Steps {
		s := &r.Steps[i]
		line("\n", words.Of("walk.outcome", s.title(v), s.Result.Sentence()))
		if s.Why != "" {
			line("  ", words.Of("walk.record.why", s.reason(v)))
		}
		for _, e := range s.evidence(v) {
			b.WriteString("  " + e + "\n")
		}
	}
	return b.String()
}

func (s *Stamp) text() words.Sentence {
	at := words.Of("walk.record.at", s.Wall.UTC().Format("2006-01-02 15:04 UTC"))
	if !s.Trusted {
		at.Key = "walk.record.clock"
	}
	return at
}

// fragmentKeys lists the keys that a walk may calibrate, in the order of the
// example.
var fragmentKeys = []struct{ part, key string }{
	{"voltage", "ratio"}, {"voltage", "offset_v"},
	{"current", "amperes_per_volt"}, {"current", "zero_v"},
	{"temperature", "offset_c"},
	{"level", "offset_mm"},
}

// Fragment returns the calibration as YAML, to be copied into the configuration by
// hand; "" if there is none.
func (r *Record) Fragment(v words.Voice) string {
	if len(r.Calibration) == 0 {
		return ""
	}
	var b strings.Builder
	comment := func(key string, values ...any) { b.WriteString("# " + v.Word(words.Of(key, values...)) + "\n") }
	comment("walk.fragment.head", r.Bay, r.Begun.text(), oneLine(r.Person))
	if r.Simulated {
		comment("walk.fragment.simulated")
	}
	comment("walk.fragment.copy")
	fmt.Fprintf(&b, "bays:\n  - name: %s\n    wiring:\n", r.Bay)
	part := ""
	for _, k := range fragmentKeys {
		name := k.part + "." + k.key
		value, ok := r.Calibration[name]
		if !ok {
			continue
		}
		if k.part != part {
			part = k.part
			fmt.Fprintf(&b, "      %s:\n", part)
		}
		fmt.Fprintf(&b, "        %s: %s", k.key, fixed(value))
		if u, ok := r.Uncertain[k.part]; ok {
			b.WriteString("   # " + v.Say("walk.fragment.within", twoDigits(u), unitOf[k.part]))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// twoDigits rounds to two significant digits.
func twoDigits(v float64) float64 {
	out, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 2, 64), 64)
	return out
}

var unitOf = map[string]string{"voltage": "V", "current": "A", "temperature": "K", "level": "mm"}

// oneLine prevents a name from breaking out of a comment.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
