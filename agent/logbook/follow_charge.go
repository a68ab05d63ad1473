package logbook

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/electrolyte"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// chargeRow is the current charge.
type chargeRow struct {
	Charge
	resumed bool           // from the file, and not seen in a picture yet
	count   uint64         // which charge it is, by the core's count
	permit  bool           // as of the previous tick
	lost    interlock.Code // why the permit was withdrawn; NoCode while it is granted
	over    *ended         // it has ended, and its proof of full waits for the rest
}

// ended is how and when a charge ended.
type ended struct {
	at        Stamp
	how, code string
}

// leaveCharge handles a charge whose pack is not the one now known to be in the
// bay. A charge from before a restart waits until the pack is known: until then its
// pack was not seen to leave.
func (f *Follower) leaveCharge(s Stamp, p *bay.Picture) {
	switch {
	case f.charge.over != nil:
		f.endOver()
	case !f.charge.resumed:
		f.endCharge(s, EndedUnplugged, "")
	case f.pack != "":
		f.endCharge(s, EndedUnseen, "The agent was off when it ended; another pack is in the bay now.")
	case p.Stage == bay.Vacant:
		f.endCharge(s, EndedUnseen, "The agent was off when it ended; the bay is empty now.")
	}
}

func (f *Follower) followCharge(s Stamp, p *bay.Picture, dt time.Duration) {
	if row := f.charge; row != nil && row.resumed && row.Pack != f.pack {
		return
	}
	c := &p.Charge
	if row := f.charge; row != nil && row.resumed {
		row.resumed, row.count, row.permit = false, c.Charges, p.Permit.Granted
		switch {
		case c.Active:
		case c.Pending != charge.NoEvidence: // it ended before the agent did, and the row has waited for the rest since
			row.over = &ended{s.earlier(p.Now - c.EndedAt), EndedStopped, ""}
		default:
			f.endCharge(s.earlier(p.Now-c.EndedAt), EndedUnseen, "The agent was off when it ended.")
		}
	}
	if row := f.charge; row != nil && (!c.Active || row.count != c.Charges) {
		f.over(s, p)
	}
	if f.charge == nil && c.Active {
		f.beginCharge(s, p)
		dt = 0 // already counted
	}
	if f.charge != nil && f.charge.over == nil {
		f.charge.tick(p, dt)
	}
}

// over ends a charge, once the rest has shown whether it was full: evidence may wait for
// that by some hours, and what is written is not changed any more.
func (f *Follower) over(s Stamp, p *bay.Picture) {
	row, c := f.charge, &p.Charge
	if row.over == nil {
		f.lastOfCharge(p)
		how, code := row.how(p)
		row.over = &ended{s.earlier(p.Now - c.EndedAt), how, code}
	}
	same := row.count == c.Charges
	if same && c.Full && !row.Full {
		row.Full, row.Evidence, row.over.how, row.over.code = true, c.Evidence.String(), EndedFull, ""
	}
	if !same || c.Full || c.Pending == charge.NoEvidence || p.Stage == bay.Vacant {
		f.endOver()
	}
}

func (f *Follower) endOver() {
	o := f.charge.over
	f.charge.Code = o.code
	f.endCharge(o.at, o.how, "")
}

func (f *Follower) beginCharge(s Stamp, p *bay.Picture) {
	c := &p.Charge
	f.charge = &chargeRow{Charge: Charge{Span: f.begins(s, p.Now-c.Since), StartC: num(p.Seen.PackC)}, count: c.Charges, permit: p.Permit.Granted}
	if c.DepthKnown {
		f.charge.Depth = Known(c.DepthBefore)
	}
	f.charge.FlowS = (p.Now - c.Since).Seconds()
}

// tick adds one tick to the charge.
func (r *chargeRow) tick(p *bay.Picture, dt time.Duration) {
	c, level := &p.Charge, &p.Seen.Level
	r.figures(p)
	if c.Full {
		r.Full, r.Evidence = true, c.Evidence.String()
	}
	switch {
	case p.Permit.Granted:
		r.lost = interlock.NoCode
	case r.permit:
		r.lost = p.FirstReason()
	}
	r.permit = p.Permit.Granted
	if !c.Flowing {
		return
	}
	r.FlowS += dt.Seconds()
	switch {
	case !level.Usable():
		r.BlindS += dt.Seconds()
	case level.LowMM <= 0:
		r.BareS += dt.Seconds()
	}
	if level.Usable() && (r.LowMM == nil || level.LowMM < *r.LowMM) {
		r.LowMM = Known(level.LowMM)
	}
}

func (r *chargeRow) figures(p *bay.Picture) {
	c := &p.Charge
	r.GassingAh, r.WaterML = Known(c.GassingAh), Known(electrolyte.WaterML(c.GassingAh))
	if c.InAh > 0 { // 0: a bay without a current sensor
		r.InAh = Known(c.InAh)
	}
	if p.Seen.PackC.OK() {
		r.EndC = Known(p.Seen.PackC.Value)
	}
	if c.TempKnown {
		r.MaxC = Known(c.MaxPackC)
	}
}

// lastOfCharge copies the figures of a charge that has just ended, unless another
// has begun since.
func (f *Follower) lastOfCharge(p *bay.Picture) {
	if f.charge.count == p.Charge.Charges {
		f.charge.figures(p)
	}
}

// how returns how the charge ended, in the tick that shows it.
func (r *chargeRow) how(p *bay.Picture) (ended, code string) {
	gone := p.Stage == bay.Vacant || p.Findings[interlock.AgentUnready].Evidence.Reason == interlock.NoPack
	switch {
	case r.Full:
		return EndedFull, ""
	case gone || r.lost == interlock.AgentUnready && p.Stage == bay.Checking:
		return EndedUnplugged, ""
	case r.lost != interlock.NoCode:
		return EndedBlocked, r.lost.String()
	}
	return EndedStopped, ""
}

func (f *Follower) endCharge(at Stamp, how, notes string) {
	c := &f.charge.Charge
	c.End, c.Ended, c.Notes = at, how, notes
	f.out.Charges = append(f.out.Charges, *c)
	f.charge = nil
}

// num returns the value of a good reading.
func num(r reading.Reading) Num {
	if !r.OK() {
		return nil
	}
	return Known(r.Value)
}
