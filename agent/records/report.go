package records

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// Facts are the figures of a pack in the configuration.
type Facts struct {
	Cells                                 int
	CapacityAh, RateHours                 float64 // Ah at hours
	FullGravity                           float64 // at 25 °C
	ChargeLevelMM, FillMarkMM, VentWellMM float64
	FreeSurfaceCM2, ElectrolyteML         float64 // of one cell
	ChargeMaxC, WateringMaxC              float64
}

// ReportOptions select the contents of a report and its form.
type ReportOptions struct {
	Pack         string
	Since, Until time.Time // zero: no bound
	Letter       bool      // US Letter instead of A4
	Language     string    // of the sentences; "" for English
	Units        string    // of the figures; "" for SI
	Site, Agent  string    // "" when unknown
	Facts        *Facts    // nil when no configuration is available
	Made         time.Time // when, by the caller's clock
	Version      string    // of the program
}

// ErrNoPack is returned when the record has no pack of that name.
var ErrNoPack = errors.New("the record has no such pack")

//go:embed report.html
var reportText string

//go:embed report.css
var reportStyle string

// The pages of the record are parsed when one is requested, which in most runs of
// the program is never.
var reportPage = sync.OnceValue(func() *template.Template { return template.Must(template.New("report").Parse(reportText)) })

// StyleOf returns the text of the one style element of a report.
func StyleOf(letter bool) string {
	size := "A4"
	if letter {
		size = "letter"
	}
	return strings.Replace(reportStyle, "SIZE", size, 1)
}

// WriteReport writes the printable record of one pack: self-contained HTML. The
// error is ErrNoPack when the record does not have it.
func WriteReport(ctx context.Context, w io.Writer, r *logbook.Reader, o *ReportOptions) error {
	page, err := newReport(ctx, r, o)
	if err != nil {
		return err
	}
	return reportPage().Execute(w, page)
}

// report is what the template shows.
type report struct {
	*ReportOptions
	paper
	Style                template.CSS
	From, To, MadeAt     string
	Temp, Length, Volume string // units
	Cautions             string
	Answer               answer
	Chain                string
	ChainBroken          bool
	Identity             []pair
	Charges              []chargeRow
	ChargeSum            []pair
	Visits               []visitRow
	Water                *waterPart
	Gravity              []gravityRow
	Newest               []gravityCell
	NewestOf             string
	Level                *picture
	Refusals, Findings   []reasonRow
	Untrusted, ByHand    bool
	visited              []time.Time // for the picture
}

type pair struct{ Name, Text string }

func newReport(ctx context.Context, r *logbook.Reader, o *ReportOptions) (*report, error) {
	if err := mustKnow(ctx, r, o.Pack); err != nil {
		return nil, err
	}
	p := &report{
		ReportOptions: o, paper: paper{words.New(o.Language, o.Units)}, Style: template.CSS(StyleOf(o.Letter)), //nolint:gosec // our own file
		From: bound(o.Since, "its beginning"), To: bound(o.Until, "now"), MadeAt: o.Made.UTC().Format("2006-01-02 15:04"), Cautions: words.EnglishSI().Cautions(),
	}
	p.Temp, p.Length, p.Volume = p.tempUnit(), p.lengthUnit(), p.volumeUnit()
	p.identity()
	q := logbook.Query{Pack: o.Pack, Since: o.Since, Until: o.Until}
	for _, part := range []func(context.Context, *logbook.Reader, logbook.Query) error{p.charges, p.visits, p.reasons, p.level, p.chain} {
		if err := part(ctx, r, q); err != nil {
			return nil, err
		}
	}
	return p, nil
}

func mustKnow(ctx context.Context, r *logbook.Reader, pack string) error {
	all, err := r.Packs(ctx)
	if err != nil {
		return err
	}
	var names []string
	for _, p := range all {
		if p.Name == pack {
			return nil
		}
		names = append(names, p.Name)
	}
	if len(names) == 0 {
		return fmt.Errorf("%w: it has no packs yet", ErrNoPack)
	}
	return fmt.Errorf("%w; it has %s", ErrNoPack, strings.Join(names, ", "))
}

func bound(t time.Time, open string) string {
	if t.IsZero() {
		return open
	}
	return t.UTC().Format("2006-01-02 15:04")
}

func (p *report) identity() {
	f := p.Facts
	if f == nil {
		return
	}
	mm := func(v float64) string { return p.length(v) + " " + p.Length }
	p.Identity = []pair{
		{"Cells of 2 V in series", fmt.Sprint(f.Cells)},
		{"Capacity", fmt.Sprintf("%g Ah at %g h", f.CapacityAh, f.RateHours)},
		{"Gravity when full, at 25 °C", reading.Digits(f.FullGravity, 3)},
		{"Lowest level for charging", mm(f.ChargeLevelMM)},
		{"Fill mark", mm(f.FillMarkMM)},
		{"Bottom of the vent well", mm(f.VentWellMM)},
		{"Electrolyte and free surface of a cell", p.volume(f.ElectrolyteML) + " " + p.Volume + fmt.Sprintf(", %g cm²", f.FreeSurfaceCM2)},
		{"Maximum temperature for charging", p.temp(f.ChargeMaxC) + " " + p.Temp},
		{"Maximum temperature for watering", p.temp(f.WateringMaxC) + " " + p.Temp},
	}
}

// mark collects what the foot of the report has to explain.
func (p *report) mark(s *logbook.Span) {
	p.Untrusted = p.Untrusted || !s.Start.Trusted || !s.Open() && !s.End.Trusted
	p.ByHand = p.ByHand || s.Origin == logbook.ByImport
}

func (p *report) chain(ctx context.Context, r *logbook.Reader, _ logbook.Query) error {
	c, err := r.Verify(ctx)
	if err != nil {
		return err
	}
	if p.ChainBroken = c.Break != nil; p.ChainBroken {
		p.Chain = fmt.Sprintf("BROKEN. The chain of this logbook holds for its first %d rows only: %s", c.Rows, c.Break)
		return nil
	}
	p.Chain = fmt.Sprintf("Verified: the chain of this logbook holds, over %s. Last link %s.", c.Covers(), c.Head)
	return nil
}
