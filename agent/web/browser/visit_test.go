package browser_test

import (
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// phoneWide and phoneHigh are the smallest phone that the page is designed for.
const phoneWide, phoneHigh = 360, 740

func says(words string) string {
	return "document.body.innerText.includes(" + strconv.Quote(words) + ")"
}

// TestAVisitOnAPhone goes from the overview with bare plates to the closed visit,
// using only what the screens show.
func TestAVisitOnAPhone(t *testing.T) {
	b := browser(t)
	url := demo(t, "--speed", "20")
	s := tab(b, t, url, phoneWide, phoneHigh)
	s.open("/")
	s.until(says("Plates are dry"))
	s.has("Water to bring:", "not a certified safety device")
	s.shot("phone-overview")
	s.open("/bays/bay-1")
	s.has("Danger", "Water to cover the plates")
	s.shot("phone-bay")
	s.open("/")
	s.click(`.work a[href="/bays/bay-1/visit"]`)
	s.has("Only cover the plates on this visit", "face shield", "Eyewash or shower works")
	s.shot("phone-cautions")
	s.tickAll()
	s.write(`input[name=by]`, "A. Person")
	s.click("form button:not(.calm)")
	s.has("locked out", "0 of 12 cells done", "Then look with the level rod")
	s.shot("phone-grid")
	s.open("/bays/bay-1/visit?step=water")
	s.has("The water", "locked out")
	s.shot("phone-water")
	s.write(`input[name=us]`, "4.5")
	s.click(`form[action$="/visit"] button`)
	s.has("Cell 1 of 12", "Add ", "Water: 4.5")
	s.shot("phone-cell")

	// A slip first: the form stays as it was.
	s.write("#cell-ml", "letters")
	s.click("button.wide")
	s.has("is not accepted", "must be a number from 0 to 2000")
	require.Equal(t, "letters", s.value("cell-ml"))
	s.shot("phone-letters")
	s.write("#cell-ml", "110")
	s.press("button.plus")
	require.Equal(t, "120", s.value("cell-ml"))

	for n := 1; n <= 12; n++ {
		s.has("Cell " + strconv.Itoa(n) + " of 12")
		if n == 6 { // the phone dies: the person continues with another at the same point
			s = tab(b, t, url, phoneWide, phoneHigh)
			s.open("/bays/bay-1/visit")
			s.has("5 of 12 cells done")
			s.shot("phone-resumed")
			s.open("/bays/bay-1/visit?cell=6")
			s.write("#cell-by", "A. Person")
		}
		if n == 1 { // enough at once
			s.click(record)
			continue
		}
		s.click(propose)
		s.has("Cell "+strconv.Itoa(n)+" of 12", "Look again")
		s.write("#before-level", "5")
		s.click(read)
	}
	s.has("Before you close the visit", "12 of 12 cells done")
	s.shot("phone-close")
	s.tickAll()
	s.click("button.wide")
	s.has("The visit is closed and recorded.")
	s.shot("phone-done")

	// Back shows the earlier page; sending it again does not close the visit twice.
	s.do(chromedp.NavigateBack())
	s.has("Before you open a visit")
}

// TestLiveWithoutReload: the page follows the bay, shows when it is cut off and
// recovers by itself.
func TestLiveWithoutReload(t *testing.T) {
	b := browser(t)
	wire := newWire(t, strings.TrimPrefix(demo(t, "--speed", "600"), "http://"))
	s := tab(b, t, "http://"+wire.address(), 1280, 800)
	s.open("/")
	of[chromedp.Void](s, "window.same = true")
	s.until(says("Charging"))
	require.True(t, of[bool](s, "window.same === true"), "the page was loaded again")
	wire.cut()
	s.until("!document.getElementById('lost').hidden")
	wire.repair()
	s.until("document.getElementById('lost').hidden")
	require.True(t, of[bool](s, "window.same === true"), "the page was loaded again")
}

// TestWallSpanishDarkAndUS: a wide dark screen in the other language and units, and
// a phone without scripts.
func TestWallSpanishDarkAndUS(t *testing.T) {
	b := browser(t)
	url := demo(t, "--speed", "3600")
	s := tab(b, t, url, 1920, 1080)
	_, err := chromedp.Call(s.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}},
	})
	require.NoError(t, err)
	s.open("/")
	s.until(says("Fill to the mark"))
	s.shot("wide-dark")
	s.open("/bays/bay-4")
	s.until("document.querySelectorAll('.chart canvas').length === 4")
	s.shot("wall-dark-bay")
	// Dragging over one curve zooms all curves, and the button resets them.
	box := of[[]float64](s, `(() => { const over = document.querySelector(".chart .u-over"); over.scrollIntoView({block: "center", behavior: "instant"});
		const box = over.getBoundingClientRect(); return [box.left, box.top, box.width]; })()`)
	s.do(chromedp.DragAndDropXY(box[0]+box[2]*0.3, box[1]+40, box[0]+box[2]*0.6, box[1]+40, 10))
	s.until("document.getElementById('night').dataset.closer === 'yes'")
	s.shot("wall-dark-closer")
	s.press("#night .zoom button")
	s.until("document.getElementById('night').dataset.closer === ''")
	s.press("footer summary")
	of[chromedp.Void](s, `document.querySelector("select[name=language]").value = "es"; document.querySelector("select[name=units]").value = "us"`)
	s.click("footer form[action='/settings'] button")
	s.has("Precaución", "°F", "fl oz")
	for _, path := range []string{"/", "/bays/bay-4", "/bays/bay-4/visit", "/first-aid", "/sheet"} {
		s.open(path)
		s.shot("spanish" + strings.ReplaceAll(path, "/", "-"))
		require.NotContains(t, s.text(), "⟦")
	}
	// The sheet of a yard with four bays fits on one page of paper.
	s.open("/sheet")
	pdf, err := chromedp.Run(s.ctx, chromedp.PrintToPDF())
	require.NoError(t, err)
	require.Len(t, regexp.MustCompile(`/Type /Page\b`).FindAll(pdf, -1), 1, "pages")
	off := tab(b, t, url, phoneWide, phoneHigh)
	_, err = chromedp.Call(off.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	off.open("/bays/bay-4")
	off.has("The cells, drawn to scale", "The last hours", "Battery voltage")
	off.open("/")
	off.has("bays need someone")
}

// TestThePlottingLibraryIsUnchanged: the embedded library is the published one.
func TestThePlottingLibraryIsUnchanged(t *testing.T) {
	for ours, theirs := range map[string]string{"uplot.js": "dist/uPlot.iife.min.js", "uplot.css": "dist/uPlot.min.css", "LICENSE": "LICENSE"} {
		published, err := os.ReadFile("node_modules/uplot/" + theirs)
		if err != nil {
			missing(t, "uplot is not installed: npm ci in agent/web/browser")
		}
		embedded, err := os.ReadFile("../page/uplot/" + ours)
		require.NoError(t, err)
		require.Equal(t, string(published), string(embedded), ours)
	}
}
