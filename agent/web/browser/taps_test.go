package browser_test

import (
	"context"
	"fmt"
	"strconv"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/web"
)

// thumb taps what is on the screen and counts. It never scrolls: what is not on the
// screen, or has something over it, or is smaller than a gloved thumb, fails.
type thumb struct {
	*screen
	wire *wire // of a phone that can be cut off
	taps int
}

const smallestTarget = 48 // pixels; tiles and keys are 56 high

func (h *thumb) tap(selector string) {
	h.t.Helper()
	x, y := h.find(selector)
	h.do(chromedp.MouseClickXY(x, y))
	h.taps++
}

// leads taps what leads to another page.
func (h *thumb) leads(selector string) {
	h.t.Helper()
	x, y := h.find(selector)
	ctx, cancel := context.WithTimeout(h.ctx, 30*time.Second)
	defer cancel()
	_, err := chromedp.RunResponse(ctx, chromedp.MouseClickXY(x, y))
	require.NoError(h.t, err, selector)
	h.taps++
	h.on("true")
}

func (h *thumb) find(selector string) (x, y float64) {
	h.t.Helper()
	find := fmt.Sprintf(`(() => {
		const e = [...document.querySelectorAll(%q)].find(e => e.checkVisibility() && !e.closest(".still"));
		if (!e) return null;
		const b = (e.closest("label") || e).getBoundingClientRect(), x = b.left + b.width / 2, y = b.top + b.height / 2;
		const top = document.elementFromPoint(x, y);
		const foot = document.querySelector(".foot");
		const below = foot && !foot.contains(e) && !e.closest("dialog") && foot.checkVisibility() ? foot.getBoundingClientRect().top - b.bottom : 0;
		return [x, y, b.top, below < 0 ? 1e6 : b.bottom, b.height, b.width, top && (e.contains(top) || top.contains(e)) ? 1 : 0, scrollY, innerHeight];
	})()`, selector)
	h.until("(" + find + ") !== null")
	at := of[[]float64](h.screen, find)
	require.Len(h.t, at, 9, selector)
	require.GreaterOrEqual(h.t, at[2], 0.0, "%s is above the screen", selector)
	require.LessOrEqual(h.t, at[3], at[8], "%s is below the fold: %v", selector, at)
	require.GreaterOrEqual(h.t, min(at[4], at[5]), float64(smallestTarget), "%s is too small", selector)
	require.Equal(h.t, 1.0, at[6], "%s is covered", selector)
	require.Zero(h.t, at[7], "the page has scrolled before %s", selector)
	return at[0], at[1]
}

// on waits for a page and for its script.
func (h *thumb) on(expression string) {
	h.t.Helper()
	h.until(`document.readyState === "complete" && Boolean(` + expression + `)`)
}

// opens goes from the work list to the open visit.
func (h *thumb) opens() {
	h.t.Helper()
	h.on(`document.querySelector(".work a")`)
	h.leads(`.work a[href$="/visit"]`)
	h.on(`document.querySelector("fieldset.ticks")`)
	for of[int](h.screen, `[...document.querySelectorAll("fieldset.ticks:not(.folded) input:not(:checked)")].length`) > 0 {
		h.tap(`fieldset.ticks:not(.folded) label.tick:not(:has(:checked))`)
	}
	h.leads(".foot button")
	h.on(`document.getElementById("grid")`)
}

// closes goes from the last cell to the closed visit.
func (h *thumb) closes() {
	h.t.Helper()
	for range order.VisitClose.Row().Confirm {
		h.tap(`#closing label.tick:not(:has(:checked))`)
	}
	h.leads(`.close-now`)
	h.on(`document.querySelector("main .says")`)
}

// readAt is the level that the test reads in a cell, mm.
func readAt(cell int) int { return 12 + cell%3 }

// TestTaps counts the taps from the work list to the closed visit, each confirmation
// included, on a phone of 360 by 740 without a swipe. The bounds are those that the page
// was designed for.
func TestTaps(t *testing.T) {
	b := browser(t)
	hash, err := web.HashPIN("4711-quarry")
	require.NoError(t, err)
	people := func(o *web.Options) {
		o.People = []web.Person{{Name: "A. Person", Right: order.MayRelease, Hash: hash}}
	}
	for _, row := range []struct {
		cells           int
		levels, gravity bool
		first           bool // bay of the round
		most            int
		language        string
	}{
		{12, false, false, true, 26, "en"}, {12, false, false, false, 22, "en"}, {12, true, false, false, 34, "en"}, {12, false, true, false, 70, "en"},
		{24, false, false, false, 34, "en"}, {24, true, false, false, 58, "en"}, {24, false, true, false, 130, "en"},
		{12, false, false, true, 26, "es"}, {24, true, false, false, 58, "es"},
	} {
		name := fmt.Sprintf("%s, %d cells, levels %v, gravity %v, first %v", row.language, row.cells, row.levels, row.gravity, row.first)
		t.Run(name, func(t *testing.T) {
			y := newReadyYardOf(t, row.cells, 6, func(o *web.Options) { people(o); o.Language = row.language })
			h := &thumb{screen: tab(b, t, y.url, phoneWide, phoneHigh)}
			h.open("/sign-in")
			h.write("input[name=name]", "A. Person")
			h.write("input[name=pin]", "4711-quarry")
			h.click("form[action='/sign-in'] button")
			if !row.first { // the round was confirmed at another bay
				h.opens()
				y.leaves(h.screen)
				h.open("/")
			}
			h.taps = 0
			h.opens()
			shot := fmt.Sprintf("taps-%s-%d", row.language, row.cells)
			h.look(shot + "-grid")
			if row.gravity {
				h.tap(".gravity")
				for n := range row.cells {
					for _, d := range strconv.Itoa(1262 + n%5) {
						h.tap(fmt.Sprintf(`[data-digit="%c"]`, d))
					}
				}
				h.look(shot + "-gravity")
			}
			for n := 1; n <= row.cells; n++ {
				h.tap(fmt.Sprintf("#tile-%d", n))
				if row.levels {
					h.tap(fmt.Sprintf(`#strip button[value="%d"]`, readAt(n)))
				}
				if n == 3 {
					h.look(fmt.Sprintf("%s-hand-%v", shot, row.levels))
				}
			}
			h.look(shot + "-closing")
			h.closes()
			y.run(bay.VisitForgottenAfter)
			given, levels, gravities := 0, 0, 0
			for _, o := range y.ordered(order.Entry) {
				for _, c := range o.Cells {
					if c.How == order.ToMark {
						given++
					}
					if row.levels && c.LevelMM != nil && *c.LevelMM == float64(readAt(c.Cell)) {
						levels++
					}
					if c.Gravity != nil {
						gravities++
					}
				}
			}
			require.Equal(t, row.cells, given)
			require.Equal(t, map[bool]int{true: row.cells}[row.levels], levels)
			require.Equal(t, map[bool]int{true: row.cells}[row.gravity], gravities)
			require.NotContains(t, y.codes(), "visit-open")
			t.Logf("figure: %s: %d taps of at most %d", name, h.taps, row.most)
			require.LessOrEqual(t, h.taps, row.most)
		})
	}
}
