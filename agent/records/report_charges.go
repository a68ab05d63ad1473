package records

import (
	"context"
	"fmt"
	"strings"

	"bayward/agent/logbook"
	"bayward/agent/reading"
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
	driest                  string
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
	p.Answer = n.answer()
	if n.all > 0 {
		p.ChargeSum = []pair{
			{"Charges", fmt.Sprintf("%d, %d of them proven full", n.all, n.full)},
			{"Charge in", reading.Digits(n.inAh, 0) + " Ah"},
			{"Water lost by each cell in them", p.volume(n.waterML) + " " + p.Volume},
			{"Lowest level under current", p.known(n.lowest, func(v float64) string { return p.length(v) + " " + p.Length })},
			{"Hottest electrolyte", p.known(n.hottest, func(v float64) string { return p.temp(v) + " " + p.Temp })},
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
		if n.driest == "" {
			n.driest = at(c.Start)
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
func (n *chargeCount) answer() answer {
	switch {
	case n.all == 0:
		return answer{"none", "No charges of this pack in this period."}
	case n.dry > 0:
		text := fmt.Sprintf("Yes. In %s of %d the plates were bare while current flowed, first on %s.", counted(n.dry, "charge", "charges"), n.all, n.driest)
		if n.unknown > 0 {
			text += fmt.Sprintf(" Unknown for %d more.", n.unknown)
		}
		return answer{"yes", text}
	case n.unknown == n.all:
		return answer{"unknown", fmt.Sprintf("Unknown: in none of %s was the level measured all the time.", counted(n.all, "charge", "charges"))}
	case n.unknown > 0:
		return answer{"unknown", fmt.Sprintf("Never seen, but not all of it was measured: in %d of %d charges the plates were covered all the time; in %d the level was unknown for all or part of the charge.", n.all-n.unknown, n.all, n.unknown)}
	}
	return answer{"no", fmt.Sprintf("No. In all of %s the plates were covered whenever current flowed.", counted(n.all, "charge", "charges"))}
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func (p *report) chargeRow(c *logbook.Charge) chargeRow {
	row := chargeRow{
		ID: c.ID, Start: at(c.Start), End: at(c.End), Time: hoursOf(c.FlowS), ByHand: c.Origin == logbook.ByImport,
		InAh:    p.known(c.InAh, func(v float64) string { return reading.Digits(v, 0) }),
		WaterML: p.known(c.WaterML, p.volume), StartC: p.known(c.StartC, p.temp), MaxC: p.known(c.MaxC, p.temp),
		LowLevel: p.known(c.LowMM, p.length), Dry: dry(c), Note: c.Notes,
	}
	if row.ByHand && c.FlowS == 0 {
		row.Time = none
	}
	row.IsDry, row.Unknown = row.Dry == "yes", row.Dry == "unknown"
	row.How = howItEnded(c)
	return row
}

// howItEnded describes an open charge as far as it has come.
func howItEnded(c *logbook.Charge) string {
	how := []string{c.Ended}
	switch {
	case c.Open() && c.Full:
		how = []string{"not yet; proven full"}
	case c.Open():
		how = []string{"not yet"}
	case c.Full && c.Ended == logbook.EndedFull:
		how = []string{"full"}
	case c.Full:
		how = append(how, "full")
	}
	return strings.Join(deleteEmpty(append(how, c.Evidence, c.Code)), ", ")
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
