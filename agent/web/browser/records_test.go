package browser_test

import (
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// scheme asks for light or dark.
func (s *screen) scheme(name string) {
	s.t.Helper()
	_, err := chromedp.Call(s.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}},
	})
	require.NoError(s.t, err)
}

// TestRecordsAreOfTheSameHouse: the record and a report have the head, the foot, the
// ground, the type and the languages of every page, fit on a phone, in light and dark.
func TestRecordsAreOfTheSameHouse(t *testing.T) {
	b := browser(t)
	url := demo(t, "--by-hand=false", "--speed", "3600", "--logbook", filepath.Join(t.TempDir(), "demo.db"))
	const look = `(() => { const at = (e, names) => names.map(n => getComputedStyle(e)[n]).join("; ");
		return [at(document.body, ["fontFamily", "fontSize", "color", "backgroundColor"]), at(document.querySelector("header .home"), ["fontSize", "color"]),
			at(document.querySelector("main .caution"), ["fontSize", "lineHeight", "color", "backgroundColor", "borderWidth"]), document.querySelector("header").innerText, document.documentElement.lang,
			document.querySelector("footer").innerText.split("\n")[0]]; })()`
	// The pack's first charge and visit are in the record soon.
	const recorded = `(async () => {
		while (!(await (await fetch("/records?pack=lift-a")).text()).includes('class="sum"'))
			await new Promise(done => setTimeout(done, 500));
		return true;
	})()`
	for _, language := range []string{"en", "es"} {
		for _, theme := range []string{"light", "dark"} {
			s := tab(b, t, url, phoneWide, phoneHigh)
			s.scheme(theme)
			s.open("/first-aid")
			s.press("footer summary")
			of[chromedp.Void](s, `document.querySelector("select[name=language]").value = "`+language+`"`)
			s.click("footer form[action='/settings'] button")
			s.open("/")
			house := of[[]string](s, look)
			of[bool](s, recorded, chromedp.EvalAwaitPromise)
			s.open("/records?pack=lift-a")
			require.Equal(t, house, of[[]string](s, look))
			s.shot("records-report-" + language + "-" + theme)
			s.open("/records?pack=none")
			require.Equal(t, 1, of[int](s, `document.querySelectorAll("main [role=alert]").length`))
			s.open("/records")
			require.Equal(t, house, of[[]string](s, look))
			require.Equal(t, "en "+"es", of[string](s, `[...document.querySelectorAll("main select[name=language] option")].map(o => o.value).join(" ")`))
			s.press("main summary")
			s.shot("records-" + language + "-" + theme)
			s.press("footer summary")
			require.Equal(t, "/records", of[string](s, `document.querySelector("footer input[name=to]").value`))
		}
	}
}
