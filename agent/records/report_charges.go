package records

import (
	"context"
	"strings"

	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/logbook"
)

// answer answers the question whether the pack was ever charged dry.
type answer struct {
	Class string // yes, no, unknown, none
	Text  string
}

type chargeRow struct {
	ID                          int64
	Start, End, Time            string
	InAh, WaterML, StartC, MaxC string
	LowLevel, Dry, How          string
	ByHand, IsDry, Unknown      bool
	Note                        string
}

// chargeCount sums up all charges of a report.
type chargeCount struct {
	all, dry, unknown, full int
	inAh, waterML           float64
	lowest, hottest         logbook.Num
	driest                  logbook.Stamp
}

func (p *report) charges(ctx context.Context, r *logbook.Reader, q logbook.Query) error {
	var n chargeCount
	for c, err := range r.Charges(ctx, q) {
		if err != nil {
			return err
		}
		p.mark(&c.Span)
		n.add(&c)
		p.Charges = append(p.Charges, p.chargeRow(&c))
	}
	p.Answer = p.answer(&n)
	if n.all > 0 {
		p.ChargeSum = []pair{
			{p.T("period.charges"), p.T("period.charges.is", n.all, n.full)},
			{p.T("period.in"), p.digits(0)(n.inAh) + " Ah"},
			{p.T("period.lost"), p.volume(n.waterML) + " " + p.Volume},
			{p.T("period.lowest"), p.known(n.lowest, func(v float64) string { return p.length(v) + " " + p.Length })},
			{p.T("period.hottest"), p.known(n.hottest, func(v float64) string { return p.temp(v) + " " + p.Temp })},
		}
	}
	return nil
}

func (n *chargeCount) add(c *logbook.Charge) {
	n.all++
	if c.Full {
		n.full++
	}
	n.inAh += orZero(c.InAh)
	n.waterML += orZero(c.WaterML)
	if c.LowMM != nil && (n.lowest == nil || *c.LowMM < *n.lowest) {
		n.lowest = c.LowMM
	}
	if c.MaxC != nil && (n.hottest == nil || *c.MaxC > *n.hottest) {
		n.hottest = c.MaxC
	}
	switch dry(c) {
	case "yes":
		n.dry++
		if n.driest.Wall.IsZero() {
			n.driest = c.Start
		}
	case "unknown":
		n.unknown++
	}
}

func orZero(n logbook.Num) float64 {
	if n == nil {
		return 0
	}
	return *n
}

// answer never returns "no" for a charge that was not watched.
func (p *report) answer(n *chargeCount) answer {
	switch {
	case n.all == 0:
		return answer{"none", p.T("dry.none")}
	case n.dry > 0:
		text := p.T("dry.yes", n.dry, n.all, p.on(n.driest))
		if n.unknown > 0 {
			text += " " + p.T("dry.yes.unknown", n.unknown)
		}
		return answer{"yes", text}
	case n.unknown == n.all:
		return answer{"unknown", p.T("dry.unknown", n.all)}
	case n.unknown > 0:
		return answer{"unknown", p.T("dry.partly", n.all-n.unknown, n.all, n.unknown)}
	}
	if n.all == 1 {
		return answer{"no", p.T("dry.no.one")}
	}
	return answer{"no", p.T("dry.no", n.all)}
}

func (p *report) chargeRow(c *logbook.Charge) chargeRow {
	row := chargeRow{
		ID: c.ID, Start: p.at(c.Start), End: p.at(c.End), Time: hoursOf(c.FlowS), ByHand: c.Origin == logbook.ByImport,
		InAh:    p.known(c.InAh, p.digits(0)),
		WaterML: p.known(c.WaterML, p.volume), StartC: p.known(c.StartC, p.temp), MaxC: p.known(c.MaxC, p.temp),
		LowLevel: p.known(c.LowMM, p.length), Dry: dry(c), Note: c.Notes,
	}
	if row.ByHand && c.FlowS == 0 {
		row.Time = none
	}
	row.IsDry, row.Unknown = row.Dry == "yes", row.Dry == "unknown"
	row.How = p.howItEnded(c)
	return row
}

// howItEnded describes an open charge as far as it has come.
func (p *report) howItEnded(c *logbook.Charge) string {
	full := p.T("ended.full")
	how := []string{p.ended(c.Ended)}
	switch {
	case c.Open() && c.Full:
		how = []string{p.T("ended.open.full")}
	case c.Open():
		how = []string{p.T("ended.open")}
	case c.Full && c.Ended != logbook.EndedFull:
		how = append(how, full)
	}
	if proof := charge.ParseEvidence(c.Evidence); proof != charge.NoEvidence {
		how = append(how, p.voice.Say("proof."+proof.String()))
	} else {
		how = append(how, c.Evidence)
	}
	if code := interlock.Lookup(c.Code); code != interlock.NoCode {
		how = append(how, p.voice.Title(code))
	} else {
		how = append(how, c.Code)
	}
	return strings.Join(deleteEmpty(how), ", ")
}

// ended words one of the Ended constants.
func (p *report) ended(how string) string {
	switch how {
	case logbook.EndedFull, logbook.EndedStopped, logbook.EndedBlocked, logbook.EndedUnplugged, logbook.EndedUnseen:
		return p.T("ended." + how)
	}
	return how
}

func deleteEmpty(words []string) []string {
	var out []string
	for _, w := range words {
		if w != "" {
			out = append(out, w)
		}
	}
	return out
}
