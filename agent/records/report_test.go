package records_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"html"
	"io"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/words"
)

func options() *records.ReportOptions {
	return &records.ReportOptions{
		Pack: "lift-24v", Site: "quarry-road", Agent: "shed-2", Made: at(340).Wall, Version: "test",
		Facts: &records.Facts{
			Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3, FillMarkMM: 13, VentWellMM: 22,
			FreeSurfaceCM2: 130, ElectrolyteML: 1350, ChargeMaxC: 55, WateringMaxC: 38,
		},
	}
}

func reported(t *testing.T, rows logbook.Rows, change func(*records.ReportOptions)) string {
	t.Helper()
	_, r := kept(t, rows)
	o := options()
	if change != nil {
		change(o)
	}
	var out bytes.Buffer
	require.NoError(t, records.WriteReport(t.Context(), &out, r, o))
	if file := os.Getenv("BAYWARD_REPORT"); file != "" { // to look at it
		require.NoError(t, os.WriteFile(file, out.Bytes(), 0o600))
	}
	return out.String()
}

func TestReport(t *testing.T) {
	page := reported(t, twoWeeks(), nil)
	for _, want := range []string{
		"<h1>Record of battery lift-24v</h1>", "Never seen, but not all of it was measured: in 13 of 14 charges", html.EscapeString(words.EnglishSI().Cautions()), "not a certified safety device",
		"Verified: the chain of this logbook holds, over 16 charges and visits, 1 corrections.", "225 Ah at 20 h", "size: A4", "† stamped before the clock was set",
		"&#34;Zoë&#34;; 张", "demineralised, 2.5 µS/cm", "in progress", "<td>not yet; proven full, a steady current at the end", "<th class=\"n\">#1, 2026-03-", "plates-bare, pack-hot", "Median of the cells: 223 ml",
		// Cell 1 as read 1.271 at 31 °C: 6 °C above 25 °C add 0.0043 by the rule of
		// 0.004 for 10 °F.
		"<td class=\"n\">1.271</td><td class=\"n\">31.0</td><td class=\"n\">1.275</td>",
	} {
		mustSay(t, page, want)
	}
	for _, never := range []string{"‡", "<script", "src=", "href=", "NaN"} { // it needs nothing from elsewhere
		if strings.Contains(page, never) {
			t.Errorf("the report has %q", never)
		}
	}
	mustBeWellFormed(t, page)
}

// mustSay does not print the page when it fails: pages are long.
func mustSay(t *testing.T, page, want string) {
	t.Helper()
	if !strings.Contains(page, want) {
		t.Errorf("the report does not contain %q", want)
	}
}

// mustBeWellFormed reads the page as XML, which allows no open tag.
func mustBeWellFormed(t *testing.T, page string) {
	t.Helper()
	page = strings.ReplaceAll(page, `<meta charset="utf-8">`, "")
	page = strings.ReplaceAll(page, `<meta name="viewport" content="width=device-width, initial-scale=1">`, "")
	d := xml.NewDecoder(strings.NewReader(page))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		require.NoError(t, err)
	}
}

func TestReportInUSUnitsOnLetter(t *testing.T) {
	page := reported(t, twoWeeks(), func(o *records.ReportOptions) { o.Units, o.Letter = "us", true })
	// 13 mm is 0.51 in, 55 °C is 131 °F, 36.25 °C is 97 °F, 1278 ml is 43.2 fl oz.
	for _, want := range []string{"size: letter", "0.51 in", "131 °F", ">97<", ">43.2<"} {
		mustSay(t, page, want)
	}
}

// TestWasItChargedDry: "no" only where every charge was measured.
func TestWasItChargedDry(t *testing.T) {
	charge := func(n int, low float64, bareS, blindS float64) logbook.Charge {
		return logbook.Charge{Span: spanAt(24*n, 8), LowMM: logbook.Known(low), BareS: bareS, BlindS: blindS, FlowS: 8 * 3600}
	}
	for name, row := range map[string]struct {
		charges []logbook.Charge
		says    string
	}{
		"none":           {nil, "No charges of this battery"},
		"all covered":    {[]logbook.Charge{charge(0, 4, 0, 0), charge(1, 5, 0, 0)}, "No. In all of 2 charges"},
		"one dry":        {[]logbook.Charge{charge(0, 4, 0, 0), charge(1, -2, 60, 0)}, "Yes. In 1 of 2 charges the plates were bare while current flowed, first on 2026-03-02 06:00."},
		"dry and blind":  {[]logbook.Charge{charge(0, 4, 0, 9), charge(1, -2, 60, 0)}, "Unknown for 1 more."},
		"blind at times": {[]logbook.Charge{charge(0, 4, 0, 9), charge(1, 4, 0, 0)}, "Never seen, but not all of it was measured: in 1 of 2"},
		"never watched":  {[]logbook.Charge{charge(0, 4, 0, 9)}, "Unknown: in none of 1 charges"},
	} {
		t.Run(name, func(t *testing.T) { mustSay(t, reported(t, logbook.Rows{Charges: row.charges}, nil), row.says) })
	}
}

func TestReportOfABrokenChain(t *testing.T) {
	path, r := kept(t, twoWeeks())
	require.NoError(t, r.Close())
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	changed := bytes.ReplaceAll(raw, []byte("steady-taper"), []byte("steady-paper")) // stale copies too
	require.NotEqual(t, raw, changed)
	require.NoError(t, os.WriteFile(path, changed, 0o600))
	r, err = logbook.OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	var out bytes.Buffer
	require.NoError(t, records.WriteReport(t.Context(), &out, r, options()))
	said := regexp.MustCompile(`class="chain broken">.*`).FindString(out.String())
	require.Regexp(t, `BROKEN\. The chain of this logbook holds for its first \d+ rows only: link \d+ \(charge \d+\)`, said)
}

func TestReportOfNoPack(t *testing.T) {
	_, r := kept(t, twoWeeks())
	o := options()
	o.Pack = "lift-99"
	err := records.WriteReport(t.Context(), io.Discard, r, o)
	require.ErrorIs(t, err, records.ErrNoPack)
	require.ErrorContains(t, err, "lift-24v")
}

// TestReportWithoutFacts: an old pack, a bare logbook.
func TestReportWithoutFacts(t *testing.T) {
	page := reported(t, logbook.Rows{}, func(o *records.ReportOptions) { o.Facts = nil })
	mustSay(t, page, "No configuration with this battery was available")
	require.Equal(t, 4, strings.Count(page, "None in this period."))
	mustBeWellFormed(t, page)
}

// TestLongCurveStaysSmall: two years of minutes make a page of one size.
func TestLongCurveStaysSmall(t *testing.T) {
	var rows logbook.Rows
	for n := range 20_000 {
		rows.Series = append(rows.Series, logbook.Series{
			Bay: "bay-1", Pack: "lift-24v", Start: at(n), SpanS: 3600, Stage: "rested", LevelMM: logbook.Known(9), LevelMMMin: logbook.Known(8),
		})
	}
	rows.Series[15_000].LevelMMMin = logbook.Known(-3) // an hour must not get lost in the thinning
	page := reported(t, rows, func(o *records.ReportOptions) { o.Made = at(20_001).Wall })
	require.Less(t, len(page), 200_000)
	mustSay(t, page, "lowest -3.0 mm")
}

func TestReportEnds(t *testing.T) {
	_, r := kept(t, twoWeeks())
	ctx, cancel := context.WithDeadline(t.Context(), time.Unix(0, 0))
	defer cancel()
	require.Error(t, records.WriteReport(ctx, io.Discard, r, options()))
}
