// Package browser_test drives the page in a real browser against the real demo, as a
// technician with a phone would. It saves a picture of each screen in the folder
// named by BAYWARD_SHOTS, or in the test's own.
package browser_test

import (
	"bufio"
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// program finds a program that a test needs. Without it the test is skipped, or
// fails if no test may be skipped.
func program(t testing.TB, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	missing(t, names[0]+" is not installed (deploy/test installs it)")
	return ""
}

func missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// axe returns the source of the accessibility checker.
func axe(t testing.TB) string {
	t.Helper()
	source, err := os.ReadFile("node_modules/axe-core/axe.min.js")
	if err != nil {
		missing(t, "axe-core is not installed: npm ci in agent/web/browser")
	}
	return string(source)
}

// demo builds the program, starts it and returns the page's address.
func demo(t *testing.T, args ...string) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "bayward")
	out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, "bayward/agent").CombinedOutput()
	require.NoError(t, err, string(out))
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	run := exec.CommandContext(ctx, binary, append([]string{"demo", "--by-hand", "--listen", "127.0.0.1:0", "--broker", "127.0.0.1:0"}, args...)...)
	run.Cancel = func() error { return run.Process.Signal(syscall.SIGTERM) }
	run.WaitDelay = 10 * time.Second
	stdout, err := run.StdoutPipe()
	require.NoError(t, err)
	run.Stderr = run.Stdout
	require.NoError(t, run.Start())
	lines, address := bufio.NewScanner(stdout), regexp.MustCompile(`http://127\.0\.0\.1:[1-9][0-9]*`)
	for lines.Scan() {
		if found := address.FindString(lines.Text()); found != "" {
			drained := make(chan struct{})
			go func() {
				defer close(drained)
				_, _ = io.Copy(io.Discard, stdout)
			}()
			t.Cleanup(func() {
				cancel()
				<-drained
				_ = run.Wait()
			})
			return found
		}
	}
	cancel()
	t.Fatalf("the demo ended without telling its address: %v", run.Wait())
	return ""
}

// screen is one browser tab.
type screen struct {
	t   testing.TB
	ctx context.Context //nolint:containedctx // it is the tab
	url string
	axe string
}

// browser starts Chromium headless.
func browser(t testing.TB) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes long; this is a short run")
	}
	path := program(t, "chromium", "chromium-browser", "google-chrome")
	options := append([]chromedp.ExecAllocatorOption{}, chromedp.DefaultExecAllocatorOptions[:]...)
	options = append(options, chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("host-resolver-rules", "MAP shed-2.local 127.0.0.1"), chromedp.Flag("hide-scrollbars", true), chromedp.WSURLReadTimeout(time.Minute))
	alloc, endAlloc := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, endBrowser := chromedp.NewContext(alloc)
	require.NoError(t, chromedp.Do(ctx), "start Chromium")
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx)
		endBrowser()
		endAlloc()
	})
	return ctx
}

// tab opens a separate tab, as on another device: nothing is shared.
func tab(browser context.Context, t testing.TB, url string, width, height int64) *screen {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	s := &screen{t: t, url: url, axe: axe(t)}
	phone := func(p *emulation.SetDeviceMetricsOverrideParams, _ *emulation.SetTouchEmulationEnabledParams) {
		p.Mobile = width < 600
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, height, phone)))
	limited, stop := context.WithTimeout(ctx, 2*time.Minute)
	s.ctx = limited
	t.Cleanup(func() { stop(); cancel() })
	return s
}

func (s *screen) do(steps ...chromedp.Action[chromedp.Void]) {
	s.t.Helper()
	require.NoError(s.t, chromedp.Do(s.ctx, steps...), s.where())
}

// of returns the value of an expression in the page.
func of[T any](s *screen, expression string, options ...chromedp.EvaluateOption) T {
	s.t.Helper()
	v, err := chromedp.Run(s.ctx, chromedp.Evaluate[T](expression, options...))
	require.NoError(s.t, err, "%s on %s", expression, s.where())
	return v
}

// until waits until an expression in the page is true.
func (s *screen) until(expression string) {
	s.t.Helper()
	_, err := chromedp.Run(s.ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(100*time.Second)))
	require.NoError(s.t, err, "%s on %s", expression, s.where())
}

func (s *screen) open(path string) {
	s.t.Helper()
	s.do(chromedp.Navigate(s.url + path))
}

// click clicks a visible element and waits for the page that it leads to.
func (s *screen) click(selector string) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.ctx, 30*time.Second)
	defer cancel()
	_, err := chromedp.RunResponse(ctx, chromedp.Evaluate[chromedp.Void]("document.querySelector("+strconv.Quote(selector)+").click()"))
	require.NoError(s.t, err, "click %s on %s", selector, s.where())
}

// press clicks an element that does not leave the page.
func (s *screen) press(selector string) {
	s.t.Helper()
	// Not a click at a place on the screen: the page may be scrolling there smoothly.
	of[any](s, "document.querySelector("+strconv.Quote(selector)+").click()")
}

// tickAll ticks every box of the page.
func (s *screen) tickAll() {
	s.t.Helper()
	of[chromedp.Void](s, `document.querySelectorAll("input[type=checkbox]").forEach(box => box.click())`)
}

func (s *screen) write(selector, text string) {
	s.t.Helper()
	of[chromedp.Void](s, "document.querySelector("+strconv.Quote(selector)+").value = \"\"")
	s.do(chromedp.SendKeys(chromedp.CSS(selector), text))
}

func (s *screen) where() string {
	at, err := chromedp.Run(s.ctx, chromedp.Location())
	if err != nil {
		return err.Error()
	}
	return at
}

func (s *screen) text() string {
	s.t.Helper()
	text, err := chromedp.Run(s.ctx, chromedp.Text(chromedp.CSS("body")))
	require.NoError(s.t, err, s.where())
	return text
}

func (s *screen) has(words ...string) {
	s.t.Helper()
	text := s.text()
	for _, w := range words {
		require.Contains(s.t, text, w, s.where())
	}
}

// faulty lists violations of the rules for every screen: accessibility faults that
// axe-core can find (WCAG 2.2 AA and its best practices), targets under 48 pixels,
// content wider than the screen, and a missing link to first aid.
const faulty = `(async () => {
	const seen = e => e.checkVisibility();
	const all = [];
	for (const v of (await axe.run(document)).violations)
		all.push(v.id + ": " + v.help + " " + v.nodes.map(n => n.html.slice(0, 160) + " " + n.failureSummary).join(" | "));
	const targets = "a,button,input:not([type=hidden]),select,summary";
	for (const e of [...document.querySelectorAll(targets)].filter(seen).filter(e => !e.matches(".skip"))) {
		const box = (e.closest("label.tick") || e).getBoundingClientRect();
		if (box.height < 47.5 || box.width < 47.5) all.push("target of " + box.width + " x " + box.height + ": " + e.outerHTML.slice(0, 120));
	}
	const page = document.documentElement;
	if (page.scrollWidth > page.clientWidth) all.push("wider than the screen: " + page.scrollWidth);
	if (location.pathname !== "/first-aid" && ![...document.querySelectorAll('a[href="/first-aid"]')].some(seen)) all.push("no first aid");
	return all;
})()`

// shot saves a picture of the whole page and checks it against the rules for every
// screen.
func (s *screen) shot(name string) {
	s.t.Helper()
	picture, err := chromedp.Run(s.ctx, chromedp.FullScreenshot(100))
	require.NoError(s.t, err)
	folder := os.Getenv("BAYWARD_SHOTS")
	if folder == "" {
		folder = s.t.TempDir()
	}
	require.NoError(s.t, os.MkdirAll(folder, 0o750))
	require.NoError(s.t, os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o600))
	of[chromedp.Void](s, s.axe)
	faults := of[[]string](s, faulty, chromedp.EvalAwaitPromise)
	if len(faults) > 0 {
		s.t.Errorf("%s: %s", name, strings.Join(faults, "\n"))
	}
}

// look saves a picture of what is on the screen, without scrolling.
func (s *screen) look(name string) {
	s.t.Helper()
	folder := os.Getenv("BAYWARD_SHOTS")
	if folder == "" {
		return
	}
	picture, err := chromedp.Run(s.ctx, chromedp.CaptureScreenshot())
	require.NoError(s.t, err)
	require.NoError(s.t, os.MkdirAll(folder, 0o750))
	require.NoError(s.t, os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o600))
}
