package browser_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/web"
)

// visitor opens a visit on a phone and goes to a cell.
func (y *yard) visitor(s *screen) {
	y.t.Helper()
	s.open("/bays/bay-1/visit")
	s.tickAll()
	s.write("#open-by", "A. Person")
	s.click("form button:not(.calm)")
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
			y := newYard(t, 6, func(o *web.Options) { o.Language = language })
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
			s.write("#cell-after", "4")
			s.click(record)
			require.InDelta(t, map[string]float64{"en": 110, "es": 117.5}[language], y.cell(4).GivenML, 0.1)
			require.Equal(t, 1, y.taken(order.Entry))
		}
	})
	t.Run("14 a form comes back filled in", func(t *testing.T) {
		y := newYard(t, 6, nil)
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
	t.Run("12 gravity as people write it, with a verdict", func(t *testing.T) {
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
