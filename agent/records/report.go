package records

import (
	"cmp"
	"context"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"time"

	"bayward/agent/logbook"
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
	Since, Until time.Time      // zero: no bound
	Letter       bool           // US Letter instead of A4
	Language     string         // of the sentences; "" for English
	Units        string         // of the figures; "" for SI
	Site, Agent  string         // "" when unknown
	Facts        *Facts         // nil when no configuration is available
	Made         time.Time      // when, by the caller's clock
	Zone         *time.Location // of the reader's clock; nil for UTC
	Version      string         // of the program
}

// ErrNoPack is returned when the record has no pack of that name.
var ErrNoPack = words.Fail("records.no-pack")

//go:embed report.html
var reportText string

// reportStyle has the page's own look, since a report is also a file of its own. On paper it
// is black on white, in points.
//
//go:embed report.css
var reportStyle string

// The pages of the record are parsed when one is requested, which in most runs of
// the program is never.
var reportPage = sync.OnceValue(func() *template.Template { return template.Must(template.New("report").Parse(reportText)) })

// StyleOf returns the text of the one style element of a report.
func StyleOf(o *ReportOptions) string { return styleIn(paperOf(o), o.Letter) }

func styleIn(p paper, letter bool) string {
	size := "A4"
	if letter {
		size = "letter"
	}
	return strings.NewReplacer("SIZE", size, "FOOT", p.T("foot")).Replace(reportStyle)
}

// WriteReport writes the printable record of one pack: self-contained HTML. The
// error is ErrNoPack when the record does not have it.
func WriteReport(ctx context.Context, w io.Writer, r *logbook.Reader, o *ReportOptions) error {
	return writeReport(ctx, w, r, o, page{})
}

// page is what a report is shown in when it is served, and not a file of its own.
type page struct {
	Served     bool
	Head, Foot template.HTML
}

func writeReport(ctx context.Context, w io.Writer, r *logbook.Reader, o *ReportOptions, in page) error {
	shown, err := newReport(ctx, r, o)
	if err != nil {
		return err
	}
	shown.page = in
	return reportPage().Execute(w, shown)
}

// report is what the template shows.
type report struct {
	*ReportOptions
	paper
	page
	Style                template.CSS
	Lang                 string
	From, To, MadeAt     string
	ZoneNote             string
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
	Rods                 *rodPart
	Corrections          []correctionRow
	Gravity              []gravityRow
	Newest               []gravityCell
	NewestOf             string
	Level                *picture
	Refusals, Findings   []reasonRow
	Untrusted, ByHand    bool
	AnyLate              bool
	visited              []time.Time // for the picture
}

type pair struct{ Name, Text string }

func newReport(ctx context.Context, r *logbook.Reader, o *ReportOptions) (*report, error) {
	if err := mustKnow(ctx, r, o.Pack); err != nil {
		return nil, err
	}
	p := &report{ReportOptions: o, paper: paperOf(o)}
	p.Style = template.CSS(styleIn(p.paper, o.Letter)) //nolint:gosec // our own file
	p.Lang, p.Cautions = p.voice.Language(), p.voice.Cautions()
	p.From, p.To, p.MadeAt = p.bound(o.Since, "from.beginning"), p.bound(o.Until, "to.now"), p.clock(o.Made, " ")
	if p.ZoneNote = p.T("head.utc"); p.local(o.Made) {
		p.ZoneNote = p.T("head.zone", o.Made.In(p.zone).Format("MST"))
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
		return words.Fail("records.no-packs", ErrNoPack)
	}
	return words.Fail("records.other-packs", ErrNoPack, strings.Join(names, ", "))
}

func paperOf(o *ReportOptions) paper {
	return paper{words.New(o.Language, o.Units), cmp.Or(o.Zone, time.UTC)}
}

func (p *report) bound(t time.Time, open string) string {
	if t.IsZero() {
		return p.T(open)
	}
	return p.clock(t, " ")
}

func (p *report) identity() {
	f := p.Facts
	if f == nil {
		return
	}
	mm := func(v float64) string { return p.length(v) + " " + p.Length }
	p.Identity = []pair{
		{p.T("pack.cells"), fmt.Sprint(f.Cells)},
		{p.T("pack.capacity"), p.T("pack.capacity.is", f.CapacityAh, f.RateHours)},
		{p.T("pack.gravity"), p.digits(3)(f.FullGravity)},
		{p.T("pack.charge-level"), mm(f.ChargeLevelMM)},
		{p.T("pack.fill-mark"), mm(f.FillMarkMM)},
		{p.T("pack.vent-well"), mm(f.VentWellMM)},
		{p.T("pack.electrolyte"), p.volume(f.ElectrolyteML) + " " + p.Volume + fmt.Sprintf(", %g cm²", f.FreeSurfaceCM2)},
		{p.T("pack.charge-max"), p.temp(f.ChargeMaxC) + " " + p.Temp},
		{p.T("pack.watering-max"), p.temp(f.WateringMaxC) + " " + p.Temp},
	}
}

// mark collects what the foot of the report has to explain.
func (p *report) mark(s *logbook.Span) {
	p.Untrusted = p.Untrusted || !s.Start.Trusted || !s.Open() && !s.End.Trusted
	p.ByHand = p.ByHand || s.Origin == logbook.ByImport
	p.AnyLate = p.AnyLate || s.Origin == logbook.ByPaper
}

func (p *report) chain(ctx context.Context, r *logbook.Reader, _ logbook.Query) error {
	c, err := r.Verify(ctx)
	if err != nil {
		return err
	}
	if p.ChainBroken = c.Break != nil; p.ChainBroken {
		p.Chain = p.T("chain.broken", c.Rows, breakText(p.voice, c.Break))
		return nil
	}
	p.Chain = p.T("chain.holds", covers(p.voice, &c), c.Head)
	return nil
}
