package web_test

import (
	"math"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/web"
	"bayward/agent/words"
)

// opening and closing are the forms with every box ticked.
const (
	opening = "action=open&ok-park=yes&ok-lock=yes&ok-wear=yes&ok-metal=yes&ok-wash=yes&ok-spark=yes&ok-air=yes&ok-calm=yes"
	closing = "action=close&ok-caps=yes&ok-spills=yes&ok-latch=yes"
	visit   = "/bays/bay-1/visit"
)

func hidden(t *testing.T, page, name string) string {
	t.Helper()
	found := regexp.MustCompile(`name="` + name + `" value="([^"]*)"`).FindStringSubmatch(page)
	require.NotNil(t, found, "no field %s", name)
	return found[1]
}

// leads returns the address that an accepted form leads to.
func (b *bench) leads(t *testing.T, body string) string {
	t.Helper()
	w := b.form(visit, body)
	require.Equal(t, http.StatusSeeOther, w.Code, text(t, w))
	return w.Header().Get("Location")
}

// TestVisitByHand goes through a whole visit with the page's own forms, as a browser
// without scripts sends them.
func TestVisitByHand(t *testing.T) {
	b := newBench(nil, "bay-1")
	page := text(t, b.get(visit))
	for _, want := range []string{
		"Only cover the plates on this visit", "key out or isolator off", "no plug is pulled before that", "goggles under a face shield", "not gassing, and I am not alone", "No metal on my body", "Eyewash or shower works", "No flame, spark or smoking",
		"Air is moving", "locks the charge out", `href="/first-aid"`, words.EnglishSI().Cautions(),
	} {
		require.Contains(t, unescaped(page), want)
	}
	require.Equal(t, visit, b.leads(t, opening+"&by=A.+Person&id="+hidden(t, page, "id")))
	require.Equal(t, "A. Person", b.picture("bay-1").Visit.By)
	require.Contains(t, b.picture("bay-1").Codes(), "visit-open")

	require.Equal(t, visit+"?cell=1", b.leads(t, "action=quality&kind=distilled&us=4,5&unit=us&by=A.+Person"))
	require.InDelta(t, 4.5, b.picture("bay-1").Visit.USPerCM, 1e-9)
	page = text(t, b.get(visit+"?cell=1"))
	for _, want := range []string{"Cell 1 of 12", "Cover the plates first", "Water: 4.5 µS/cm", "about 6 mm, estimated", "Never fill this cell above", "Level rod of plastic or glass: wood soaks up acid", `href="/first-aid"`} {
		require.Contains(t, page, want)
	}
	// The plates are covered, so a small fill proposes nothing. The level rod then
	// gives another level for this cell: from 1 mm to 1 mm above the lowest level
	// for charging of 3 are 3 mm, or 39 ml on 130 cm².
	require.Contains(t, page, "Add nothing: this cell has enough.")
	require.NotContains(t, page, `value="to-mark"`, "this visit only covers the plates")
	require.Equal(t, visit+"?cell=1", b.leads(t, "action=before&cell=1&level=1&by=A.+Person"))
	page = text(t, b.get(visit+"?cell=1"))
	require.Contains(t, page, "Add 39 ml")
	require.Contains(t, page, "1 mm by the level rod")
	require.Regexp(t, `name="ml" value=""`, page, "what is proposed is no measurement")

	form := "action=cell&cell=1&by=A.+Person&given=" + hidden(t, page, "given") + "&ml=39&how=measured&after=4&id=" + hidden(t, page, "id")
	require.Equal(t, visit+"?cell=2", b.leads(t, form))
	require.Equal(t, visit+"?cell=2", b.leads(t, form), "the answer was lost and the form is sent again")
	v := b.picture("bay-1").Visit
	require.Equal(t, 39.0, v.GivenML[0], "and nothing more is recorded")
	require.Equal(t, bay.CellVisit{Done: true, LevelLast: true, LevelMM: new(4.0), How: order.Measured, BeforeMM: new(1.0), By: "A. Person"}, v.Cells[0])
	page = text(t, b.get(visit+"?cell=1"))
	for _, want := range []string{"Recorded here", "before: 1 mm by the level rod", "given: 39 ml, measured with a jug or gun", "afterwards: 4 mm by the level rod"} {
		require.Contains(t, page, want)
	}

	require.Equal(t, visit+"?cell=2", b.leads(t, "action=before&cell=2&gravity=1262&at=35&by=A.+Person"))
	// Published: 0.004 for each 10 °F (TM 5-3895-349-14&P), so 10 °C (18 °F)
	// above 25 °C add 0.0072.
	page = text(t, b.get(visit+"?cell=2"))
	require.Contains(t, page, "Cell 2: 1.269 at 25 °C (77 °F).")
	require.Contains(t, page, "1 of 12 cells count.")
	// 0.050 and more: TM 5-3895-349-14&P replaces the cell.
	b.leads(t, "action=before&cell=3&gravity=1.150&at=25&by=A.+Person")
	require.Contains(t, text(t, b.get(visit+"?cell=3")), "It is 0.119 below the other cells; 0.050 means a failed cell.")
	// Cell 1 has been given water in this visit.
	b.leads(t, "action=before&cell=1&gravity=1.150&at=25&by=A.+Person")
	require.Contains(t, text(t, b.get(visit+"?cell=1")), "It does not count: water was added and is not mixed in.")

	for n := 2; n <= 12; n++ {
		want := visit + "?cell=" + strconv.Itoa(n+1)
		if n == 12 {
			want = visit + "?step=close"
		}
		require.Equal(t, want, b.leads(t, "action=cell&cell="+strconv.Itoa(n)+"&ml=10&by=A.+Person"))
	}
	page = text(t, b.get(visit+"?step=close"))
	require.Contains(t, page, "Given: 149 ml in total.")
	require.Contains(t, page, "12 of 12 cells done")
	refusal := b.form(visit, "action=close&ok-caps=yes&ok-latch=yes&by=A.+Person")
	require.Equal(t, 400, refusal.Code)
	require.Contains(t, text(t, refusal), "Confirm every point first: Spills neutralised")
	require.Equal(t, visit+"?step=done", b.leads(t, closing+"&by=A.+Person&id=z"))
	require.False(t, b.picture("bay-1").Visit.Open)
	require.Contains(t, text(t, b.get(visit+"?step=done")), "The visit is closed and recorded.")
	again := b.form(visit, closing+"&by=A.+Person&id=y")
	require.Equal(t, 409, again.Code, "a closed visit is not closed again")
	require.Contains(t, text(t, again), "No visit is open")
}

// TestEveryCautionIsAsked: with one box unticked no visit opens.
func TestEveryCautionIsAsked(t *testing.T) {
	for _, box := range []string{"park", "lock", "wear", "metal", "wash", "spark", "air", "calm"} {
		b := newBench(nil, "bay-1")
		w := b.form(visit, strings.Replace(opening, "ok-"+box+"=yes", "", 1)+"&by=A")
		require.Equal(t, 400, w.Code, box)
		require.False(t, b.picture("bay-1").Visit.Open, box)
	}
}

// TestAReadyPackIsFilledToItsLevel: the page never mentions a level fill, and the
// amounts are the core's.
func TestAReadyPackIsFilledToItsLevel(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.change("bay-1", ready)
	require.Contains(t, text(t, b.get(visit)), "full, rested and cool")
	b.change("bay-1", func(p *bay.Picture) {
		ready(p)
		p.Visit = bay.Visit{Open: true, By: "A", Since: p.Now}
		p.Water.RiseKnown, p.Water.CeilingMM = true, 15
		p.Water.LevelMM[2], p.Water.NeedML[2] = 5, 104.9 // the page rounds down to whole millilitres
		p.Water.LevelMM[3], p.Water.NeedML[3] = 20, 0
	})
	require.Contains(t, text(t, b.get(visit+"?cell=3")), "Add 104 ml")
	page := text(t, b.get(visit+"?cell=4"))
	require.Contains(t, page, "Add nothing")
	require.Contains(t, page, "Draw the excess off")
	require.NotContains(t, page, "small fill")
}

// TestImpureWaterIsNotProposed: the limits for topping-up water are 10 µS/cm fresh
// and 30 in use (DIN 43530-4, from memory).
func TestImpureWaterIsNotProposed(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	b.leads(t, "action=before&cell=1&level=0&by=A")
	for _, row := range []struct{ us, unit, leads, says, cell string }{
		{"10", "us", "?cell=1", "At or below 10 µS/cm: good.", "Add 52 ml"},
		{"10.1", "us", "?cell=1", "Above 10 µS/cm, the limit for fresh water", "Add 52 ml"},
		{"30", "us", "?cell=1", "Above 10 µS/cm, the limit for fresh water", "Add 52 ml"},
		{"16", "ppm", "?step=water", "Above 30 µS/cm: too impure", "too impure, so no amounts are suggested"},
	} {
		require.Equal(t, visit+row.leads, b.leads(t, "action=quality&us="+row.us+"&unit="+row.unit+"&by=A"), row.us)
		require.Contains(t, text(t, b.get(visit+"?step=water")), row.says)
		require.Contains(t, text(t, b.get(visit+"?cell=1")), row.cell, row.us)
	}
	require.NotContains(t, text(t, b.get(visit+"?cell=1")), "Add 52 ml")
}

// TestTooMuchIsAskedBack: what brings a cell over its highest level, contradicts the
// level or is far from what is proposed is recorded only after a question, which
// comes on the same page. The page states the number at which it asks: 16 mm above
// the plates for this pack at 25 °C.
func TestTooMuchIsAskedBack(t *testing.T) {
	for _, row := range []struct{ typed, asks string }{
		{"ml=207", "207 ml would bring the cell over its highest level for a charge"},
		{"ml=20&after=17", "17 mm is over 1"},
		{"ml=20&after=15", "15 mm does not fit"},
		{"ml=31", "31 ml is far more than the 0 ml proposed"},
	} {
		b := newBench(nil, "bay-1")
		b.leads(t, opening+"&by=A")
		body := "action=cell&cell=2&how=measured&by=A&id=q&given=0&" + row.typed
		w := b.form(visit, body)
		require.Equal(t, 409, w.Code, row.typed)
		page := text(t, w)
		require.Contains(t, page, "Cell 2: "+row.asks)
		require.NotContains(t, page, "Not recorded.")
		require.Zero(t, b.picture("bay-1").Visit.GivenML[1])
		sent, err := url.ParseQuery(row.typed)
		require.NoError(t, err)
		for name := range sent {
			require.Len(t, tags(page, "name", name), 2, "in the question and in the form: %s", name)
			for _, tag := range tags(page, "name", name) {
				require.Contains(t, tag, `value="`+sent.Get(name)+`"`)
			}
		}
		require.Equal(t, visit+"?cell=2", b.leads(t, body+"&sure=yes"), "the person stays and looks")
		require.NotZero(t, b.picture("bay-1").Visit.GivenML[1])
		require.Equal(t, visit+"?cell=2", b.leads(t, body+"&sure=yes"), "sent twice")
	}
}

// TestTwoPeopleAtOnePack: the second person is shown the first person's water.
func TestTwoPeopleAtOnePack(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	w := b.form(visit, opening+"&by=B")
	require.Equal(t, 409, w.Code)
	require.Contains(t, text(t, w), "A has opened a visit here.")
	page := text(t, b.get(visit+"?cell=1"))
	b.leads(t, "action=cell&cell=1&ml=20&by=A&given=0&id=a")
	w = b.form(visit, "action=cell&cell=1&ml=20&by=B&id=b&given="+hidden(t, page, "given"))
	require.Equal(t, 409, w.Code)
	require.Contains(t, text(t, w), "Someone else has just recorded water for cell 1")
	require.Equal(t, 20.0, b.picture("bay-1").Visit.GivenML[0])
}

func TestBadForms(t *testing.T) {
	for _, row := range []struct {
		name, body string
		status     int
		message    string
	}{
		{"letters", "action=cell&cell=1&by=A&ml=plenty", 400, `Poured: "plenty" is not accepted. It must be a number from 0 to 2000 ml.`},
		{"negative", "action=cell&cell=1&by=A&ml=-3", 400, `Poured: "-3" is not accepted. It must be a number from 0 to 2000 ml.`},
		{"five litres", "action=cell&cell=1&by=A&ml=5000", 400, `Poured: "5000" is not accepted.`},
		{"not a number", "action=cell&cell=1&by=A&ml=NaN", 400, `Poured: "NaN" is not accepted.`},
		{"level from the moon", "action=before&cell=1&by=A&level=-201", 400, "Below the plate tops a level rod reads nothing. Press the button for a dry cell."},
		{"no such cell", "action=cell&cell=13&by=A&ml=5", 400, `There is no cell "13": the battery has 12.`},
		{"no cell", "action=cell&by=A&ml=5", 400, "There is no cell"},
		{"gravity of ice", "action=before&cell=1&by=A&gravity=0.9&at=20", 400, `"0.9" is not accepted. It must be a number from 1 to 1.4.`},
		{"gravity alone", "action=before&cell=1&by=A&gravity=1.2", 400, "Enter the acid temperature too."},
		{"water worse than the sea", "action=quality&by=A&us=50001", 400, "It must be a number from 0 to 50000 µS/cm."},
		{"an empty sheet", "action=sheet&by=A&ml-1=&ml-2=", 400, "No cell has an amount"},
		{"a long sheet", "action=sheet&how=measured&by=A&ml-1=1&ml-13=1", 400, "There is no cell 13: the battery has 12."},
		{"letters on the sheet", "action=sheet&how=measured&by=A&ml-1=5&ml-2=x", 400, `Cell 2, Poured: "x" is not accepted.`},
		{"nobody", closing + "&by=", 400, `The name "" is not accepted`},
		{"no such step", "action=dance&by=A", 400, "Unknown request"},
		{"broken", "action=%zz", 400, "The form cannot be read."},
		{"huge", "action=close&by=" + strings.Repeat("x", 1<<20), 413, "The form is too large."},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := newBench(nil, "bay-1")
			b.leads(t, opening+"&by=A")
			w := b.form(visit, row.body)
			page := unescaped(text(t, w))
			require.Equal(t, row.status, w.Code, page)
			require.Contains(t, page, row.message)
			require.Contains(t, page, `href="/bays/bay-1`)
			require.Equal(t, [48]float64{}, b.picture("bay-1").Visit.GivenML, "nothing is recorded unless all of it is right")
		})
	}
	b := newBench(nil, "bay-1")
	w := b.do(request{method: "POST", path: "/bays/bay-1/hold", body: "action=hold&by=A", header: map[string]string{
		"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "cross-site",
	}})
	require.Equal(t, 403, w.Code)
	w = b.do(request{method: "POST", path: "/bays/bay-1/hold", body: "action=hold&by=A", header: map[string]string{"Content-Type": "text/plain"}})
	require.Equal(t, 415, w.Code)
}

// TestTheSheetIsTypedIn: the sheet is filled in on paper first and then entered all
// at once.
func TestTheSheetIsTypedIn(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.change("bay-1", plates)
	page := text(t, b.get("/sheet"))
	for _, want := range []string{"Visit sheet", "<h2>bay-1", `<th scope="row">12</th><td>91</td>`, "☐ I wear goggles under a face shield", "☐ All vent caps are on and seated, vent holes clear"} {
		require.Contains(t, page, want)
	}
	// 91 ml are 3.1 US fluid ounces of 29.57353 ml (NIST SP 811, 2008, appendix B).
	us := newBench(func(o *web.Options) { o.Units = "us" }, "bay-1")
	us.change("bay-1", plates)
	page = text(t, us.get("/sheet"))
	require.Contains(t, page, `<th scope="col">Add, fl oz</th><th scope="col">Poured, fl oz</th>`)
	require.Contains(t, page, `<th scope="row">12</th><td>3.1</td>`)
	b.leads(t, opening+"&by=A")
	const body = "action=sheet&how=measured&by=A&id=s&ml-1=90&ml-2=&ml-3=75,5&after-1=13&after-2=&after-3="
	w := b.form(visit, body)
	require.Equal(t, 409, w.Code)
	page = text(t, w)
	require.Contains(t, page, "Cell 1: 90 ml is far more than the 0 ml proposed")
	require.Contains(t, page, "Cell 3: 75.5 ml is far more than the 0 ml proposed")
	require.Zero(t, b.picture("bay-1").Visit.GivenML[0])
	require.Equal(t, visit+"?step=close", b.leads(t, body+"&sure=yes"))
	require.Equal(t, visit+"?step=close", b.leads(t, body+"&sure=yes"), "sent twice")
	v := b.picture("bay-1").Visit
	require.Equal(t, []float64{90, 0, 75.5, 0}, v.GivenML[:4])
	require.Equal(t, 13.0, *v.Cells[0].LevelMM)
	require.False(t, v.Cells[1].Done)
}

// TestAForgottenVisitReminds: every page that shows the bay shows the reminder.
func TestAForgottenVisitReminds(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	require.NotContains(t, text(t, b.get("/")), "Close it, or go on")
	b.change("bay-1", func(p *bay.Picture) { p.Visit.Since = p.Now - 3*time.Hour })
	for _, path := range []string{"/bays/bay-1", visit} {
		require.Contains(t, text(t, b.get(path)), "This visit has been open for 3 h.", path)
	}
}

// TestABrokenProbeIsPouredByTheLevelRod: without a level from the probe, only the
// level rod gives an amount; without a temperature, nothing does.
func TestABrokenProbeIsPouredByTheLevelRod(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	b.change("bay-1", func(p *bay.Picture) {
		p.Water.Known, p.Water.RiseKnown, p.Water.RiseMM, p.Water.CeilingMM = false, true, 0, 15
		p.Seen.Level = reading.Level{Fault: reading.Open}
	})
	require.Contains(t, text(t, b.get(visit+"?cell=5")), "No amount can be suggested. Measure the level first.")
	b.change("bay-1", func(p *bay.Picture) {
		p.Visit.Cells[4] = bay.CellVisit{LevelLast: true, LevelMM: new(0.0)}
	})
	require.Contains(t, text(t, b.get(visit+"?cell=5")), "Add 52 ml", "from 0 mm to 1 mm above the lowest level for charging of 3: 4 mm on 130 cm²")
	b.change("bay-1", func(p *bay.Picture) { p.Water.RiseKnown = false })
	require.Contains(t, unescaped(text(t, b.get(visit+"?cell=5"))), "the battery temperature is not known")
}

// TestNothingIsProposedPastTheCeiling: this holds for any pack and any level rod
// reading of a cell without a probe.
func TestNothingIsProposedPastTheCeiling(t *testing.T) {
	number := regexp.MustCompile(`class="add add-some">Add (\d+) ml`)
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	some := 0
	rapid.Check(t, func(rt *rapid.T) {
		level := rapid.Float64Range(-20, 25).Draw(rt, "level")
		rise := rapid.Float64Range(-2, 4).Draw(rt, "rise")
		ceiling := rapid.Float64Range(3, 21).Draw(rt, "ceiling")
		b.change("bay-1", func(p *bay.Picture) {
			p.Visit.OnlyCoverPlates = rapid.Bool().Draw(rt, "small fill")
			p.Water.Known, p.Water.RiseKnown, p.Water.RiseMM, p.Water.CeilingMM = false, true, rise, ceiling
			p.Visit.Cells[0] = bay.CellVisit{LevelLast: true, LevelMM: new(level)}
		})
		found := number.FindStringSubmatch(text(t, b.get(visit+"?cell=1")))
		if found == nil {
			return
		}
		some++
		ml, err := strconv.ParseFloat(found[1], 64)
		if err != nil || level-rise+ml/13 > ceiling+1e-9 {
			rt.Fatalf("from %g mm, %g ml on 130 cm² pass the ceiling of %g mm", level-rise, ml, ceiling)
		}
	})
	require.Positive(t, some)
}

// TestDangersReachThePersonAtThePack: every step shows them, whatever is being
// filled in.
func TestDangersReachThePersonAtThePack(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	require.NotContains(t, text(t, b.get(visit+"?cell=1")), "Danger while you are at the battery")
	b.change("bay-1", func(p *bay.Picture) {
		raise(p, interlock.HydrogenHigh, interlock.Evidence{Value: 2.4, Limit: 1, Fault: reading.None})
	})
	for _, step := range []string{"", "?cell=1", "?step=water", "?step=close", "?step=sheet"} {
		page := text(t, b.get(visit+step))
		require.Contains(t, page, "Danger while you are at the battery", step)
		require.Contains(t, page, "Hydrogen is at 2.40 % by volume", step)
		require.Contains(t, page, `data-live="/live"`, step)
	}
}

// TestWarningsReachThePersonAtThePack: what comes before a danger is shown there too;
// other warnings are not.
func TestWarningsReachThePersonAtThePack(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	b.change("bay-1", func(p *bay.Picture) { raise(p, interlock.WaterBalance, interlock.Evidence{Value: 6, Limit: 4}) })
	require.NotContains(t, text(t, b.get(visit)), "while you are at the battery")
	b.change("bay-1", func(p *bay.Picture) {
		raise(p, interlock.HydrogenWarning, interlock.Evidence{Value: 1.1, Limit: 1, Fault: reading.None})
		raise(p, interlock.PackWarm, interlock.Evidence{Value: 44, Limit: 43})
	})
	page := text(t, b.get(visit))
	require.Contains(t, page, "Hydrogen is at 1.10 % by volume; the warning starts at 1.00 %.")
	require.Contains(t, page, "Take care while you are at the battery")
	require.Contains(t, page, "Electrolyte is at 44.0 °C; the warning starts at 43.0 °C.")
}

// TestHoldByHand: a hold, then the button to end it.
func TestHoldByHand(t *testing.T) {
	b := newBench(nil, "bay-1")
	require.Equal(t, 303, b.form("/bays/bay-1/hold", "action=hold&by=A").Code)
	page := text(t, b.get("/bays/bay-1"))
	require.Contains(t, page, `value="unhold"`)
	require.NotContains(t, page, `value="release"`)
	require.Equal(t, 303, b.form("/bays/bay-1/hold", "action=unhold&by=A").Code)
	require.NotContains(t, b.picture("bay-1").Codes(), "held")
	b.change("bay-1", func(p *bay.Picture) { raise(p, interlock.Runaway, interlock.Evidence{}) })
	require.Contains(t, text(t, b.get("/bays/bay-1")), `value="release"`)
}

func TestReadOnlyPageOffersOnlyAHold(t *testing.T) {
	b := newBench(func(o *web.Options) { o.Writable = false }, "bay-1")
	page := text(t, b.get("/bays/bay-1"))
	require.NotContains(t, page, `/visit"`)
	require.Contains(t, page, `value="hold"`)
	require.Contains(t, page, "takes only a hold")
	require.NotContains(t, text(t, b.get(visit)), `value="open"`)
}

// TestNameIsRemembered: in this browser, if no one signs in.
func TestNameIsRemembered(t *testing.T) {
	b := newBench(nil, "bay-1")
	w := b.form(visit, opening+"&by="+url.QueryEscape("Ö. Person"))
	cookies := w.Result().Cookies()
	cookie := cookies[slices.IndexFunc(cookies, func(c *http.Cookie) bool { return c.Name == "bayward-name" })]
	require.True(t, cookie.HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, cookie.SameSite)
	page := b.do(request{method: "GET", path: visit + "?cell=1", header: map[string]string{"Cookie": cookie.Name + "=" + cookie.Value}})
	require.Contains(t, text(t, page), "as Ö. Person")
	nobodys := text(t, b.get(visit+"?cell=1"))
	require.NotContains(t, nobodys, "as Ö. Person")
	require.NotContains(t, nobodys, "/sign-in", "no one signs in here")
}

// TestContrast: text on its background reaches 4.5 to 1, and lines and signs 3 to 1,
// in light and dark mode. Source: WCAG 2.2, success criteria 1.4.3 and 1.4.11 (level
// AA). The formula is from its glossary, "contrast ratio" and "relative luminance".
func TestContrast(t *testing.T) {
	css, err := os.ReadFile("page/style.css")
	require.NoError(t, err)
	require.InDelta(t, 21, contrast(t, "#000000", "#ffffff"), 1e-9) // the upper end of the formula: black on white
	light, dark, found := strings.Cut(string(css), "prefers-color-scheme: dark")
	require.True(t, found)
	dark, _, _ = strings.Cut(dark, "\n}\n")
	for name, rules := range map[string]string{"light": light, "dark": dark} {
		colour := map[string]string{}
		for _, r := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(rules, -1) {
			colour[r[1]] = r[2]
		}
		require.Greater(t, len(colour), 20)
		atLeast := func(a, b string, ratio float64) {
			require.NotEmpty(t, colour[a], a)
			require.NotEmpty(t, colour[b], b)
			require.GreaterOrEqual(t, contrast(t, colour[a], colour[b]), ratio, "%s: %s on %s", name, a, b)
		}
		for on := range colour {
			if ground, ok := strings.CutPrefix(on, "on-"); ok {
				atLeast(on, ground, 4.5)
			}
		}
		for _, ground := range []string{"ground", "paper"} {
			for _, fore := range []string{"ink", "soft", "link", "wrong"} {
				atLeast(fore, ground, 4.5)
			}
			for _, fore := range []string{"edge", "curve", "plate", "liquid"} {
				atLeast(fore, ground, 3)
			}
		}
		atLeast("curve", "band", 3)
	}
	require.NotRegexp(t, `[{; ](color|background|fill|stroke): #`, string(css), "a colour without a name is not checked")
	require.Less(t, math.Abs(contrast(t, "#777777", "#ffffff")-4.48), 0.01) // example of WCAG technique G18: a grey that just fails
}

// TestAVisitAsksForReadings: the worst cell first, until it was read; one that gets water
// is read with it.
func TestAVisitAsksForReadings(t *testing.T) {
	b := newBench(nil, "bay-1")
	asks := func(p *bay.Picture) {
		ready(p)
		p.Water.ReadDue, p.Water.ReadAsk = true, 1<<6|1<<2|1<<10|1<<4
		copy(p.Water.ReadFirst[:], []uint8{7, 3, 5, 11})
		p.Water.RiseKnown = true
		p.Water.Unsure = 0
		p.Water.NeedML[6], p.Water.NeedML[2], p.Water.NeedML[10] = 0, 0, 0
	}
	b.change("bay-1", asks)
	for _, path := range []string{"/bays/bay-1", visit, "/sheet?bay=bay-1"} {
		require.Contains(t, text(t, b.get(path)), "Read these cells first: 7, 3, 11. About 3 minutes. Read cell 5 after watering. About 1 minute.", path)
		require.Contains(t, unescaped(text(t, b.get(path))), words.EnglishSI().Cautions(), path)
	}
	b.change("bay-1", func(p *bay.Picture) {
		p.Visit = bay.Visit{Open: true, By: "A", Since: p.Now}
	})
	page := text(t, b.get(visit))
	require.Contains(t, page, "Read these cells first: 7, 3, 11.")
	require.NotContains(t, page, `name="cell" value="7"`, "a tap does not fill it")
	require.Equal(t, 3, strings.Count(page, "read it first"))
	page = text(t, b.get(visit+"?cell=7"))
	require.Contains(t, page, "Read it first: put the level rod in this cell")
	require.Contains(t, page, "<details open><summary>Read level and gravity")
	require.Contains(t, page, "Next: cell 3")
	require.NotContains(t, text(t, b.get(visit+"?cell=6")), "Read it first")
	require.Contains(t, text(t, b.get(visit+"?cell=5")), "After watering, put the level rod in this cell")

	b.change("bay-1", func(p *bay.Picture) {
		p.Visit.Cells[6] = bay.CellVisit{LevelMM: new(6.0), LevelLast: true, BeforeMM: new(6.0)}
	})
	require.NotContains(t, text(t, b.get(visit+"?cell=7")), "Read it first")
	page = text(t, b.get(visit+"?step=close"))
	require.Contains(t, page, "Not read yet: cells 3, 5, 11.")
	b.change("bay-1", func(p *bay.Picture) {
		p.Visit, p.Stage = bay.Visit{}, bay.Charging
		raise(p, interlock.WaterUnrecorded, interlock.Evidence{Value: 6})
	})
	require.Contains(t, text(t, b.get("/bays/bay-1")), "The level rose by 6 mm without a visit. Who watered which cells?")
	require.Contains(t, text(t, b.get("/bays/bay-1")), "Levels must be read now: cells 7, 3, 5, 11.")
}
