package replay

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/reading"
	"bayward/agent/view"
)

// line is written on each change; an unknown value is absent.
type line struct {
	Trace         string    `json:"trace,omitempty"`
	TimeS         float64   `json:"time_s"`
	Stage         string    `json:"stage"`
	Permit        string    `json:"permit"`
	Findings      []string  `json:"findings"`
	Full          bool      `json:"full"`
	FullEvidence  string    `json:"full_evidence,omitempty"`
	StateOfCharge *float64  `json:"state_of_charge,omitempty"`
	ReadyInS      *float64  `json:"ready_in_s,omitempty"`
	LevelMM       *float64  `json:"level_mm,omitempty"`
	WaterML       []float64 `json:"water_ml,omitempty"`
	WaterLostML   float64   `json:"water_lost_ml"`
	// Evidence that a doubt holds back, and the doubt.
	Pending string `json:"pending_evidence,omitempty"`
	Doubt   string `json:"doubt,omitempty"`
	lastCharge
}

// last is the line that closes a replay.
type last struct {
	Trace   string   `json:"trace,omitempty"`
	Summary *Summary `json:"summary"`
}

// lastCharge describes the current charge, or the last one.
type lastCharge struct {
	DepthBefore  *float64 `json:"depth_before,omitempty"`  // 0 to 1
	ReturnFactor *float64 `json:"return_factor,omitempty"` // ampere-hours in over out
	EqualizeDue  string   `json:"equalize_due,omitempty"`
}

// Watcher sees every tick of a replay; the picture is valid until the next.
type Watcher interface {
	// See is called after the core's step, with the time as printed in the trace.
	See(timeS float64, p *bay.Picture)
}

// Summary closes a replay.
type Summary struct {
	Charges     uint64         `json:"charges"`
	ChargesFull uint64         `json:"charges_full"`
	ChargeAh    float64        `json:"charge_ah"`
	DischargeAh float64        `json:"discharge_ah"`
	GassingAh   float64        `json:"gassing_ah"`    // of the cell string
	WaterLostML float64        `json:"water_lost_ml"` // of one cell
	PermitS     float64        `json:"permit_s"`
	BlockedS    float64        `json:"blocked_s"`
	Ready       uint64         `json:"ready"` // how often the pack became ready to water
	MaxPackC    *float64       `json:"max_pack_c,omitempty"`
	lastCharge                 // of the last charge
	Events      map[string]int `json:"events"`
}

// Run sends the trace through a core with the given setup, already fitted to it,
// and writes one JSON object for each change and a summary. The error is a
// *TraceError when the trace is at fault. Watchers see every tick.
func Run(t *Trace, s bay.Setup, w io.Writer, watchers ...Watcher) (*Summary, error) {
	r := runner{label: t.Label, watchers: watchers, core: bay.New(s), out: json.NewEncoder(w), sum: Summary{Events: map[string]int{}}, maxC: math.Inf(-1)}
	for {
		timeS, readings, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if err := r.step(timeS, readings); err != nil {
			return nil, err
		}
	}
	if !r.any {
		return nil, &TraceError{File: t.name, Line: 1, Accepted: "the trace has a header but no rows; at least one is required"}
	}
	return r.finish()
}

type runner struct {
	core  *bay.Bay
	out   *json.Encoder
	label string
	sum   Summary
	maxC  float64
	any   bool
	was   state
	pic   *bay.Picture

	watchers []Watcher
}

// state is what determines a change.
type state struct {
	stage    bay.Stage
	granted  bool
	full     bool
	evidence charge.Evidence
	raised   uint64
	pending  charge.Evidence
	doubt    charge.Doubt
}

func (r *runner) step(timeS float64, in *bay.Readings) error {
	pic, events := r.core.Step(in)
	r.pic = pic
	for _, w := range r.watchers {
		w.See(timeS, pic)
	}
	for i := range events {
		r.sum.Events[events[i].Kind.String()]++
	}
	if c := &pic.Seen.PackC; c.OK() {
		r.maxC = max(r.maxC, c.Value)
	}
	now := stateOf(pic)
	if r.any && now == r.was {
		return nil
	}
	r.any, r.was = true, now
	l := lineOf(timeS, pic)
	l.Trace = r.label
	if err := r.out.Encode(l); err != nil {
		return fmt.Errorf("write a change: %w", err)
	}
	return nil
}

// stateOf returns the state in the picture.
func stateOf(p *bay.Picture) state {
	s := state{stage: p.Stage, granted: p.Permit.Granted, full: p.Charge.Full, pending: p.Charge.Pending, doubt: p.Charge.Doubt}
	if s.full {
		s.evidence = p.Charge.Evidence
	}
	for c := range p.Findings {
		if p.Findings[c].Raised {
			s.raised |= 1 << c
		}
	}
	return s
}

func lineOf(timeS float64, p *bay.Picture) line {
	v := view.Of(p)
	l := line{
		TimeS: timeS, Stage: v.Stage, Permit: v.Permit, Findings: p.Codes(), Full: v.Full, FullEvidence: v.FullEvidence,
		StateOfCharge: rounded(v.StateOfCharge, 4), ReadyInS: rounded(v.ReadyInS, 0), LevelMM: rounded(v.LevelMM, 2),
		WaterML: slices.Clone(v.WaterML), WaterLostML: reading.Round(p.Water.LostTotal, 3),
		Pending: p.Charge.Pending.String(), Doubt: p.Charge.Doubt.String(), lastCharge: chargeOf(p),
	}
	for i := range l.WaterML {
		l.WaterML[i] = reading.Round(l.WaterML[i], 1)
	}
	return l
}

func chargeOf(p *bay.Picture) lastCharge {
	c := &p.Charge
	out := lastCharge{EqualizeDue: c.Equalize.Due.String()}
	if c.DepthKnown && c.Charges > 0 {
		out.DepthBefore = rounded(&c.DepthBefore, 3)
	}
	if c.ReturnKnown {
		out.ReturnFactor = rounded(&c.ReturnFactor, 3)
	}
	return out
}

func (r *runner) finish() (*Summary, error) {
	s, p := &r.sum, r.pic
	s.Charges, s.ChargesFull, s.Ready = p.Charge.Charges, p.Charge.ChargesFull, p.Readied
	s.ChargeAh, s.DischargeAh = reading.Round(p.Charge.TotalInAh, 4), reading.Round(p.Charge.TotalOutAh, 4)
	s.GassingAh, s.WaterLostML = reading.Round(p.Charge.TotalGassingAh, 4), reading.Round(p.Water.LostTotal, 4)
	s.lastCharge = chargeOf(p)
	s.PermitS, s.BlockedS = reading.Round(p.PermitS, 3), reading.Round(p.BlockedS, 3)
	if !math.IsInf(r.maxC, -1) {
		s.MaxPackC = &r.maxC
	}
	if err := r.out.Encode(last{r.label, s}); err != nil {
		return nil, fmt.Errorf("write the summary: %w", err)
	}
	return s, nil
}

func rounded(v *float64, n int) *float64 {
	if v == nil {
		return nil
	}
	d := reading.Round(*v, n)
	return &d
}
