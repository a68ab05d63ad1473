package commission

import (
	"fmt"
	"slices"
	"strings"
	"time"
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
	Begun    Stamp    `json:"begun"`
	Ended    Stamp    `json:"ended"`
	By       string   `json:"by"`
}

// Record is one walk of one bay.
type Record struct {
	V         int    `json:"v"` // version of this format: 1
	ID        string `json:"id"`
	Bay       string `json:"bay"`
	Pack      string `json:"pack"`
	Person    string `json:"person"`
	Program   string `json:"program"`   // program version
	Wiring    string `json:"wiring"`    // fingerprint of the configuration
	Simulated bool   `json:"simulated"` // no real hardware was proven
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

// keep stores a step's outcome and replaces an earlier try.
func (r *Record) keep(s Step) {
	if old := r.step(s.Key); old != nil {
		*old = s
		return
	}
	r.Steps = append(r.Steps, s)
}

// Text returns the record for a person to read.
func (r *Record) Text() string {
	var b strings.Builder
	state := "NOT signed: the walk was not finished"
	if r.Signed {
		state = "signed by " + r.Person
	}
	fmt.Fprintf(&b, "Commissioning of bay %s, pack %s, begun %s by %s.\n", r.Bay, r.Pack, r.Begun.text(), r.Person)
	if r.Simulated {
		b.WriteString("SIMULATED sensors: this says nothing about any real bay.\n")
	}
	fmt.Fprintf(&b, "Result: %s; %s.\n", orNotDone(r.Result()), state)
	for i := range r.Steps {
		s := &r.Steps[i]
		fmt.Fprintf(&b, "\n%s: %s\n", s.Title, orNotDone(s.Result))
		if s.Why != "" {
			fmt.Fprintf(&b, "  why: %s\n", s.Why)
		}
		for _, e := range s.Evidence {
			fmt.Fprintf(&b, "  %s\n", e)
		}
	}
	return b.String()
}

func (s *Stamp) text() string {
	text := s.Wall.UTC().Format("2006-01-02 15:04 UTC")
	if !s.Trusted {
		text += " (clock not set)"
	}
	return text
}

func orNotDone(r Result) string {
	if r == NotDone {
		return "not complete"
	}
	return string(r)
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
func (r *Record) Fragment() string {
	if len(r.Calibration) == 0 {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# Calibration of %s from bayward wiring, %s, by %s.\n", r.Bay, r.Begun.text(), oneLine(r.Person))
	if r.Simulated {
		b.WriteString("# SIMULATED sensors: of no use on a real bay.\n")
	}
	b.WriteString("# Copy these values over those in the configuration, then run: bayward check --config FILE\n")
	fmt.Fprintf(&b, "bays:\n  - name: %s\n    wiring:\n", r.Bay)
	part := ""
	for _, k := range fragmentKeys {
		name := k.part + "." + k.key
		v, ok := r.Calibration[name]
		if !ok {
			continue
		}
		if k.part != part {
			part = k.part
			fmt.Fprintf(&b, "      %s:\n", part)
		}
		fmt.Fprintf(&b, "        %s: %s", k.key, fixed(v))
		if u, ok := r.Uncertain[k.part]; ok {
			fmt.Fprintf(&b, "   # readings then within %.2g %s", u, unitOf[k.part])
		}
		b.WriteByte('\n')
	}
	return b.String()
}

var unitOf = map[string]string{"voltage": "V", "current": "A", "temperature": "K", "level": "mm"}

// oneLine prevents a name from breaking out of a comment.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
