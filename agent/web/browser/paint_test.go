package browser_test

import (
	"slices"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// A slow phone on a slow network: a quarter of this machine's speed, 150 ms to the first
// byte of each answer, 1.6 Mbit/s down and 0.75 up (common practice for a slow mobile
// network, from memory).
const (
	slowdown    = 4
	latencyMS   = 150
	downBytesPS = 1.6e6 / 8
	upBytesPS   = 0.75e6 / 8
)

// painted is what a page took until something was to be read, or null before that.
const painted = `(() => {
	const first = performance.getEntriesByName("first-contentful-paint")[0];
	if (!first || document.readyState !== "complete") return null;
	return {ms: first.startTime, bytes: [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")].filter(e => !e.name.includes("/live")).reduce((sum, e) => sum + e.transferSize, 0)};
})()`

// BenchmarkFirstPaint opens the work list and a bay's page, with its night of curves, as
// a phone does that has nothing in its cache. It reports the median time to the first
// contentful paint, and what came over the wire until the page was complete.
//
//	go test ./agent/web/browser -run xxx -bench FirstPaint -benchtime 11x
func BenchmarkFirstPaint(b *testing.B) {
	d, chromium := newStopped(b), browser(b)
	url := d.serve()
	for _, row := range []struct{ name, path string }{{"work-list", "/"}, {"bay", "/bays/bay-4"}, {"visit", "/bays/bay-4/visit"}} {
		b.Run(row.name, func(b *testing.B) {
			var times []float64
			bytes := 0.0
			for b.Loop() {
				s := tab(chromium, b, url, phoneWide, phoneHigh)
				_, err := chromedp.Call(s.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: slowdown})
				require.NoError(b, err)
				_, err = chromedp.Call(s.ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
					MatchedNetworkConditions: []*network.Conditions{{Latency: latencyMS, DownloadThroughput: downBytesPS, UploadThroughput: upBytesPS}},
				})
				require.NoError(b, err)
				s.open(row.path)
				s.until(painted + " !== null")
				page := of[struct{ MS, Bytes float64 }](s, painted)
				require.Positive(b, page.MS)
				times, bytes = append(times, page.MS), page.Bytes
				require.NoError(b, chromedp.Cancel(s.ctx))
			}
			slices.Sort(times)
			b.ReportMetric(times[len(times)/2], "ms/paint")
			b.ReportMetric(bytes/1000, "kB")
			b.ReportMetric(0, "ns/op") // of the whole tab, which is nobody's concern
		})
	}
}
