package browser_test

import (
	"context"
	"crypto/sha256"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	invented "bayward/agent/demo"
	"bayward/agent/order"
	"bayward/sensors/sim"
)

var update = flag.Bool("update", false, "make the README's pictures again")

// TestMain sets the page's times of the day, before anything runs that reads them.
func TestMain(m *testing.M) {
	time.Local = time.UTC //nolint:gosmopolitan // the same pictures on every machine
	m.Run()
}

// pictures is where the README's pictures are, and shownFile what they show.
const (
	pictures  = "../../../dashboards/pictures"
	shownFile = pictures + "/pages.txt"
)

// evening is when the stopped demo begins.
var evening = time.Date(2026, 3, 1, 23, 30, 0, 0, time.UTC)

// stopped is the demo whose clock stands still on a morning: bay-1 waits with bare plates
// and bay-3 with a broken probe, bay-2 charges or cools, bay-4 is ready to water.
type stopped struct {
	*assemblytest.Site
	t testing.TB
}

func newStopped(t testing.TB) *stopped {
	t.Helper()
	cfg, begin, err := invented.Site(4)
	require.NoError(t, err)
	cfg.Language = "en"
	cfg.HTTP.Listen, cfg.Logbook.Path = "127.0.0.1:0", filepath.Join(t.TempDir(), "logbook.db")
	s := &stopped{t: t}
	s.Site = assemblytest.New(t, cfg, begin, func(site *assemblytest.Site, p *assembly.Parts) {
		p.Wall = func() (time.Time, bool) { return evening.Add(site.Bench.Now()), true }
		p.Mono, p.BootID, p.Every, p.GuardAfter, p.Invented = site.Bench.Now, "stopped", 10*time.Second, time.Hour, true
	})
	s.Bays["bay-3"].SetFault(sim.ProbeOpen, true)
	for range 2 * 60 { // the fans start within the first seconds, and must be seen off before
		s.Tick()
	}
	for s.bay("bay-4").Stage != bay.ReadyToWater || s.Bench.Now()%(10*time.Minute) != 0 {
		s.tick()
		require.Less(t, s.Bench.Now(), 24*time.Hour, "bay-4 is not ready to water: %s", s.bay("bay-4").Stage)
	}
	return s
}

func (s *stopped) tick() {
	s.t.Helper()
	s.Bench.Advance(10 * time.Second)
	require.NoError(s.t, s.Loop.Tick(s.t.Context()))
}

func (s *stopped) bay(name string) *bay.Picture {
	for _, p := range s.Loop.Pictures() {
		if p != nil && p.Bay == name {
			return p
		}
	}
	return &bay.Picture{}
}

// order has the next tick take an order: nobody waits for the answer, so that no
// goroutine decides which tick it is.
func (s *stopped) order(o order.Order) {
	s.t.Helper()
	ctx, cancel := context.WithCancel(s.t.Context())
	cancel()
	o.ID, o.By = fmt.Sprintf("order-%s-%d", o.Kind, s.Bench.Now()/time.Second), "A. Person"
	_, err := s.Loop.Submit(ctx, "bay-4", o)
	require.ErrorIs(s.t, err, context.Canceled)
	s.tick()
}

// serve serves its page until the test ends.
func (s *stopped) serve() (url string) {
	s.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	g, ctx := errgroup.WithContext(ctx)
	require.NoError(s.t, s.Serve(ctx, g))
	s.t.Cleanup(func() {
		cancel()
		require.NoError(s.t, g.Wait())
		require.NoError(s.t, s.Close())
	})
	return "http://" + s.Address()
}

// appearance lists what is on the page: each text, and the look of each element as it
// was computed from style sheet and scripts. No size that depends on the machine's fonts.
const appearance = `(() => {
	const look = ["color", "backgroundColor", "fontSize", "fontWeight", "fontFamily", "borderTopWidth", "borderTopStyle", "borderTopColor", "borderLeftWidth", "borderLeftColor", "borderTopLeftRadius",
		"paddingTop", "paddingLeft", "display", "position", "textAlign", "textWrap", "textTransform", "columnGap", "rowGap", "fill", "stroke"];
	const all = [];
	for (const e of document.body.querySelectorAll("*")) {
		if (!e.checkVisibility()) continue;
		const style = getComputedStyle(e);
		const text = [...e.childNodes].filter(n => n.nodeType === 3).map(n => n.data.trim()).filter(Boolean).join(" ") || (e.matches("input:not([type=hidden])") ? e.value : "");
		all.push([text, e.tagName + " " + look.map(n => style[n]).join("|")]);
	}
	return all;
})()`

// still takes a picture of an address, with the time standing still, and returns it and
// what it shows.
func (s *stopped) still(b context.Context, name, url string, width, height int64, scale float64) (picture []byte, shown string) {
	s.t.Helper()
	t := tab(b, s.t, url, width, height)
	_, err := chromedp.Call(t.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: scale, Mobile: width < 600})
	require.NoError(s.t, err)
	_, err = chromedp.Call(t.ctx, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "UTC"})
	require.NoError(s.t, err)
	t.scheme("light")
	now := evening.Add(s.Bench.Now()).UnixMilli()
	_, err = chromedp.Call(t.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: fmt.Sprintf(`{ const Real = Date, now = %d; globalThis.Date = class extends Real { constructor(...of) { super(...(of.length ? of : [now])); } static now() { return now; } }; }`, now),
	})
	require.NoError(s.t, err)
	t.open("")
	t.until(`document.readyState === "complete"`)
	webp, quality := page.CaptureScreenshotFormatWebp, int64(60)
	taken, err := chromedp.Call(t.ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{Format: webp, Quality: &quality})
	require.NoError(s.t, err)
	t.look(filepath.Base(name))
	var text, look strings.Builder
	for _, e := range of[[][2]string](t, appearance) {
		look.WriteString(e[1] + "\n")
		if e[0] != "" {
			text.WriteString(e[0] + "\n")
		}
	}
	return taken.Data, fmt.Sprintf("# %s, %d x %d\n%slook: %x\n\n", name, width, height, text.String(), sha256.Sum256([]byte(look.String())))
}

// TestPictures: the README's pictures show what the page shows now. It compares texts and
// looks, which are stored beside them, and not pixels, which depend on a machine's fonts.
//
//	go test ./agent/web/browser -run TestPictures -update
//
// makes them again. Look at them.
func TestPictures(t *testing.T) {
	b := browser(t)
	s := newStopped(t)
	url := s.serve()
	var shown strings.Builder
	size := 0
	take := func(name, path string, width, height int64, scale float64) {
		picture, says := s.still(b, name, url+path, width, height, scale)
		shown.WriteString(says)
		if *update {
			require.NoError(t, os.WriteFile(filepath.Join(pictures, name), picture, 0o600))
		}
		stored, err := os.ReadFile(filepath.Join(pictures, name))
		require.NoError(t, err)
		size += len(stored)
	}
	take("work-list.webp", "/", phoneWide, phoneHigh, 1.5)
	take("wall.webp", "/wall", 1920, 1080, 0.75)
	s.order(order.Order{Kind: order.VisitOpen})
	require.NotNil(t, s.bay("bay-4").Visit)
	var read, filled []order.CellEntry
	for cell := range 12 {
		read = append(read, order.CellEntry{Cell: cell + 1, LevelMM: new(float64(5 + cell%2))})
		if cell < 5 {
			filled = append(filled, order.CellEntry{Cell: cell + 1, How: order.ToMark})
		}
	}
	s.order(order.Order{Kind: order.Entry, Cells: read})
	s.order(order.Order{Kind: order.Entry, Cells: filled})
	take("visit.webp", "/bays/bay-4/visit?step=cells", phoneWide, phoneHigh, 1.5)
	t.Logf("figure: the README's pictures of the page take %d bytes", size)
	require.Less(t, size, 130_000, "with the board's under 200 kB")
	if *update {
		require.NoError(t, os.WriteFile(shownFile, []byte(shown.String()), 0o600))
	}
	stored, err := os.ReadFile(shownFile)
	require.NoError(t, err)
	require.Equal(t, string(stored), shown.String(), "the page has changed: make the pictures again with -update, and look at them")
}
