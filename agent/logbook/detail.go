package logbook

import (
	"encoding/json"
	"fmt"
	"time"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// Found is the stored evidence of a finding. The edge that shows it words the
// sentence.
type Found struct {
	Reason string `json:"reason,omitempty"` // name of an interlock.Reason; "" for the usual one
	Value  Num    `json:"value,omitempty"`  // both depend on the code, see interlock.Evidence
	Limit  Num    `json:"limit,omitempty"`
	Fault  string `json:"fault,omitempty"` // of the sensor, where that was the reason
}

// foundOf leaves out fields without meaning for a finding.
func foundOf(c interlock.Code, e *interlock.Evidence) Found {
	var f Found
	if e.Reason != interlock.Usual {
		f.Reason = e.Reason.String()
	}
	switch {
	case c == interlock.VisitOpen, c == interlock.Held, c == interlock.RecordFailing: // have no figures
	case interlock.Table[c].Unread != interlock.UnreadElsewhere && e.Fault != reading.None: // the sensor's fault is the reason
		f.Fault = e.Fault.String()
	default:
		f.Value, f.Limit = Known(e.Value), Known(e.Limit)
	}
	return f
}

// Numbers converts the evidence back to that of the core.
func (f *Found) Numbers() interlock.Evidence {
	e := interlock.Evidence{Value: known(f.Value), Limit: known(f.Limit), Fault: reading.None, Reason: interlock.ParseReason(f.Reason)}
	if fault, ok := reading.ParseFault(f.Fault); ok {
		e.Fault = fault
	}
	return e
}

// known returns 0 for an unknown number.
func known(n Num) float64 {
	if n == nil {
		return 0
	}
	return *n
}

// Detail is the further data of an event; fields that do not belong to its kind
// are left out.
type Detail struct {
	Found
	WaitingFor string        `json:"waiting_for,omitempty"` // stage-changed: name of a cooldown.Reason
	WaterML    Num           `json:"water_ml,omitempty"`    // stage-changed: the need; visit-closed: given in all
	Proof      string        `json:"proof,omitempty"`       // charge-full, charge-ended: name of a charge.Evidence
	AgoS       Num           `json:"ago_s,omitempty"`       // charge-ended: since the last current
	InAh       Num           `json:"in_ah,omitempty"`       // charge-ended
	Doubt      string        `json:"doubt,omitempty"`       // memory-doubted: name of a bay.Doubt
	File       string        `json:"file,omitempty"`        // memory-doubted: what is kept of a damaged logbook
	Pack       string        `json:"pack,omitempty"`        // pack-named, pack-left, memory-doubted
	PackFrom   string        `json:"pack_from,omitempty"`   // pack-named: name of a bay.Naming
	Plates     bool          `json:"plates,omitempty"`      // visit-opened: only to cover the plates
	Bare       water.CellSet `json:"bare_cells,omitempty"`  // visit-closed, order-taken: cells left bare, bit n is cell n+1
	Old        Num           `json:"old,omitempty"`         // order-taken for a correction: the value until then
	ZeroA      Num           `json:"zero_a,omitempty"`      // zero-moved
	Asked      *Asked        `json:"asked,omitempty"`       // orders and visits
}

// detailOf returns what the event's own columns do not contain.
func detailOf(e *bay.Event) (d Detail) {
	switch e.Kind {
	case bay.FindingRaised, bay.PermitBlocked:
		d.Found = foundOf(e.Code, &e.Evidence)
	case bay.StageChanged:
		if e.WaitingFor != cooldown.NothingLeft {
			d.WaitingFor = e.WaitingFor.String()
		}
		if e.WaterML > 0 {
			d.WaterML = Known(e.WaterML)
		}
	case bay.ChargeFull:
		d.Proof = e.Proof.String()
	case bay.ChargeEnded:
		d.Proof, d.AgoS = e.Proof.String(), Known(e.Ago.Seconds())
		if e.InAhKnown {
			d.InAh = Known(e.InAh)
		}
	case bay.MemoryDoubted:
		d.Doubt, d.File, d.Pack = e.Doubt.String(), e.File, e.Pack
	case bay.VisitOpened:
		d.Plates, d.Asked = e.Plates, askedOf(e)
	case bay.VisitClosed:
		d.WaterML, d.Asked, d.Bare = Known(e.WaterML), askedOf(e), e.Bare
	case bay.OrderTaken, bay.OrderRefused:
		d.Asked, d.Bare, d.Old = askedOf(e), e.Bare, copyOf(e.Old)
	case bay.PackNamed, bay.PackLeft:
		d.Pack, d.PackFrom = e.Pack, e.Naming.String()
	case bay.ZeroMoved:
		d.ZeroA = Known(e.ZeroA)
	default:
	}
	return d
}

// Event converts a record back to the core's event, as if it happened at the given
// time. It leaves out a kind, stage or finding of a program that knew more. The
// sentence of an older program is in Text alone.
func (r *Record) Event(at time.Duration) bay.Event {
	d := &r.Detail
	e := bay.Event{
		At: at, By: r.By, Order: r.Order, Code: interlock.Lookup(r.Code), Evidence: d.Numbers(),
		WaitingFor: cooldown.ParseReason(d.WaitingFor), WaterML: known(d.WaterML), Proof: charge.ParseEvidence(d.Proof),
		Ago: time.Duration(known(d.AgoS) * float64(time.Second)), InAh: known(d.InAh), InAhKnown: d.InAh != nil,
		Doubt: bay.ParseDoubt(d.Doubt), File: d.File, Pack: d.Pack, Naming: bay.ParseNaming(d.PackFrom),
		Plates: d.Plates, Bare: d.Bare, Old: d.Old, ZeroA: known(d.ZeroA),
	}
	e.Asked, e.Why = d.Asked.order(r.Order, r.By)
	e.Kind, _ = bay.ParseEvent(r.Kind)
	e.Stage, _ = bay.ParseStage(r.Stage)
	e.From, _ = bay.ParseStage(r.From)
	return e
}

// jsonOf stores a detail as JSON, and an empty one as an empty text.
type jsonOf struct{ d *Detail }

func (j jsonOf) text() (string, error) {
	if *j.d == (Detail{}) {
		return "", nil
	}
	text, err := json.Marshal(j.d)
	return string(text), err
}

// Scan implements sql.Scanner. A detail that cannot be read is left empty: the
// event itself remains.
func (j jsonOf) Scan(v any) error {
	text, ok := v.(string)
	if !ok {
		return fmt.Errorf("%v is not a text", v)
	}
	*j.d = Detail{}
	if text != "" && json.Unmarshal([]byte(text), j.d) != nil {
		*j.d = Detail{}
	}
	return nil
}
