package browser_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/web"
)

// sent waits until the core has taken that many entries.
func (y *yard) sent(n int) {
	y.t.Helper()
	require.Eventually(y.t, func() bool { return y.taken(order.Entry) >= n }, time.Minute, 50*time.Millisecond)
}

// TestTilesAreEntries: what a tap on a tile means, and what takes it back.
func TestTilesAreEntries(t *testing.T) {
	b := browser(t)
	start := func(t *testing.T, change func(*web.Options)) (*yard, *thumb) {
		y := newReadyYard(t, 6, change)
		h := &thumb{screen: tab(b, t, y.url, phoneWide, phoneHigh)}
		y.visitor(h.screen)
		h.on(`document.getElementById("grid")`)
		return y, h
	}
	t.Run("undone in hand, nothing is recorded", func(t *testing.T) {
		y, h := start(t, nil)
		h.tap("#tile-4")
		h.tap(".undo")
		h.tap("#tile-5")
		h.tap("#tile-6")
		y.sent(1)
		require.False(t, y.cell(4).Done)
		require.Equal(t, "to-mark", y.cell(5).How)
	})
	t.Run("a glove that touches twice counts once", func(t *testing.T) {
		y, h := start(t, nil)
		h.tap("#tile-4")
		x, at := h.find("#tile-4")
		h.do(chromedp.MouseClickXY(x, at))
		h.tap("#tile-5")
		y.sent(1)
		h.open("/bays/bay-1/visit") // and leaving the page sends the other
		y.sent(2)
		require.Equal(t, 2, y.taken(order.Entry))
		require.InDelta(t, 90, y.cell(4).GivenML, 3)
	})
	t.Run("a second tap opens the cell", func(t *testing.T) {
		y, h := start(t, nil)
		h.tap("#tile-4")
		h.on(`(window.at ||= performance.now()) + 700 < performance.now()`)
		h.leads("#tile-4")
		h.has("Cell 4 of 12", "filled to the mark")
		require.Equal(t, "to-mark", y.cell(4).How)
	})
	t.Run("what is asked back waits for an answer", func(t *testing.T) {
		y, h := start(t, nil)
		h.tap("#tile-4")
		of[any](h.screen, `document.querySelector('#strip button[value="15"]').value = "21"`) // over the ceiling
		h.tap(`#strip button[value="21"]`)
		h.tap("#tile-5")
		h.on(says("21 mm is over"))
		h.shot("grid-asked")
		require.Zero(t, y.cell(4).GivenML)
		h.tap("#answers button:not(.calm)")
		y.sent(2)
		require.InDelta(t, 21, *y.cell(4).LevelAfterMM, 0.01)
	})
	t.Run("another phone was first", func(t *testing.T) {
		y, h := start(t, nil)
		second := &thumb{screen: tab(b, t, y.url, phoneWide, phoneHigh)}
		second.open("/bays/bay-1/visit")
		second.write("#cell-by", "B. Person")
		second.on(`document.getElementById("tile-4").tagName === "BUTTON"`)
		h.tap("#tile-4")
		second.tap("#tile-4") // both have it in hand
		h.tap("#tile-5")
		y.sent(1)
		second.tap("#tile-6")
		second.on(says("Someone else has just recorded water for cell 4."))
		second.shot("grid-second-phone")
		require.Equal(t, "to-mark", y.cell(4).How)
		require.InDelta(t, 90, y.cell(4).GivenML, 3)
	})
	t.Run("in Spanish", func(t *testing.T) {
		_, h := start(t, func(o *web.Options) { o.Language = "es" })
		h.tap("#tile-4")
		h.look("grid-spanish")
		h.shot("grid-spanish-whole")
	})
	t.Run("in inches", func(t *testing.T) {
		y, h := start(t, func(o *web.Options) { o.Units = "us" })
		h.tap("#tile-4")
		h.tap(`#strip button[value="1/2"]`)
		h.look("grid-inches")
		h.tap("#tile-5")
		y.sent(1)
		require.InDelta(t, 12.7, *y.cell(4).LevelAfterMM, 0.01, "1/2 in of 25.4 mm")
	})
	t.Run("dark", func(t *testing.T) {
		_, h := start(t, nil)
		_, err := chromedp.Call(h.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}},
		})
		require.NoError(t, err)
		h.tap("#tile-4")
		h.look("grid-dark")
		h.shot("grid-dark-whole")
	})
}

// TestTilesWithoutScripts: each tap is a form of its own, and nothing needs a script.
func TestTilesWithoutScripts(t *testing.T) {
	b := browser(t)
	y := newReadyYard(t, 6, nil)
	s := tab(b, t, y.url, phoneWide, phoneHigh)
	_, err := chromedp.Call(s.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	y.visitor(s)
	s.click("#tile-1")
	s.has("Cell 1:", "filled to the mark")
	s.click(`#strip button[value="14"]`)
	s.click("#tile-2")
	of[any](s, `void history.back()`) // the browser's own copy, with the same ID; it may need no answer
	require.Eventually(t, func() bool {
		back, err := chromedp.Run(s.ctx, chromedp.Evaluate[bool](`location.search === "?at=1" && document.readyState === "complete"`))
		return err == nil && back
	}, time.Minute, 50*time.Millisecond)
	s.click("#tile-3")
	for _, n := range []string{"4", "5", "6", "7", "8", "9", "10", "11", "12"} {
		s.click("#tile-" + n)
	}
	for n := 1; n <= 12; n++ {
		require.Equal(t, "to-mark", y.cell(n).How, n)
	}
	require.InDelta(t, 14, *y.cell(1).LevelAfterMM, 0.01)
	s.tickAll()
	s.click(".close-now")
	s.has("The visit is closed and recorded.")
}

// TestEntriesWaitForTheConnection: a phone in a dead spot keeps what is tapped, also over
// its own death, and sends each entry once, with the time that it waited.
func TestEntriesWaitForTheConnection(t *testing.T) {
	b := browser(t)
	y := newReadyYard(t, 6, nil)
	w := newWire(t, y.url[len("http://"):])
	h := &thumb{screen: tab(b, t, "http://"+w.address(), phoneWide, phoneHigh)}
	y.visitor(h.screen)
	h.on(`document.getElementById("grid")`)
	h.tap("#tile-1")
	h.tap("#tile-2")
	y.sent(1)
	w.cut()
	for _, n := range []string{"3", "4", "5"} {
		h.tap("#tile-" + n)
	}
	h.tap(".tools .close")
	h.on(`!document.querySelector(".unsent").hidden`)
	h.look("grid-unsent")
	require.Equal(t, "/bays/bay-1/visit", of[string](h.screen, "location.pathname"), "the open page is not left for one that cannot load")
	of[any](h.screen, `Object.keys(localStorage).forEach(key => { const e = JSON.parse(localStorage[key]); e.made -= 300000; localStorage[key] = JSON.stringify(e); })`)
	y.run(10 * time.Minute) // the visit is older than the wait
	w.repair()
	h.open("/bays/bay-1/visit") // as after the phone has died
	y.sent(5)
	for _, n := range []int{1, 2, 3, 4, 5} {
		require.Equal(t, "to-mark", y.cell(n).How, n)
		require.InDelta(t, 90, y.cell(n).GivenML, 3, n)
	}
	h.on(`!Object.keys(localStorage).some(key => key.startsWith("bayward-entry:"))`)
	require.Equal(t, 5, y.taken(order.Entry))
	notes := 0
	for _, o := range y.ordered(order.Entry) {
		if strings.HasSuffix(o.Note, ", 5 min before it was sent.") {
			notes++
		}
	}
	require.GreaterOrEqual(t, notes, 3)
}

// news has the page fetch what is new, and waits until it shows it.
func (h *thumb) news() {
	h.t.Helper()
	of[any](h.screen, `new Promise(done => {
		document.addEventListener("fresh", done, { once: true });
		document.dispatchEvent(new Event("visibilitychange"));
	}).then(() => null)`, chromedp.EvalAwaitPromise)
}

// TestNothingMovesUnderAFinger: a tap that goes down while news arrive is not lost.
func TestNothingMovesUnderAFinger(t *testing.T) {
	_, h := visiting(t, nil)
	of[any](h.screen, `void (() => {
		const real = window.fetch;
		window.fetch = async (...asked) => {
			const answer = await real(...asked);
			const text = await answer.text();
			answer.text = async () => {
				document.getElementById("tile-1").dispatchEvent(new PointerEvent("pointerdown", { bubbles: true }));
				setTimeout(() => { window.came = true; });
				return text.replace(/<li>/g, "<li><i></i>"); // other tiles
			};
			return answer;
		};
		window.tile = document.getElementById("tile-1");
		document.dispatchEvent(new Event("visibilitychange"));
	})()`)
	h.on(`window.came`)
	require.True(t, of[bool](h.screen, `document.getElementById("tile-1") === window.tile`), "the tile under the finger was replaced")
}

// TestTicksStayWhileEntriesWait: what is entered does not get through and the page still follows. The agent
// does not show the closing points yet; those that are ticked on this phone stay ticked.
func TestTicksStayWhileEntriesWait(t *testing.T) {
	y, h := visiting(t, nil)
	y.deaf.Store(true)
	for n := 1; n <= 12; n++ {
		h.tap("#tile-" + strconv.Itoa(n))
	}
	h.on(`document.getElementById("close-form").checkVisibility()`)
	h.confirms()
	for range 2 {
		h.news() // which also shows again what waits
		require.Equal(t, 12, of[int](h.screen, waiting))
		require.Equal(t, len(order.VisitClose.Row().Confirm), of[int](h.screen, `document.querySelectorAll("#closing input[type=checkbox]:checked").length`))
	}
	require.Zero(t, y.taken(order.Entry))
	y.deaf.Store(false)
	y.sent(12)
	h.on(waiting + " === 0")
	h.leads(".close-now")
	h.on(says("The visit is closed and recorded."))
	require.Equal(t, 12, y.taken(order.Entry))
	require.Nil(t, y.read().Visit)
}

// TestTicksStayThroughNews: a phone that does not move the focus to a tick still keeps it
// when the page follows the agent.
func TestTicksStayThroughNews(t *testing.T) {
	y, h := visiting(t, nil)
	for n := 1; n <= 12; n++ {
		h.tap("#tile-" + strconv.Itoa(n))
	}
	h.on(waiting + " === 0")
	h.on(`document.getElementById("close-form").checkVisibility()`)
	h.confirms()
	news := func() {
		of[any](h.screen, `void (document.getElementById("close-form").dataset.old = "yes")`)
		h.news()
	}
	news()
	require.False(t, of[bool](h.screen, `Boolean(document.getElementById("close-form").dataset.old)`), "the part is the same as before: nothing was shown")
	require.Zero(t, of[int](h.screen, `document.querySelectorAll("#closing input:not([type=hidden]):not(:checked):not([type=text])").length`))
	visit := of[string](h.screen, `document.getElementById("bar").dataset.visit`)
	require.NotEmpty(t, visit)
	of[any](h.screen, `void (document.getElementById("bar").dataset.visit = "another")`) // as if this page were of an earlier visit
	news()
	require.Equal(t, len(order.VisitClose.Row().Confirm), of[int](h.screen, `document.querySelectorAll("#closing input[type=checkbox]:not(:checked)").length`), "another visit is confirmed again")
	of[any](h.screen, `void (document.getElementById("bar").dataset.visit = `+strconv.Quote(visit)+`)`)
	h.confirms()
	h.leads(".close-now")
	h.on(says("The visit is closed and recorded."))
	require.Nil(t, y.read().Visit)
}
