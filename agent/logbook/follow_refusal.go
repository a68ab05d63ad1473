package logbook

import (
	"slices"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// findingRow is a raised finding.
type findingRow struct {
	Finding
	resumed bool // from the file, and not judged by the core yet
	empty   bool // raised, or possibly raised, while the bay was empty
	since   time.Duration
}

// leaveFindings handles findings whose pack is not the one now known to be in the
// bay.
func (f *Follower) leaveFindings(s Stamp, p *bay.Picture) {
	for c, row := range f.findings {
		switch {
		case row == nil || row.Pack == f.pack:
		case row.resumed && f.unknown(p):
		case row.Pack == "" && !row.empty: // only now known: it was this pack all along
			row.Pack = f.pack
			f.out.Findings = append(f.out.Findings, row.Finding)
		default:
			f.clear(s, interlock.Code(c))
		}
	}
}

func (f *Follower) followFindings(s Stamp, p *bay.Picture) {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		f.followFinding(s, p, c)
		if row := f.findings[c]; row != nil && p.Stage == bay.Vacant {
			row.empty = true
		}
	}
}

func (f *Follower) followFinding(s Stamp, p *bay.Picture, c interlock.Code) {
	now, row := &p.Findings[c], f.findings[c]
	if row != nil && row.resumed {
		if row.Pack != f.pack || !now.Raised && f.unjudged(p, c) {
			return
		}
		row.resumed, row.since = false, now.Since
	}
	if row != nil && (!now.Raised || row.since != now.Since) {
		f.clear(s, c)
		row = nil
	}
	switch {
	case row == nil && now.Raised:
		f.findings[c] = f.raised(s, p, c)
		f.out.Findings = append(f.out.Findings, f.findings[c].Finding)
	case row != nil && row.Latched != now.Latched:
		row.Latched = now.Latched
		f.out.Findings = append(f.out.Findings, row.Finding)
	}
}

// readyWithin is longer than readings take to be checked after a start.
const readyWithin = 2 * time.Minute

// unjudged reports whether a finding from before a restart may still apply although
// the core does not report it: the core starts again and needs its time to be sure.
func (f *Follower) unjudged(p *bay.Picture, c interlock.Code) bool {
	lived := p.Now - f.start
	proving := p.Findings[interlock.AgentUnready].Raised && lived < readyWithin
	return p.Stage != bay.Vacant && (proving || lived <= interlock.Table[c].Raise)
}

func (f *Follower) clear(s Stamp, c interlock.Code) {
	row := f.findings[c]
	row.End = s
	f.out.Findings = append(f.out.Findings, row.Finding)
	f.findings[c] = nil
}

func (f *Follower) raised(s Stamp, p *bay.Picture, c interlock.Code) *findingRow {
	now := &p.Findings[c]
	return &findingRow{since: now.Since, Finding: Finding{
		Span: f.begins(s, p.Now-now.Since), Code: c.String(), Blocks: interlock.Table[c].Blocks, Latched: now.Latched,
		Found: foundOf(c, &now.Evidence),
	}}
}

// leaveRefusal handles a refusal of another pack than the one now known to be in
// the bay.
func (f *Follower) leaveRefusal(s Stamp, p *bay.Picture) {
	switch {
	case f.refusal == nil:
	case f.refusal.Pack == f.pack:
		f.unseen = false
	case !f.unseen || !f.unknown(p):
		f.endRefusal(s, RefusalLeft)
	}
}

// followRefusal tracks the time in which a pack is connected and not full and its
// charge is blocked for a reason of its own. Checking the readings, or someone
// working at the pack, is not a refusal.
func (f *Follower) followRefusal(s Stamp, p *bay.Picture) {
	r := f.refusal
	if r != nil && r.Pack != f.pack {
		return // see leaveRefusal
	}
	switch {
	case r == nil:
	case p.Permit.Granted:
		f.endRefusal(s, RefusalGranted)
	case p.Stage == bay.Vacant:
		f.endRefusal(s, RefusalLeft)
	case p.Charge.Full:
		f.endRefusal(s, RefusalFull)
	}
	if !plugged(p) || p.Permit.Granted || p.Charge.Full {
		return
	}
	codes := refusing(p)
	if len(codes) == 0 {
		return
	}
	if f.refusal == nil {
		f.refusal = &Refusal{
			Span: f.begins(s, 0), Code: codes[0].String(), Found: foundOf(codes[0], &p.Findings[codes[0]].Evidence),
		}
	}
	if f.refusal.add(codes) {
		open := *f.refusal
		open.Codes = slices.Clone(open.Codes)
		f.out.Refusals = append(f.out.Refusals, open)
	}
}

func plugged(p *bay.Picture) bool {
	return p.Stage != bay.StageUnknown && p.Stage != bay.Vacant && p.Stage != bay.Checking
}

// refusing lists the findings that refuse the charge, the first reason first.
func refusing(p *bay.Picture) []interlock.Code {
	var out []interlock.Code
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if p.Findings[c].Raised && interlock.Table[c].Blocks && c != interlock.AgentUnready && c != interlock.VisitOpen {
			out = append(out, c)
		}
	}
	return out
}

// add reports whether there was a new reason.
func (r *Refusal) add(codes []interlock.Code) bool {
	before := len(r.Codes)
	for _, c := range codes {
		if !slices.Contains(r.Codes, c.String()) {
			r.Codes = append(r.Codes, c.String())
		}
	}
	return len(r.Codes) > before
}

func (f *Follower) endRefusal(s Stamp, how string) {
	f.refusal.End, f.refusal.Ended = s, how
	f.out.Refusals = append(f.out.Refusals, *f.refusal)
	f.refusal, f.unseen = nil, false
}
