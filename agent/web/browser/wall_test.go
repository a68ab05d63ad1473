package browser_test

import (
	"fmt"
	"net/http"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/web"
)

// several shows a yard of that many bays: copies of the one that is there, in different
// need.
func several(n int) func(*web.Options) {
	return func(o *web.Options) {
		one := o.Pictures
		o.Pictures = func() (all []*bay.Picture) {
			for i := range n {
				p := one()[0].Clone()
				p.Bay = fmt.Sprintf("bay-%d", i+1)
				switch i % 4 {
				case 1:
					p.Stage, p.Permit.Granted = bay.Waiting, false
					p.Findings[interlock.PlatesBare].Raised = true
				case 2:
					p.Stage = bay.Charging
				case 3:
					p.Stage = bay.Rested
				}
				all = append(all, p)
			}
			return all
		}
	}
}

// TestWall: 1 to 16 bays on one screen of 1920 by 1080 without scrolling, the text of
// each at least 4 % of the height, with a look-only key and nothing to press.
func TestWall(t *testing.T) {
	b := browser(t)
	hash, err := web.HashPIN("4711-quarry")
	require.NoError(t, err)
	const key = "a-key-that-nobody-guesses"
	for _, n := range []int{1, 4, 8, 16} {
		y := newReadyYard(t, 6, func(o *web.Options) {
			several(n)(o)
			o.WallKey, o.People = key, []web.Person{{Name: "A. Person", Right: order.MayRelease, Hash: hash}}
			o.Language = map[bool]string{true: "es", false: "en"}[n == 8]
		})
		s := tab(b, t, y.url, 1920, 1080)
		if n == 16 {
			_, err := chromedp.Call(s.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
				Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}},
			})
			require.NoError(t, err)
		}
		s.open("/wall?key=" + key)
		s.until(fmt.Sprintf(`document.querySelectorAll(".board li").length === %d`, n))
		require.LessOrEqual(t, of[float64](s, `document.documentElement.scrollHeight`), 1080.0, n)
		require.Equal(t, n, of[int](s, `[...document.querySelectorAll(".board li")].filter(li => { const b = li.getBoundingClientRect(), f = document.querySelector("footer").getBoundingClientRect(); return b.top >= 0 && b.bottom <= f.top && b.height >= parseFloat(getComputedStyle(li).fontSize) && li.scrollHeight <= li.clientHeight; }).length`), "whole lines")
		require.GreaterOrEqual(t, of[float64](s, `parseFloat(getComputedStyle(document.querySelector(".board li")).fontSize)`), 0.04*1080)
		require.Zero(t, of[int](s, `document.querySelectorAll("form, button, a, input").length`), "nothing to press")
		s.until(`/^\d\d:\d\d$/.test(document.getElementById("clock").textContent)`)
		s.look(fmt.Sprintf("wall-%d", n))
		of[any](s, s.axe)
		faults := of[[]string](s, `(async () => (await axe.run(document)).violations.map(v => v.id + ": " + v.nodes[0].html))()`, chromedp.EvalAwaitPromise)
		require.Empty(t, faults)
		if n > 1 {
			require.Equal(t, "bay-2", of[string](s, `document.querySelector(".board b").textContent`), "danger first")
			require.Contains(t, of[string](s, `document.getElementById("summary").textContent`), "bay-2")
		}
		if n == 4 {
			for path, want := range map[string]int{"/wall": 303, "/wall?key=" + key + "x": 303, "/wall?key=" + key: 200, "/?key=" + key: 303, "/bays/bay-1?key=" + key: 303, "/api/v1/bays?key=" + key: 401} {
				require.Equal(t, want, status(t, y.url+path), path)
			}
		}
	}
}

// status returns the status of an address, without following it.
func status(t *testing.T, url string) int {
	t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Get(url)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	return answer.StatusCode
}

// TestEightBaysOnOnePhone: the work list of eight bays is on one screen of 360 by 740,
// each line a target for a glove, in both languages.
func TestEightBaysOnOnePhone(t *testing.T) {
	b := browser(t)
	for _, language := range []string{"en", "es"} {
		y := newReadyYard(t, 6, func(o *web.Options) { several(8)(o); o.Language = language })
		s := tab(b, t, y.url, phoneWide, phoneHigh)
		s.open("/")
		require.Equal(t, []string{"bay-2", "bay-6", "bay-1", "bay-5", "bay-3", "bay-7"}, of[[]string](s, `[...document.querySelectorAll("#bays > ul b")].map(b => b.textContent)`), "danger first")
		shown := of[int](s, `[...document.querySelectorAll("#bays > ul a, #bays summary")].filter(a => { const b = a.getBoundingClientRect(); return b.height >= 48 && b.bottom <= innerHeight; }).length`)
		t.Logf("figure: %s: %d lines and the folded one on the first screen of %d pixels; the last ends at %.0f", language, shown-1, phoneHigh,
			of[float64](s, `document.querySelector("#bays summary").getBoundingClientRect().bottom`))
		require.Equal(t, 7, shown, "six lines, and the two quiet ones folded")
		s.look("work-list-" + language)
		s.shot("work-list-whole-" + language)
	}
}

// TestWeights: what each page takes over the wire, with all that it loads: the first view
// at most 40 kB, a bay with its curves 120 kB.
func TestWeights(t *testing.T) {
	b := browser(t)
	y := newReadyYard(t, 6, several(8))
	for path, most := range map[string]int{"/": 40_000, "/bays/bay-1/visit": 60_000, "/bays/bay-1": 120_000, "/wall": 40_000} {
		s := tab(b, t, y.url, phoneWide, phoneHigh)
		s.open(path)
		s.until(`document.readyState === "complete"`)
		bytes := of[int](s, `[...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")].filter(e => !e.name.includes("/live")).reduce((sum, e) => sum + e.transferSize, 0)`)
		t.Logf("figure: %s: %d bytes over the wire", path, bytes)
		require.Positive(t, bytes)
		require.LessOrEqual(t, bytes, most, path)
	}
}
