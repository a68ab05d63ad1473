package replay

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/view"
	"bayward/agent/words"
)

// line is written on each change; an unknown value is absent. Its keys, like those of
// all that a replay reads and writes, are described in schema.json; those that the
// state on MQTT and HTTP has as well mean the same there.
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
	FirstReason   string    `json:"first_reason,omitempty"`
	FullDoubt     string    `json:"full_doubt,omitempty"`
	Pending       string    `json:"pending_evidence,omitempty"`
	// Ranges are from the low or early to the high or late end.
	StateOfChargeLow  *float64 `json:"state_of_charge_low,omitempty"`
	StateOfChargeHigh *float64 `json:"state_of_charge_high,omitempty"`
	ReadyEarlyS       *float64 `json:"ready_early_s,omitempty"`
	ReadyLateS        *float64 `json:"ready_late_s,omitempty"`
	LevelHighMM       *float64 `json:"level_high_mm,omitempty"`
	LowestMM          *float64 `json:"lowest_mm,omitempty"`
	LowestCarefulMM   *float64 `json:"lowest_careful_mm,omitempty"`
	LowestHighMM      *float64 `json:"lowest_high_mm,omitempty"`
	ForecastH         *float64 `json:"forecast_h,omitempty"`
	ForecastEarlyH    *float64 `json:"forecast_early_h,omitempty"`
	ForecastLateH     *float64 `json:"forecast_late_h,omitempty"`
	LostSinceFillML   *float64 `json:"water_lost_since_fill_ml,omitempty"`
	LostSinceLowML    *float64 `json:"water_lost_since_fill_low_ml,omitempty"`
	LostSinceHighML   *float64 `json:"water_lost_since_fill_high_ml,omitempty"`
	ReadDue           bool     `json:"read_due"`
	ReadDueH          *float64 `json:"read_due_h,omitempty"`
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

// eventLine is written for each event when they are asked for.
type eventLine struct {
	Trace string  `json:"trace,omitempty"`
	TimeS float64 `json:"time_s"`
	Event event   `json:"event"`
}

// event has the members of the MQTT event.
type event struct {
	Kind  string `json:"kind"`
	Stage string `json:"stage,omitempty"`
	From  string `json:"from,omitempty"`
	Code  string `json:"code,omitempty"`
	By    string `json:"by,omitempty"`
	Order string `json:"order,omitempty"`
	Text  string `json:"text"`
}

// Watcher sees every tick of a replay; the picture is valid until the next.
type Watcher interface {
	// See is called after the core's step, with the time as printed in the trace.
	See(timeS float64, p *bay.Picture)
}

// Options are what a replay may have besides its trace.
type Options struct {
	Orders   *Orders       // nil: nobody did anything
	Every    time.Duration // also a line when this much time has passed since the last one; 0: only on changes
	Events   bool          // also a line for each event
	Watchers []Watcher
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
// *TraceError when the trace or the orders are at fault.
func Run(t *Trace, s bay.Setup, w io.Writer, o Options) (*Summary, error) {
	r := runner{
		trace: t, Options: o, core: bay.New(s), out: json.NewEncoder(w), sum: Summary{Events: map[string]int{}}, maxC: math.Inf(-1),
	}
	if len(s.Packs) > 0 {
		r.histories = bay.NewHistories()
	}
	for {
		err := r.row()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	if !r.any {
		return nil, &TraceError{File: t.name, Line: 1, Accepted: words.Of("replay.no-rows")}
	}
	if _, left := r.Orders.due(); left {
		return nil, r.Orders.outside(words.Of("replay.after-end", t.last))
	}
	return r.finish()
}

type runner struct {
	Options
	trace *Trace
	core  *bay.Bay
	out   *json.Encoder
	sum   Summary
	maxC  float64
	any   bool
	was   state
	wrote float64 // time of the last line, s
	pic   *bay.Picture
	// histories of the packs that are not plugged in; nil in a bay for one pack.
	histories *bay.Histories
	held      bay.Readings // while an order is waiting, as they were before the row
}

// row reads a row, carries out what was ordered before it, and steps the core. It
// returns io.EOF after the last.
func (r *runner) row() error {
	atS, due := r.Orders.due()
	if due {
		r.held = r.trace.seen
	}
	timeS, readings, err := r.trace.Next()
	if err != nil {
		return err
	}
	for ; due && atS < timeS; atS, due = r.Orders.due() {
		if !r.any {
			return r.Orders.outside(words.Of("replay.before-begin", timeS))
		}
		r.held.Now, r.held.Orders = r.trace.clock(atS), r.Orders.take(atS)
		if err := r.step(atS, &r.held); err != nil {
			return err
		}
	}
	if readings.Orders = nil; due && atS == timeS {
		readings.Orders = r.Orders.take(atS)
	}
	return r.step(timeS, readings)
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
	if err := r.exchange(); err != nil {
		return err
	}
	pic, events := r.core.Step(in)
	r.pic = pic
	for _, w := range r.Watchers {
		w.See(timeS, pic)
	}
	if err := r.tell(timeS, events); err != nil {
		return err
	}
	if c := &pic.Seen.PackC; c.OK() {
		r.maxC = max(r.maxC, c.Value)
	}
	now := stateOf(pic)
	if r.any && now == r.was && !(r.Every > 0 && timeS-r.wrote >= r.Every.Seconds()) {
		return nil
	}
	r.any, r.was, r.wrote = true, now, timeS
	l := lineOf(timeS, pic)
	l.Trace = r.trace.Label
	if err := r.out.Encode(l); err != nil {
		return words.Fail("replay.write-change", err)
	}
	return nil
}

// exchange does between two steps what a loop does: it stores the history of a pack that
// has left, and opens that of the pack that is here.
func (r *runner) exchange() error {
	if r.histories == nil || r.pic == nil {
		return nil
	}
	now, cores := r.pic.Now, []*bay.Bay{r.core}
	r.histories.Collect(cores, now)
	if _, err := r.histories.Open(cores, now); err != nil {
		return fmt.Errorf("bug: %w", err)
	}
	return nil
}

// tell counts the events of a tick and writes them where they are asked for.
func (r *runner) tell(timeS float64, events []bay.Event) error {
	for i := range events {
		r.sum.Events[events[i].Kind.String()]++
		if !r.Events {
			continue
		}
		if err := r.out.Encode(eventLine{r.trace.Label, timeS, eventOf(&events[i])}); err != nil {
			return words.Fail("replay.write-event", err)
		}
	}
	return nil
}

func eventOf(e *bay.Event) event {
	out := event{Kind: e.Kind.String(), By: e.By, Order: e.Order, Text: words.EnglishSI().Event(e)}
	if e.Kind == bay.StageChanged {
		out.Stage, out.From = e.Stage.String(), e.From.String()
	}
	if e.Code != interlock.NoCode {
		out.Code = e.Code.String()
	}
	return out
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
		FullDoubt: v.FullDoubt, Pending: p.Charge.Pending.String(),
		StateOfCharge: v.StateOfCharge, StateOfChargeLow: v.StateOfChargeLow, StateOfChargeHigh: v.StateOfChargeHigh,
		ReadyInS: rounded(v.ReadyInS, 0), ReadyEarlyS: rounded(v.ReadyEarlyS, 0), ReadyLateS: rounded(v.ReadyLateS, 0),
		LevelMM: v.LevelMM, LevelHighMM: v.LevelHighMM,
		LowestMM: v.LowestMM, LowestCarefulMM: v.LowestCarefulMM, LowestHighMM: v.LowestHighMM,
		WaterML: v.WaterML, WaterLostML: reading.Round(p.Water.LostTotal, 3),
		ForecastH: v.ForecastH, ForecastEarlyH: v.ForecastEarlyH, ForecastLateH: v.ForecastLateH,
		LostSinceFillML: v.WaterLostSinceFillML, LostSinceLowML: v.WaterLostSinceFillLowML, LostSinceHighML: v.WaterLostSinceFillHighML,
		ReadDue: v.ReadDue, ReadDueH: v.ReadDueH, lastCharge: chargeOf(p),
	}
	if !p.Permit.Granted {
		l.FirstReason = p.FirstReason().String()
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
	if err := r.out.Encode(last{r.trace.Label, s}); err != nil {
		return nil, words.Fail("replay.write-summary", err)
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
