package web_test

import (
	"context"
	"html"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/web"
	"bayward/agent/words"
)

func plates(p *bay.Picture) {
	p.Stage = bay.Waiting
	p.Findings = [interlock.NumCodes]bay.Finding{}
	raise(p, interlock.PlatesBare, interlock.Evidence{Value: -4, Limit: 3, Fault: reading.None})
	p.Seen.Level = reading.LevelBetween(-4, -4, p.Now)
	p.Water.Known, p.Water.Cells = true, 12
	for i := range 12 {
		p.Water.CoverPlatesML[i] = 91
	}
}

func ready(p *bay.Picture) {
	p.Stage, p.Permit.Granted = bay.ReadyToWater, true
	p.Findings = [interlock.NumCodes]bay.Finding{}
	p.Water.Known, p.Water.Cells, p.Water.TotalML = true, 12, 0
	for i := range 12 {
		p.Water.NeedML[i] = 100 + float64(i)
		p.Water.TotalML += p.Water.NeedML[i]
	}
}

func rested(p *bay.Picture) {
	p.Stage, p.Permit.Granted = bay.Rested, true
	p.Findings = [interlock.NumCodes]bay.Finding{}
}

// TestTheFirstLineIsTheMostUrgent: bare plates come before a pack to water, and that
// before a pack at rest, in any order of the configuration.
func TestTheFirstLineIsTheMostUrgent(t *testing.T) {
	b := newBench(nil, "bay-1", "bay-2", "bay-3")
	b.change("bay-1", rested)
	b.change("bay-2", ready)
	b.change("bay-3", plates)
	page := text(t, b.get("/"))
	require.Contains(t, page, "2 bays need someone.")
	order := regexp.MustCompile(`id="(bay-\d)"`).FindAllStringSubmatch(page, -1)
	require.Len(t, order, 3)
	require.Equal(t, []string{"bay-3", "bay-2", "bay-1"}, []string{order[0][1], order[1][1], order[2][1]})
	for _, line := range []string{"Danger:</span> Plates are dry</span> <strong>1.1 L</strong>", "Water it:</span> Fill to the mark</span> <strong>1.3 L</strong>", "Nothing to do: 1 · bay-1"} {
		require.Contains(t, page, line)
	}
	require.Contains(t, page, "Water to bring: 2.4 L.") // 12 × 91 and 1266 ml
	require.Contains(t, page, `href="/bays/bay-3/visit"`)
	require.Contains(t, page, `href="/bays/bay-1"`)
	read := newBench(func(o *web.Options) { o.Writable = false }, "bay-1")
	read.change("bay-1", plates)
	require.NotContains(t, text(t, read.get("/")), `/visit"`)
}

// TestTheWatchdogRelayIsReported: the bay's page keeps reporting whether something
// outside the Pi opens when it hangs, and how old the proof of that is.
func TestTheWatchdogRelayIsReported(t *testing.T) {
	now := time.Date(2026, 3, 31, 12, 0, 0, 0, time.UTC)
	b := newBench(func(o *web.Options) { o.Now = func() time.Time { return now } }, "bay-1")
	require.NotContains(t, text(t, b.get("/bays/bay-1")), "Watchdog relay") // simulated
	for want, is := range map[string]bay.Watchdog{
		"none (on order): if the Pi hangs, nothing outside it opens the relay": {WhyNot: "on order"},
		"not proven; the commissioning walk does that":                         {Line: "GPIO27"},
		"proven on 2026-03-01 by A. Person, 30 days ago":                       {Line: "GPIO27", Proven: true, At: now.Add(-30 * 24 * time.Hour), By: "A. Person"},
	} {
		setup := baytest.Setup("bay-1")
		setup.Watchdog = is
		b.cores["bay-1"] = bay.New(setup)
		b.step("bay-1")
		require.Contains(t, text(t, b.get("/bays/bay-1")), want)
	}
}

// TestACardSaysWhyAndWhatToDo: the card has all that a person at the pack needs.
func TestACardSaysWhyAndWhatToDo(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.change("bay-1", plates)
	rule, english := interlock.Table[interlock.PlatesBare], words.EnglishSI()
	for _, path := range []string{"/bays/bay-1"} {
		page := unescaped(text(t, b.get(path)))
		for _, want := range []string{
			english.Cautions(), "bayward is not a certified safety device", "Level is 4 mm below the plate tops; charging needs 3 mm above them.",
			english.WhatToDo(interlock.PlatesBare, interlock.Evidence{}), rule.Basis, "For 4 min.", "charging blocked for", "-4 mm", "25.0 °C", "25.20 V",
			"Water to cover the plates, no more: 1092 ml in total", "Each of 12 cells: 91 ml",
		} {
			require.Contains(t, page, want, path)
		}
	}
}

// TestAHeldBayIsToBeTakenBack: a hold blocks the charge until a person acts, so the
// page must not report that there is nothing to do.
func TestAHeldBayIsToBeTakenBack(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.change("bay-1", func(p *bay.Picture) {
		p.Stage, p.Permit.Granted = bay.Rested, false
		p.Findings[interlock.Held].Raised = true
	})
	page := unescaped(text(t, b.get("/bays/bay-1")))
	require.Contains(t, page, "<strong>What to do:</strong> "+words.EnglishSI().WhatToDo(interlock.Held, interlock.Evidence{}))
}

func unescaped(page string) string {
	return strings.NewReplacer("&#39;", "'", "&amp;", "&", "&#34;", `"`).Replace(page)
}

func TestEachCellHasItsOwnAmount(t *testing.T) {
	b := newBench(func(o *web.Options) { o.Units = "us" }, "bay-1")
	b.change("bay-1", ready)
	page := text(t, b.get("/bays/bay-1"))
	// 100 ml are 3.4 and 111 ml are 3.8 US fluid ounces of 29.57353 ml, 25 °C are
	// 77 °F, 6 mm are 0.24 in of 25.4 mm: NIST SP 811 (2008), appendix B.
	for _, want := range []string{"cell 1 <b>3.4 fl oz (100 ml)</b>", "cell 12 <b>3.8 fl oz (111 ml)</b>", "77 °F", "0.24 in"} {
		require.Contains(t, page, want)
	}
}

func TestWhatIsNotKnownSaysWhy(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.change("bay-1", func(p *bay.Picture) {
		p.Seen.PackC = reading.Bad(reading.PowerOn, p.Now)
		p.Seen.Level = reading.Level{Fault: reading.Open}
	})
	page := text(t, b.get("/bays/bay-1"))
	require.Contains(t, page, "not known: it shows its power-on value, not a measurement")
	require.Contains(t, page, "not known: wire broken")
	require.NotContains(t, page, "0.0 °C")
}

// TestForeignTextIsEscaped: names from the page, the broker and the file.
func TestForeignTextIsEscaped(t *testing.T) {
	const evil = `"><script>alert(1)</script><img src=x onerror=alert(2)>`
	b := newBench(func(o *web.Options) { o.Site, o.Agent, o.Version = evil, evil, evil }, "bay-1")
	require.Equal(t, 303, b.form("/bays/bay-1/visit", opening+"&by="+url.QueryEscape("<b>"+evil[:50])).Code)
	b.change("bay-1", func(p *bay.Picture) { p.Visit.By = evil })
	for _, path := range []string{"/", "/bays/bay-1", "/bays/" + url.PathEscape(evil)} {
		page := text(t, b.get(path))
		require.NotContains(t, page, "<script>", path)
		require.NotRegexp(t, `<script[^>]*>[^<]`, page, path)
		for _, tag := range regexp.MustCompile(`<script[^>]*>`).FindAllString(page, -1) {
			require.Regexp(t, `^<script src="/[a-z./]+" defer>$`, tag, "our own scripts alone: %s", path)
		}
		require.NotContains(t, page, "<img", path)
	}
	answer := b.form("/bays/bay-1/visit", "action=cell&cell=1&by=A&ml="+url.QueryEscape(evil))
	require.Equal(t, 400, answer.Code)
	require.NotContains(t, text(t, answer), "<script>")
}

// TestPagesReadWithoutScript: reloading a page does what its script would do.
func TestPagesReadWithoutScript(t *testing.T) {
	b := newBench(nil, "bay-1")
	overview := b.get("/")
	require.Contains(t, text(t, overview), `<noscript><meta http-equiv="refresh" content="10"></noscript>`)
	one := text(t, b.get("/bays/bay-1"))
	require.NotContains(t, one, "refresh", "a person may be writing on it")
	require.NotContains(t, one, "style=")
	require.NotContains(t, one, "onclick")
	h := overview.Header()
	require.Equal(t, "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self'; manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'", h.Get("Content-Security-Policy"))
	require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"))
	require.Equal(t, "same-origin", h.Get("Referrer-Policy"))
	css := b.get("/style.css")
	require.Equal(t, "text/css; charset=utf-8", css.Header().Get("Content-Type"))
	require.Equal(t, 404, b.get("/page/style.css").Code)
	require.Equal(t, 404, b.get("/words/en.json").Code)
	require.Equal(t, http.StatusOK, b.do(request{method: http.MethodHead, path: "/"}).Code)
}

// TestAStuckReaderHoldsNobody: one reader accepts no data. The others, and the
// orders that make new pictures, are not delayed.
func TestAStuckReaderHoldsNobody(t *testing.T) {
	b := newBench(nil, "bay-1")
	stuck := &stuckWriter{header: http.Header{}, entered: make(chan struct{}), leave: make(chan struct{})}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		b.handler.ServeHTTP(stuck, httptest.NewRequestWithContext(context.Background(), http.MethodGet, "/", nil))
	}()
	<-stuck.entered
	require.Equal(t, 200, b.get("/").Code)
	require.Equal(t, 200, b.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"A"}`).Code)
	close(stuck.leave)
	<-ended
}

type stuckWriter struct {
	header         http.Header
	entered, leave chan struct{}
}

func (s *stuckWriter) Header() http.Header { return s.header }
func (s *stuckWriter) WriteHeader(int)     {}
func (s *stuckWriter) Write(p []byte) (int, error) {
	close(s.entered)
	<-s.leave
	return len(p), nil
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
}

func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
		require.NoError(t, err)
		c := float64(n) / 255
		if c <= 0.03928 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

func TestSpansInWords(t *testing.T) {
	b := newBench(nil, "bay-1")
	for _, row := range []struct {
		since time.Duration
		want  string
	}{
		{59 * time.Second, "for 59 s"}, {time.Minute, "for 1 min"}, {90 * time.Minute, "for 1 h 30 min"}, {72 * time.Hour, "for 3 days"},
	} {
		b.change("bay-1", func(p *bay.Picture) { p.StageAt = p.Now - row.since })
		require.Contains(t, text(t, b.get("/bays/bay-1")), row.want)
	}
}

// TestFailuresAreInTheReadersLanguage: a person reads why a request failed in the language
// of the page; programs read English.
func TestFailuresAreInTheReadersLanguage(t *testing.T) {
	form := "application/x-www-form-urlencoded"
	for code, r := range map[string]request{
		"not-found":    {method: http.MethodGet, path: "/nothing-here"},
		"no-such-bay":  {method: http.MethodGet, path: "/bays/bay-99"},
		"cross-origin": {method: http.MethodPost, path: "/bays/bay-1/hold", header: map[string]string{"Content-Type": form, "Sec-Fetch-Site": "cross-site"}},
		"foreign-host": {method: http.MethodPost, path: "/bays/bay-1/hold", host: "evil.example", header: map[string]string{"Content-Type": form}},
		"content-type": {method: http.MethodPost, path: "/bays/bay-1/hold", header: map[string]string{"Content-Type": "text/plain"}},
		"too-large":    {method: http.MethodPost, path: "/bays/bay-1/hold", header: map[string]string{"Content-Type": form}, body: strings.Repeat("a=b&", 1<<16)},
		"bad-form":     {method: http.MethodPost, path: "/bays/bay-1/hold", header: map[string]string{"Content-Type": form}, body: "a=%zz"},
	} {
		b := newBench(nil, "bay-1")
		if r.header == nil {
			r.header = map[string]string{}
		}
		for _, language := range words.Languages() {
			want := words.New(language, "").Failure(code)
			r.header["Cookie"] = "bayward-language=" + language
			w := b.do(r)
			require.NotEmpty(t, want, code)
			require.GreaterOrEqual(t, w.Code, 400, code)
			require.Contains(t, html.UnescapeString(w.Body.String()), want, "%s in %s", code, language)
		}
	}
}
