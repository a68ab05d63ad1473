package browser_test

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/web"
)

const (
	installed  = `navigator.serviceWorker.controller?.state === "activated"`
	cacheNames = `(async () => (await caches.keys()).sort())()`
	keptPages  = `(async () => (await (await caches.open("bayward-pages")).keys()).map(r => new URL(r.url).pathname).sort())()`
)

// waits polls a promise in the page until it gives that list.
func (s *screen) waits(expression string, want ...string) {
	s.t.Helper()
	text := `["` + strings.Join(want, `","`) + `"]`
	if len(want) == 0 {
		text = "[]"
	}
	s.until(`(() => { ` + expression + `.then(all => { window.found = JSON.stringify(all); }); return window.found === '` + text + `'; })()`)
}

// installedPhone opens the page through a wire and waits until it is installed. A browser
// takes its own machine for as safe as TLS.
func installedPhone(t *testing.T, y *yard) (*thumb, *wire) {
	t.Helper()
	w := newWire(t, strings.TrimPrefix(y.url, "http://"))
	h := &thumb{screen: tab(browser(t), t, "http://"+w.address(), phoneWide, phoneHigh)}
	h.open("/first-aid")
	h.on(installed)
	return h, w
}

// TestTheInstalledPageInADeadSpot: first aid, cautions, the sheet and the open visit load
// without a connection, with their age and without a word on the permit; entries are
// sent once when there is one.
func TestTheInstalledPageInADeadSpot(t *testing.T) {
	for _, language := range []string{"en", "es"} {
		t.Run(language, func(t *testing.T) {
			y := newReadyYard(t, 6, func(o *web.Options) { o.Language = language })
			h, w := installedPhone(t, y)
			h.open("/sheet")
			y.visitor(h.screen)
			h.on(`document.getElementById("grid")`)
			h.open("/bays/bay-1/visit")
			h.waits(keptPages, "/bays/bay-1/visit", "/sheet")
			h.open("/")
			require.True(t, of[bool](h.screen, `document.querySelector("link[rel=manifest]") !== null`))
			w.cut()

			h.open("/")
			h.has(map[string]string{"en": "Nothing on this page says whether charging is blocked", "es": "Nada en esta página dice si la carga está bloqueada"}[language], "bay-1")
			h.shot("app-offline-" + language)
			h.open("/first-aid")
			h.has(map[string]string{"en": "Skin", "es": "Piel"}[language])
			h.open("/sheet")
			h.on(`document.body.classList.contains("stale")`)
			h.has(map[string]string{"en": "No connection since", "es": "Sin conexión desde"}[language])
			require.Zero(t, of[int](h.screen, `[...document.querySelectorAll(".now")].filter(e => e.checkVisibility()).length`))
			h.look("app-sheet-" + language)
			h.open("/bays/bay-1/visit")
			h.on(`document.body.classList.contains("stale")`)
			require.Zero(t, of[int](h.screen, `[...document.querySelectorAll(".now")].filter(e => e.checkVisibility()).length`))
			h.tap("#tile-4")
			h.here("5", map[string]string{"ml": "85", "gravity": "1265"})
			h.tap("#cell-here .keep")
			h.on(waiting + " === 3")
			h.open("/bays/bay-1/visit") // the phone has died
			h.on(`document.querySelectorAll(".tile.pending.done").length === 2`)
			h.look("app-visit-" + language)
			h.shot("app-visit-whole-" + language)

			w.repair()
			y.sent(3)
			require.Eventually(t, func() bool { // the page loads itself again, whole
				done, err := chromedp.Run(h.ctx, chromedp.Evaluate[bool](`document.readyState === "complete" && !document.body.dataset.saved && `+waiting+` === 0`))
				return err == nil && done
			}, time.Minute, 100*time.Millisecond)
			require.Equal(t, 3, y.taken(order.Entry))
			require.Equal(t, "to-mark", y.cell(4).How)
			require.InDelta(t, 85, y.cell(5).GivenML, 0.01)
			require.InDelta(t, 1.265, *y.cell(5).Gravity, 0.0001)

			y.leaves(h.screen)
			h.waits(keptPages, "/sheet") // a visit that is closed is kept no longer
		})
	}
}

// TestCopiesGoWithTheirPersonAndVersion: who signs in or out leaves nothing for the next,
// and a new version of the agent renews what is kept.
func TestCopiesGoWithTheirPersonAndVersion(t *testing.T) {
	hash, err := web.HashPIN("4711-quarry")
	require.NoError(t, err)
	y := newReadyYard(t, 6, func(o *web.Options) {
		o.People = []web.Person{{Name: "A. Person", Right: order.MayRelease, Hash: hash}, {Name: "B. Person", Right: order.MayRelease, Hash: hash}}
	})
	h, w := installedPhone(t, y)
	enter := func(name string) {
		h.open("/sign-in")
		h.write("input[name=name]", name)
		h.write("input[name=pin]", "4711-quarry")
		h.click("form[action='/sign-in'] button")
	}
	enter("A. Person")
	h.open("/bays/bay-1/visit")
	h.tickAll()
	h.click("main form button:not(.calm)")
	h.open("/sheet")
	h.open("/bays/bay-1/visit")
	h.waits(keptPages, "/bays/bay-1/visit", "/sheet")
	w.cut()
	h.tap("#tile-4")
	h.tap(".tools .close")
	h.on(`!document.querySelector(".unsent").hidden`)
	w.repair()
	// A's own entry could be sent now; another person takes the phone first.
	of[any](h.screen, `Object.keys(localStorage).filter(key => key.startsWith("bayward-entry:")).forEach(key => { const e = JSON.parse(localStorage[key]); e.id += "-b"; e.fields.by = "B. Person"; localStorage["bayward-entry:" + e.id] = JSON.stringify(e); })`)
	h.open("/bays/bay-1/visit")
	y.sent(1)
	h.on(says("Entries of B. Person wait on this phone."))
	h.look("app-other-person")
	require.Equal(t, "A. Person", y.ordered(order.Entry)[0].By)
	h.waits(keptPages, "/bays/bay-1/visit", "/sheet")
	h.click("form[action='/sign-out'] button")
	h.waits(keptPages)
	w.cut()
	h.open("/sheet")
	h.has("No connection", "Nothing on this page says whether charging is blocked")
	h.hasNot("Visit sheet")
	w.repair()

	before := of[[]string](h.screen, cacheNames, chromedp.EvalAwaitPromise)
	y.options.Version = "next"
	y.page.Store(new(web.New(y.options)))
	h.open("/first-aid")
	h.until(`(() => { ` + cacheNames + `.then(all => { window.found = all.filter(n => n !== "bayward-pages"); });
		return window.found?.length === 1 && !["` + strings.Join(before, `","`) + `"].includes(window.found[0]); })()`)
}

// TestNothingIsInstalledWithoutTLS: over plain HTTP the page is as it is, and nothing is
// kept in the browser's name.
func TestNothingIsInstalledWithoutTLS(t *testing.T) {
	y := newReadyYard(t, 6, nil)
	_, port, _ := strings.Cut(strings.TrimPrefix(y.url, "http://"), ":")
	h := &thumb{screen: tab(browser(t), t, "http://shed-2.local:"+port, phoneWide, phoneHigh)}
	y.visitor(h.screen)
	h.on(`document.getElementById("grid")`)
	require.False(t, of[bool](h.screen, `isSecureContext`))
	require.False(t, of[bool](h.screen, `"serviceWorker" in navigator`))
	h.tap("#tile-4")
	h.tap("#tile-5")
	y.sent(1)
}
