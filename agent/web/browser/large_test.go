package browser_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/web"
)

// small lists texts under 12 pixels, drawn ones as large as they are on the screen, and
// texts of the round that touch one another or are cut within a word.
const small = `(() => {
	const all = [];
	const words = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n; n = words.nextNode();) {
		const e = n.parentElement;
		if (!n.data.trim() || !e.checkVisibility() || e.closest(".away, .skip, noscript, title, option")) continue;
		let px = parseFloat(getComputedStyle(e).fontSize);
		if (e.ownerSVGElement) px *= e.getScreenCTM().d;
		if (px < 12) all.push(px.toFixed(1) + " px: " + n.data.trim().slice(0, 40));
	}
	const steps = [...document.querySelectorAll(".steps li")].map(li => {
		const r = document.createRange();
		r.selectNodeContents(li);
		if (li.scrollWidth > li.clientWidth) all.push("too narrow: " + li.innerText);
		return [r.getBoundingClientRect(), li.innerText];
	});
	for (const [a, x] of steps) for (const [b, y] of steps)
		if (x !== y && a.left < b.right + 8 && b.left < a.right + 8 && a.top < b.bottom && b.top < a.bottom) all.push("touch: " + x + " and " + y);
	return [...new Set(all)];
})()`

// lost lists buttons, links and fields that cannot be reached or read: beside the screen,
// under another one, or with a text that does not fit in them.
const lost = `(() => {
	const all = [], wide = document.documentElement.clientWidth; // innerWidth grows on a phone
	const named = e => (e.innerText || e.name || e.id || e.outerHTML.slice(0, 60)).trim();
	const targets = [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary")].filter(e => e.checkVisibility() && !e.matches(".skip, .still") && !e.closest(".still"));
	for (const e of targets) {
		const shown = e.closest("label.tick") || e;
		e.scrollIntoView({block: shown.closest(".foot") ? "nearest" : "start", behavior: "instant"}); // the bar at the foot stays
		const b = shown.getBoundingClientRect();
		if (b.left < -0.5 || b.right > wide + 0.5 || !b.width || !b.height) all.push("beside the screen: " + named(e) + " " + [b.left, b.right]);
		if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== "inline" && !e.matches("input, select")) all.push("cut off: " + named(e));
		const line = e.getClientRects()[0], x = (Math.max(0, line.left) + Math.min(wide, line.right)) / 2, top = document.elementFromPoint(x, (Math.max(0, line.top) + Math.min(innerHeight, line.bottom)) / 2);
		if (!top || !(shown.contains(top) || top.contains(e))) all.push("covered: " + named(e) + " by " + (top ? top.outerHTML.slice(0, 80) : "nothing"));
	}
	const boxes = targets.filter(e => !targets.some(o => o !== e && o.contains(e))).map(e => [e, (e.closest("label.tick") || e).getBoundingClientRect(), Boolean(e.closest(".foot"))]);
	boxes.forEach(([e, a, x], i) => boxes.slice(i + 1).forEach(([o, b, y]) => {
		if (x === y && a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1) all.push("overlap: " + named(e) + " and " + named(o));
	}));
	if (document.documentElement.scrollWidth > wide) all.push("wider than the screen: " + document.documentElement.scrollWidth + " by " + [...document.querySelectorAll("body *")].filter(e => e.checkVisibility() && e.getBoundingClientRect().right > wide + 1).slice(-1).map(e => e.outerHTML.slice(0, 100)));
	scrollTo({top: 0, behavior: "instant"});
	return [...new Set(all)];
})()`

// legible checks the page at its own size and with its text twice as large.
func (s *screen) legible(name string) {
	s.t.Helper()
	faults := of[[]string](s, small)
	of[any](s, `document.documentElement.style.fontSize = "200%"`)
	faults = append(faults, of[[]string](s, lost)...)
	for _, name := range of[[]string](s, broken) {
		faults = append(faults, "broken into letters: "+name)
	}
	s.look(name + "-200")
	of[any](s, `document.documentElement.style.fontSize = ""`)
	if len(faults) > 0 {
		s.t.Errorf("%s: %s", name, strings.Join(faults, "\n"))
	}
}

// cut lists texts of a screen that does not scroll that are not whole on it.
const cut = `(() => {
	const all = [], words = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n; n = words.nextNode();) {
		if (!n.data.trim() || !n.parentElement.checkVisibility() || n.parentElement.closest(".away, noscript")) continue;
		const r = document.createRange();
		r.selectNodeContents(n);
		const b = r.getBoundingClientRect();
		if (b.left < -0.5 || b.top < -0.5 || b.right > innerWidth + 0.5 || b.bottom > innerHeight + 0.5) all.push(n.data.trim() + " " + [b.left, b.top, b.right, b.bottom]);
	}
	return all;
})()`

// broken lists names that are broken within a word: a bay's name is one or two lines.
const broken = `(() => [...document.querySelectorAll(".work b")].filter(e => e.checkVisibility() && e.getClientRects().length && e.getBoundingClientRect().height > 2.5 * parseFloat(getComputedStyle(e).fontSize)).map(e => e.textContent))()`

// TestTwiceTheText: with the text at 200 % on a phone of 360 pixels, every button, link
// and field of every screen is whole, in reach and free of the others (WCAG 2.2, success
// criterion 1.4.4, level AA); at 100 % no text is under 12 pixels (common practice, no
// source).
func TestTwiceTheText(t *testing.T) {
	b := browser(t)
	hash, err := web.HashPIN("4711-quarry")
	require.NoError(t, err)
	for _, language := range []string{"en", "es"} {
		y := newReadyYardOf(t, 24, 6, func(o *web.Options) { several(8)(o); o.Language = language })
		gate := newReadyYard(t, 6, func(o *web.Options) {
			o.Language, o.People = language, []web.Person{{Name: "A. Person", Right: order.MayRelease, Hash: hash}}
		})
		s := tab(b, t, gate.url, phoneWide, phoneHigh)
		for _, path := range []string{"/", "/first-aid", "/hold"} {
			s.open(path)
			s.legible("large-" + language + "-gate" + strings.ReplaceAll(path, "/", "-"))
		}
		s = tab(b, t, y.url, phoneWide, phoneHigh)
		for _, path := range []string{"/", "/bays/bay-1", "/bays/bay-2", "/sheet", "/bays/bay-1/visit"} {
			s.open(path)
			of[any](s, `document.querySelectorAll("main details").forEach(d => d.open = true)`)
			s.legible("large-" + language + strings.ReplaceAll(path, "/", "-"))
		}
		status, answer := y.send("visit", `{"action":"open","by":"A. Person"}`)
		require.Equal(t, 200, status, answer)
		for at, path := range []string{"?step=cells", "?cell=2", "?step=water", "?step=close"} {
			s.open("/bays/bay-1/visit" + path)
			s.until(`document.readyState === "complete"`)
			s.legible(fmt.Sprintf("large-%s-visit-%d", language, at))
		}
		// A wall screen with its page at 200 %.
		w := tab(b, t, y.url, 960, 540)
		w.open("/wall")
		require.Equal(t, 8, of[int](w, `[...document.querySelectorAll(".board li")].filter(li => li.getBoundingClientRect().bottom <= document.querySelector("footer").getBoundingClientRect().top && [...li.children].every(e => e.getBoundingClientRect().right <= innerWidth)).length`))
		require.Empty(t, of[[]string](w, cut), "cut off on the wall")
		w.look("large-" + language + "-wall")
	}
}

// TestTwiceTheTextOfRecords: the record's pages, of the stopped demo, by the same rules.
func TestTwiceTheTextOfRecords(t *testing.T) {
	b := browser(t)
	d := newStopped(t)
	for _, o := range []order.Order{{Kind: order.VisitOpen}, {Kind: order.Entry, Cells: []order.CellEntry{{Cell: 1, How: order.ToMark}}}, {Kind: order.VisitClose}} {
		d.order(o)
	}
	s := tab(b, t, d.serve(), phoneWide, phoneHigh)
	for _, language := range []string{"en", "es"} {
		for name, query := range map[string]string{"list": "?", "report": "?pack=lift-d&", "none": "?pack=none&"} {
			s.open("/records" + query + "language=" + language)
			of[any](s, `document.querySelectorAll("main details").forEach(d => d.open = true)`)
			s.legible("large-" + language + "-records-" + name)
		}
	}
}
