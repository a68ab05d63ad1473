package browser_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/web"
)

// network cuts the phone off, or connects it again. The browser's own emulation would not do alone: it leaves
// the worker of an installed page its connection.
func (h *thumb) network(on bool) {
	h.t.Helper()
	if on {
		h.wire.repair()
	} else {
		h.wire.cut()
	}
	_, err := chromedp.Call(h.ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: !on, DownloadThroughput: -1, UploadThroughput: -1})
	require.NoError(h.t, err)
}

// visiting opens a visit on a phone that can be cut off.
func visiting(t *testing.T, change func(*web.Options)) (*yard, *thumb) {
	t.Helper()
	y := newReadyYard(t, 6, change)
	w := newWire(t, strings.TrimPrefix(y.url, "http://"))
	h := &thumb{screen: tab(browser(t), t, "http://"+w.address(), phoneWide, phoneHigh), wire: w}
	y.visitor(h.screen)
	h.on(`document.getElementById("grid")`)
	return y, h
}

// later lets the glove come off the tile.
func (h *thumb) later() {
	h.t.Helper()
	of[any](h.screen, `void (window.at = performance.now())`)
	h.on(`window.at + 700 < performance.now()`)
}

// here records in the page of a cell that opens without a connection.
func (h *thumb) here(cell string, boxes map[string]string) {
	h.t.Helper()
	h.tap("#tile-" + cell)
	h.later()
	h.tap("#tile-" + cell)
	h.on(`document.getElementById("cell-here").open`)
	for name, text := range boxes {
		h.write("#here-"+name, text)
	}
}

// confirms ticks what is to be confirmed before a visit is closed, at the time when it is.
func (h *thumb) confirms() {
	h.t.Helper()
	of[any](h.screen, `document.querySelectorAll("#closing input:not(:checked)").forEach(box => box.click())`)
}

const waiting = `Object.keys(localStorage).filter(key => key.startsWith("bayward-entry:")).length`

// TestAWholeVisitWithoutConnection: the page that is open has all of a visit, first aid
// included. What is entered waits, and is recorded once when there is a connection.
func TestAWholeVisitWithoutConnection(t *testing.T) {
	for _, language := range []string{"en", "es"} {
		t.Run(language, func(t *testing.T) {
			y, h := visiting(t, func(o *web.Options) { o.Language = language })
			require.True(t, of[bool](h.screen, `document.querySelector(".locked .now").checkVisibility()`))
			h.network(false)
			h.on(`document.body.classList.contains("stale")`)
			require.False(t, of[bool](h.screen, `document.querySelector(".locked .now").checkVisibility()`), "a page that is cut off does not say that charging is locked out")
			h.has(map[string]string{"en": "Whether charging is blocked now is not known here", "es": "no se sabe si la carga está bloqueada ahora"}[language])

			h.tap(".aid")
			h.on(`document.getElementById("aid-here").open`)
			h.has(map[string]string{"en": "Skin", "es": "Piel"}[language])
			h.look("offline-aid-" + language)
			h.tap("#aid-here .back")

			h.tap("#tile-1")
			h.tap("#tile-2")
			h.tap(`#strip button[value="14"]`)
			h.tap(".gravity")
			for _, d := range "1270" {
				h.tap(`[data-digit="` + string(d) + `"]`)
			}
			h.tap(".stop")
			h.here("3", map[string]string{"ml": "85", "level": "12", "gravity": "1265"})
			h.look("offline-cell-" + language)
			h.shot("offline-cell-whole-" + language)
			h.tap("#cell-here .keep")
			h.on(waiting + " === 5")
			h.here("4", map[string]string{"ml": "much"})
			h.tap("#cell-here .keep")
			h.on(`!document.getElementById("here-fault").hidden`)
			h.tap("#cell-here .back")
			for n := 5; n <= 12; n++ {
				h.tap("#tile-" + strconv.Itoa(n))
			}
			h.look("offline-grid-" + language)
			h.shot("offline-grid-whole-" + language)
			h.confirms()
			h.tap(".close-now")
			h.on(`!document.querySelector(".unsent span").hidden`)
			h.look("offline-close-" + language)
			require.NotNil(t, y.read().Visit, "the visit is open until the agent has closed it")
			require.Zero(t, y.taken(order.Entry))

			h.network(true)
			y.sent(14)
			h.on(waiting + " === 0")
			for n := 1; n <= 12; n++ {
				require.True(t, y.cell(n).Done, n)
				if n != 3 {
					require.Equal(t, "to-mark", y.cell(n).How, n)
				}
			}
			require.InDelta(t, 14, *y.cell(2).LevelAfterMM, 0.01)
			three := y.cell(3)
			require.Equal(t, "measured", three.How)
			require.InDelta(t, 85, three.GivenML, 0.01, "the amount is in place of the tap")
			require.InDelta(t, 12, *three.LevelAfterMM, 0.01)
			require.InDelta(t, 1.265, *three.Gravity, 0.0001)
			ids := map[string]bool{}
			for _, o := range y.ordered(order.Entry) {
				require.False(t, ids[o.ID], o.ID)
				ids[o.ID] = true
			}
			require.Len(t, ids, 14)
			require.InDelta(t, 1.270, *y.cell(1).Gravity, 0.0001)
			h.on(`!document.body.classList.contains("stale")`)
			h.confirms()
			h.leads(".close-now")
			h.on(`document.querySelector("main .says")`)
			require.Nil(t, y.read().Visit)
		})
	}
}

// TestClosingWithoutConnection: with nothing that waits the visit is still not closed, and
// the open page stays.
func TestClosingWithoutConnection(t *testing.T) {
	y, h := visiting(t, nil)
	for n := 1; n <= 12; n++ {
		h.tap("#tile-" + strconv.Itoa(n))
	}
	h.open("/bays/bay-1/visit") // leaving the page sends the last
	y.sent(12)
	h.open("/bays/bay-1/visit")
	h.on(waiting + " === 0")
	h.network(false)
	h.confirms()
	h.tap(".close-now")
	h.on(says("the visit is not closed, and charging stays blocked by it"))
	h.look("offline-not-closed")
	require.NotNil(t, y.read().Visit)
	h.network(true)
	h.on(`!document.body.classList.contains("stale")`)
	h.confirms()
	h.leads(".close-now")
	h.on(says("The visit is closed and recorded."))
}

// TestTwoPhonesOneWithoutConnection: what both recorded is recorded once, and the phone
// that comes second is told.
func TestTwoPhonesOneWithoutConnection(t *testing.T) {
	y, h := visiting(t, nil)
	second := &thumb{screen: tab(browser(t), t, y.url, phoneWide, phoneHigh)}
	second.open("/bays/bay-1/visit")
	second.write("#cell-by", "B. Person")
	h.network(false)
	h.tap("#tile-4")
	h.tap("#tile-5")
	h.tap("#tile-6")
	second.tap("#tile-5")
	second.tap("#tile-7")
	y.sent(1)
	h.tap(".tools .close")
	h.network(true)
	h.on(says("Someone else has just recorded water for cell 5."))
	y.sent(3)
	h.look("offline-second")
	h.tap("#answers .calm") // dropped
	h.on(waiting + " === 0")
	second.open("/bays/bay-1/visit")
	y.sent(4)
	require.Equal(t, 4, y.taken(order.Entry))
	for _, n := range []int{4, 5, 6, 7} {
		require.InDelta(t, 90, y.cell(n).GivenML, 3, n)
	}
	by := map[string]int{}
	for _, o := range y.ordered(order.Entry) {
		by[o.By]++
	}
	require.Equal(t, map[string]int{"A. Person": 2, "B. Person": 2}, by)
}

// TestTheAgentRestartsWhileAPhoneWaits: the answers of the old agent are lost, and the
// new one gets the same entries again. Each is recorded once.
func TestTheAgentRestartsWhileAPhoneWaits(t *testing.T) {
	y, h := visiting(t, nil)
	y.mute.Store(true)
	h.tap("#tile-4")
	h.tap("#tile-5")
	y.sent(1)
	h.tap("#tile-6")
	h.tap(".tools .close")
	h.on(`!document.querySelector(".unsent").hidden`)
	y.restart()
	y.mute.Store(false)
	h.network(true)
	y.sent(3)
	h.on(waiting + " === 0")
	require.Equal(t, 3, y.taken(order.Entry))
	for _, n := range []int{4, 5, 6} {
		require.InDelta(t, 90, y.cell(n).GivenML, 3, n)
	}
}

// TestAWrongClockOnThePhone: an entry belongs to its visit whatever the phone's clock
// says, and its time is believed only between the opening of the visit and now.
func TestAWrongClockOnThePhone(t *testing.T) {
	y := newReadyYard(t, 6, nil)
	w := newWire(t, strings.TrimPrefix(y.url, "http://")) // the tools' network comes back while a page is reloaded
	h := &thumb{screen: tab(browser(t), t, "http://"+w.address(), phoneWide, phoneHigh)}
	y.visitor(h.screen)
	h.on(`document.getElementById("grid")`)
	y.run(20 * time.Minute)
	w.cut()
	h.tap("#tile-4")
	h.tap("#tile-5")
	h.tap("#tile-6")
	h.tap(".tools .close")
	h.on(waiting + " === 3")
	// Reloaded while it is cut off, and the clock is set meanwhile.
	of[any](h.screen, `Object.keys(localStorage).filter(key => key.startsWith("bayward-entry:")).forEach(key => {
		const e = JSON.parse(localStorage[key]);
		e.made += {"4": -5 * 60000, "5": -9 * 3600000, "6": 2 * 3600000}[e.cell];
		localStorage[key] = JSON.stringify(e);
	})`)
	_ = chromedp.Do(h.ctx, chromedp.Reload()) // an error page, or the saved copy where the worker had time to start
	w.repair()
	h.open("/bays/bay-1/visit")
	y.sent(3)
	h.on(waiting + " === 0")
	for _, o := range y.ordered(order.Entry) {
		switch o.Cells[0].Cell {
		case 4:
			made := time.Now().Add(-5 * time.Minute).Format("2006-01-02 ") // the clock of the agent
			require.True(t, strings.HasPrefix(o.Note, "Entered at "+made), "%q", o.Note)
			require.Contains(t, o.Note, ", 5 min before it was sent.")
		default:
			require.Contains(t, o.Note, "its time is not known", o.Cells[0].Cell)
		}
	}
	require.Equal(t, 3, y.taken(order.Entry))
}
