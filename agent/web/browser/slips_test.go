package browser_test

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/web"
)

// visitor opens a visit on a phone and goes to a cell.
func (y *yard) visitor(s *screen) {
	y.t.Helper()
	s.open("/bays/bay-1/visit")
	s.tickAll()
	if of[bool](s, `document.getElementById("open-by").checkVisibility()`) {
		s.write("#open-by", "A. Person")
	}
	s.click("form button:not(.calm)")
}

// leaves closes the visit.
func (y *yard) leaves(s *screen) {
	y.t.Helper()
	s.open("/bays/bay-1/visit?step=close")
	s.tickAll()
	s.click("main form button.wide")
	y.run(3 * time.Minute) // past the delay after the last person
}

const (
	record  = `button[value="measured"].wide`
	toMark  = `button[value="to-mark"]`
	propose = `button[value="as-proposed"]`
	dry     = `button[name="dry"]`
	read    = `form:has(#before-level) button:not(.calm)`
	sure    = `.faults-ask button`
)

// toCell goes to a cell of the open visit and opens all of its boxes.
func (s *screen) toCell(n string) {
	s.t.Helper()
	s.open("/bays/bay-1/visit?cell=" + n)
	s.unfold()
}

func (s *screen) unfold() {
	s.t.Helper()
	of[any](s, `document.querySelectorAll("details").forEach(d => { d.open = true; })`)
}

// value returns what is in a box.
func (s *screen) value(id string) string {
	s.t.Helper()
	return of[string](s, `document.getElementById("`+id+`").value`)
}

// hasNot requires that a page does not say something.
func (s *screen) hasNot(words ...string) {
	s.t.Helper()
	text := s.text()
	for _, w := range words {
		require.NotContains(s.t, text, w, s.where())
	}
}

// TestSlips plays the slips of a technician on a phone: each ends with the right
// record, and no page says that something was not done that was done, or that all is
// well while a plate is bare.
func TestSlips(t *testing.T) {
	b := browser(t)
	phone := func(y *yard) *screen { return tab(b, y.t, y.url, phoneWide, phoneHigh) }

	t.Run("1 one bad box books nothing", func(t *testing.T) {
		for _, language := range []string{"en", "es"} {
			y := newReadyYard(t, 6, func(o *web.Options) { o.Language = language })
			s := phone(y)
			y.visitor(s)
			s.toCell("4")
			s.write("#cell-ml", map[string]string{"en": "110", "es": "117,5"}[language])
			s.write("#cell-after", "200")
			s.click(record)
			s.has(map[string]string{"en": "Not recorded.", "es": "No se registró."}[language])
			s.shot("slip-1-" + language)
			require.Zero(t, y.cell(4).GivenML)
			require.Equal(t, "200", s.value("cell-after"))
			s.write("#cell-after", "14")
			s.click(record)
			require.InDelta(t, map[string]float64{"en": 110, "es": 117.5}[language], y.cell(4).GivenML, 0.1)
			require.Equal(t, 1, y.taken(order.Entry))
		}
	})
	t.Run("14 a form comes back filled in", func(t *testing.T) {
		y := newReadyYard(t, 6, nil)
		s := phone(y)
		y.visitor(s)
		s.open("/bays/bay-1/visit?step=sheet")
		s.press("#sheet-how")
		for n, ml := range map[string]string{"1": "91", "2": "85", "12": "91"} {
			s.write("#sheet-ml-"+n, ml)
		}
		s.write("#sheet-after-12", "x")
		s.click("main form button")
		s.has("Not recorded.", `Cell 12, Level after: "x" is not accepted.`)
		s.shot("slip-14")
		require.Equal(t, []string{"91", "85", "91", "x"}, []string{s.value("sheet-ml-1"), s.value("sheet-ml-2"), s.value("sheet-ml-12"), s.value("sheet-after-12")})
		require.Zero(t, y.taken(order.Entry))
		s.press(`.faults a`)
		s.until(`document.activeElement.id === "sheet-after-12"`)
		s.write("#sheet-after-12", "13")
		s.click("main form button")
		require.Equal(t, []float64{91, 85, 91}, []float64{y.cell(1).GivenML, y.cell(2).GivenML, y.cell(12).GivenML})
	})
	t.Run("2 a sheet floods no cell in silence", func(t *testing.T) {
		y := newReadyYard(t, 7, nil)
		s := phone(y)
		y.visitor(s)
		s.open("/bays/bay-1/visit?step=sheet")
		s.press("#sheet-how")
		s.write("#sheet-ml-4", "500")
		s.write("#sheet-ml-5", "78")
		s.click("main form button")
		s.has("Is that right?", "Cell 4: 500 ml would bring the cell over its highest level for a charge", "nothing is recorded yet")
		s.hasNot("Cell 5:")
		s.shot("slip-2")
		require.Zero(t, y.taken(order.Entry))
		require.Equal(t, []string{"500", "78"}, []string{s.value("sheet-ml-4"), s.value("sheet-ml-5")})
		s.write("#sheet-ml-4", "50")
		s.click("main section:not(.faults-ask) form button")
		require.Equal(t, []float64{50, 78}, []float64{y.cell(4).GivenML, y.cell(5).GivenML})
	})
	t.Run("2 and what is flooded blocks the charge", func(t *testing.T) {
		y := newReadyYard(t, 7, nil)
		s := phone(y)
		y.visitor(s)
		s.open("/bays/bay-1/visit?step=sheet")
		s.press("#sheet-how")
		s.write("#sheet-ml-4", "500")
		s.click("main form button")
		s.click(sure)
		y.leaves(s)
		require.Contains(t, y.codes(), "overfilled")
		require.Equal(t, "blocked", y.read().Permit)
		s.open("/bays/bay-1")
		s.has("ell 4")
		s.shot("slip-2-blocked")
		y.visitor(s)
		s.toCell("4")
		s.has("Draw the excess off")
		s.write("#cell-drawn", "430")
		s.click(`form:has(#cell-drawn) details button`)
		s.unfold()
		s.write("#before-level", "12")
		s.click(read)
		require.InDelta(t, 430, y.cell(4).DrawnML, 0)
		y.leaves(s)
		require.NotContains(t, y.codes(), "overfilled")
	})
	t.Run("3 a slip is corrected in three touches", func(t *testing.T) {
		y := newReadyYard(t, 6, nil)
		s := phone(y)
		y.visitor(s)
		for _, n := range []string{"4", "5"} { // cell 5 is the wrong cell
			s.toCell(n)
			s.write("#cell-ml", "118")
			s.click(record)
		}
		s.toCell("6")
		s.write("#cell-ml", "1170") // a digit too many, and sure of it
		s.click(record)
		s.click(sure)
		require.InDelta(t, 1170, y.cell(6).GivenML, 0)
		require.Contains(t, y.codes(), "overfilled")
		const correct, send, never = `main a[href$="step=correct"]`, `details[open] button.wide:not(.calm)`, `details[open] button[name="void"]`
		s.click(correct)
		s.shot("slip-3")
		s.write("#correct-ml-value", "88")
		s.click(send)
		require.InDelta(t, 88, y.cell(6).GivenML, 0)
		require.NotContains(t, y.codes(), "overfilled")
		s.has("1170 ml", "88 ml", "Typed wrong", "A. Person") // the old value, the new one, why and who
		s.shot("slip-3-corrected")
		s.open("/bays/bay-1/visit?cell=5")
		s.click(correct)
		s.click(never)
		require.Zero(t, y.cell(5).GivenML)
		require.False(t, y.cell(5).Done)
		require.InDelta(t, 118, y.cell(4).GivenML, 0)
	})
	t.Run("4 a level over the ceiling keeps the person there", func(t *testing.T) {
		y := newReadyYard(t, 7, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("4")
		s.write("#cell-ml", "78")
		s.write("#cell-after", "30")
		s.click(record)
		s.has("Is that right?", "30 mm is over", "Cell 4 of 12")
		s.shot("slip-4")
		require.Zero(t, y.cell(4).GivenML)
		s.click(sure)
		s.has("Cell 4 of 12", "Draw the excess off", "afterwards: 30 mm by the level rod")
		s.shot("slip-4-sure")
		require.InDelta(t, 30, *y.cell(4).LevelAfterMM, 0.01)
	})
	t.Run("5 nothing on a bare cell", func(t *testing.T) {
		y := newYard(t, -5, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("4")
		s.write("#cell-ml", "0")
		s.click(record)
		s.has("Is that right?", "0 ml on a bare cell leaves its plates dry")
		require.False(t, y.cell(4).Done)
		s.click(sure)
		s.has("0 of 12 cells done")
		require.False(t, y.cell(4).Done)
		require.Contains(t, y.read().Visit.BareCells, 4)
	})
	t.Run("6 closing names the cells that are still bare", func(t *testing.T) {
		y := newYard(t, -5, nil)
		s := phone(y)
		y.visitor(s)
		for _, n := range []string{"1", "2", "3", "6"} {
			s.toCell(n)
			s.click(propose)
			s.unfold()
			s.write("#before-level", "5")
			s.click(read)
			s.shot("slip-6-cell" + n)
		}
		s.open("/bays/bay-1/visit?step=close")
		const bare = "8 cells still bare: 4, 5, 7 to 12. The charge stays blocked."
		s.has(bare)
		s.shot("slip-6-close")
		require.Equal(t, []int{4, 5, 7, 8, 9, 10, 11, 12}, y.read().Visit.BareCells)
		s.tickAll()
		s.click("main form button.wide")
		s.has(bare, "the work is not done")
		s.hasNot("Thank you", "The visit is closed and recorded.")
		s.shot("slip-6-done")
		y.run(time.Minute)
		state := y.read()
		require.Equal(t, "blocked", state.Permit)
		require.Contains(t, state.codes(), "plates-bare")
	})
	t.Run("7 one covered cell covers no other", func(t *testing.T) {
		y := newYard(t, -5, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("1") // which holds the probe
		s.write("#cell-ml", "130")
		s.click(record)
		y.run(time.Minute)
		s.toCell("1")
		s.write("#before-level", "4")
		s.click(read)
		y.run(time.Minute)
		second := phone(y)
		for _, path := range []string{"/", "/bays/bay-1"} {
			second.open(path)
			second.has("Plates are dry", "11 cells left")
			second.hasNot("charging is allowed again")
		}
		second.has("charging stays blocked until the plates are covered")
		second.shot("slip-7")
		require.Contains(t, y.codes(), "plates-bare")
	})
	t.Run("8 a wrong unit is asked back", func(t *testing.T) {
		y := newReadyYard(t, 6, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("2")
		s.write("#cell-ml", "3.7") // fluid ounces
		s.click(record)
		s.has("3.7 ml is under a third of the 89 ml proposed")
		require.Zero(t, y.cell(2).GivenML)
	})
	t.Run("9 the page asks at the number that it states", func(t *testing.T) {
		y := newReadyYard(t, 5, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("2")
		s.has("Never fill this cell above 16 mm now")
		s.write("#cell-ml", "160")
		s.click(record)
		s.has("160 ml would bring the cell over its highest level for a charge")
		s.click(sure)
		s.has("Draw the excess off")
	})
	t.Run("14 and without scripts", func(t *testing.T) {
		y := newReadyYard(t, 6, nil)
		s := phone(y)
		_, err := chromedp.Call(s.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		require.NoError(t, err)
		y.visitor(s)
		s.toCell("4")
		s.write("#cell-ml", "5OO")
		s.click(record)
		s.has("Not recorded.", `"5OO" is not accepted.`)
		require.Equal(t, "5OO", s.value("cell-ml"))
		s.write("#cell-ml", "500")
		s.click(record)
		s.has("Is that right?")
		require.Equal(t, "500", s.value("cell-ml"))
		require.Zero(t, y.taken(order.Entry))
		s.write("#cell-ml", "50")
		s.click(record)
		require.InDelta(t, 50, y.cell(4).GivenML, 0)
	})
	t.Run("5 nothing typed is no entry", func(t *testing.T) {
		y := newReadyYard(t, 6, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("1")
		s.click(record)
		s.has("Nothing is entered.", "0 of 12 cells done")
		require.Zero(t, y.taken(order.Entry))
		require.False(t, y.cell(1).Done)
	})
	t.Run("8 US units", func(t *testing.T) {
		y := newReadyYard(t, 6, func(o *web.Options) { o.Units = "us" })
		s := phone(y)
		y.visitor(s)
		s.toCell("2")
		s.has("fl oz", "Add 3.0 fl oz (89 ml)")
		s.shot("slip-8")
		s.write("#before-level", "1/4")
		s.click(read)
		s.has("0.25 in by the level rod")
		s.write("#cell-ml", "3.7")
		s.write("#cell-after", "1/2")
		s.click(record)
		s.hasNot("Is that right?")
		require.InDelta(t, 109.4, y.cell(2).GivenML, 0.1, "3.7 US fluid ounces of 29.57 ml")
		require.InDelta(t, 12.7, *y.cell(2).LevelAfterMM, 0.01)
		require.InDelta(t, 6.35, *y.cell(2).LevelBeforeMM, 0.01)
	})
	t.Run("10 what is proposed is no measurement", func(t *testing.T) {
		y := newReadyYard(t, 6, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("2")
		require.Empty(t, s.value("cell-ml"))
		s.click(propose)
		s.toCell("3")
		s.write("#cell-ml", "88")
		s.click(record)
		s.toCell("4")
		s.click(toMark)
		require.Equal(t, []string{"as-proposed", "measured", "to-mark"}, []string{y.cell(2).How, y.cell(3).How, y.cell(4).How})
		require.Equal(t, []float64{89, 88}, []float64{y.cell(2).GivenML, y.cell(3).GivenML})
		require.InDelta(t, 90, y.cell(4).GivenML, 2, "worked out")
		s.open("/bays/bay-1/visit?cell=2")
		s.has("given: 89 ml, as proposed, not measured")
		s.shot("slip-10")
	})
	t.Run("11 a rod reads nothing below the tops", func(t *testing.T) {
		y := newYard(t, -5, nil)
		s := phone(y)
		y.visitor(s)
		s.toCell("4")
		s.write("#before-level", "-12")
		s.click(read)
		s.has("Below the plate tops a level rod reads nothing.")
		s.shot("slip-11")
		require.False(t, y.cell(4).Dry)
		s.write("#before-level", "")
		s.click(dry)
		s.has("dry: the rod shows the plates")
		require.True(t, y.cell(4).Dry)
	})
	t.Run("12, 13 gravity as people write it, with a verdict", func(t *testing.T) {
		y := newYard(t, 13, nil)
		s := phone(y)
		y.visitor(s)
		for n, sg := range map[string]string{"1": "1265", "2": "1.262", "3": "1,264"} {
			s.toCell(n)
			s.write("#before-gravity", sg)
			s.write("#before-at", "24")
			s.click(`form:has(#before-gravity) > button.calm:not([name])`)
		}
		require.InDelta(t, 1.265, *y.cell(1).Gravity, 1e-9)
		require.InDelta(t, 1.264, *y.cell(3).Gravity, 1e-9)
		s.toCell("4")
		s.write("#before-gravity", "1.15")
		s.write("#before-at", "24")
		s.click(`form:has(#before-gravity) > button.calm:not([name])`)
		s.has("below the other cells")
		s.shot("slip-12")
		require.Empty(t, y.read().EqualizeDue)
	})
}

// TestBadInput plays what people type wrong: each is refused or asked back with the
// form as it was, and nothing of it is recorded.
func TestBadInput(t *testing.T) {
	b := browser(t)
	y := newReadyYard(t, 6, nil)
	s := tab(b, t, y.url, phoneWide, phoneHigh)
	y.visitor(s)
	for _, row := range []struct{ box, typed, says string }{
		{"cell-after", "200", "No cell can show a level of 200 mm"},
		{"cell-after", "-12", "Below the plate tops a level rod reads nothing."},
		{"cell-after", "1/2", `"1/2" is not accepted.`},
		{"cell-ml", "", "Nothing is entered."},
		{"cell-ml", "0", "0 ml is under a third of the 89 ml proposed"},
		{"cell-ml", "3.7", "3.7 ml is under a third of the 89 ml proposed"},
		{"cell-ml", "500", "500 ml would bring the cell over its highest level"},
		{"cell-ml", "1170", "1170 ml would bring the cell over its highest level"},
		{"before-gravity", "12650", `"12650" is not accepted.`},
		{"before-level", "-12", "Below the plate tops a level rod reads nothing."},
	} {
		s.toCell("4")
		s.write("#"+row.box, row.typed)
		if strings.HasPrefix(row.box, "before") {
			s.click(read)
		} else {
			s.click(record)
		}
		s.has(row.says, "Cell 4 of 12")
		require.Equal(t, row.typed, s.value(row.box), row)
		require.Zero(t, y.taken(order.Entry), row)
		require.Equal(t, cell{Cell: 4}, y.cell(4), row)
	}
	// The same by a program.
	for _, row := range []struct {
		body, code string
		status     int
	}{
		{`{"action":"entry","by":"A","cells":[{"cell":4,"ml":500}]}`, "ask-past-ceiling", 409},
		{`{"action":"entry","by":"A","cells":[{"cell":3,"ml":89},{"cell":4,"level_mm":200}]}`, "above-vent-well", 409},
		{`{"action":"entry","by":"A","cells":[{"cell":4,"level_mm":-12}]}`, "below-tops", 400},
		{`{"action":"fill","by":"A","cell":4,"ml":500}`, "ask-past-ceiling", 409},
		{`{"action":"entry","by":"A","cells":[{"cell":4}]}`, "nothing-said", 400},
	} {
		status, answer := y.send("visit", row.body)
		require.Equal(t, row.status, status, answer)
		require.Contains(t, answer, `"code":"`+row.code+`"`, row.body)
		require.Zero(t, y.taken(order.Entry)+y.taken(order.Fill), row.body)
	}
}

// TestTwoPhonesOnOneCell: the second phone is shown the first one's water, and the
// same sheet sent twice is recorded once.
func TestTwoPhonesOnOneCell(t *testing.T) {
	b := browser(t)
	y := newReadyYard(t, 6, nil)
	first, second := tab(b, t, y.url, phoneWide, phoneHigh), tab(b, t, y.url, phoneWide, phoneHigh)
	y.visitor(first)
	first.toCell("4")
	second.toCell("4")
	first.write("#cell-ml", "89")
	first.click(record)
	second.write("#cell-ml", "85")
	second.write("#cell-by", "B. Person")
	second.click(record)
	second.has("Not recorded.", "Someone else has just recorded water for cell 4.", "given: 89 ml")
	second.shot("slip-two-phones")
	require.InDelta(t, 89, y.cell(4).GivenML, 0)

	first.open("/bays/bay-1/visit?step=sheet")
	second.open("/bays/bay-1/visit?step=sheet")
	first.press("#sheet-how")
	first.write("#sheet-ml-5", "89")
	of[any](first, `history.replaceState(null, "", location.href)`)
	first.click("main form button")
	first.has("Before you close the visit")
	first.do(chromedp.NavigateBack())
	first.press("#sheet-how")
	first.write("#sheet-ml-5", "89")
	first.click("main form button") // the browser's own copy of the page, with the same ID
	require.InDelta(t, 89, y.cell(5).GivenML, 0)
	second.press("#sheet-how")
	second.write("#sheet-ml-5", "89")
	second.write("#sheet-by", "B. Person")
	second.click("main form button")
	second.has("Someone else has just recorded water for cell 5.")
	require.InDelta(t, 89, y.cell(5).GivenML, 0)
}
