package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
	"bayward/mqtt/broker"
)

// TestYear runs eight bays and their technician through the whole program, faster
// than real time: drivers, core, relays, logbook, broker, metrics and page. Only
// the record may grow, and every counter must agree with the record.
//
//	BAYWARD_YEAR=1 go test ./agent/demo -run Year -v -timeout 3h
//
// runs that many years. Without it the test runs half a day, which also shows
// what leaks with each tick, event or scrape.
func TestYear(t *testing.T) {
	const bays = 8
	span := 12 * time.Hour
	if years := os.Getenv("BAYWARD_YEAR"); years != "" {
		n, err := strconv.ParseFloat(years, 64)
		require.NoError(t, err)
		span = time.Duration(n * 365 * 24 * float64(time.Hour))
	}
	y := newLongSite(t, bays)
	marks := y.live(t, span)

	first, last := marks[0], marks[len(marks)-1]
	days := span.Hours() / 24
	t.Logf("figure: %v days of %d bays: heap %.2f to %.2f MB, %d to %d goroutines, %d to %d files, logbook %.3f MB a day for each bay",
		days, bays, first.heapMB, last.heapMB, first.goroutines, last.goroutines, first.files, last.files, y.sizeMB(t)/days/bays)
	// The first mark is after an eighth of the span: everything made only once exists
	// by then.
	require.Less(t, last.heapMB, 1.25*first.heapMB+1, "the memory grows")
	require.LessOrEqual(t, last.goroutines, first.goroutines+spare, "goroutines leak")
	require.LessOrEqual(t, last.files, first.files+4, "files leak")
	require.Less(t, y.sizeMB(t), bays*(0.2*days+1), "the logbook is larger than the README says")
	require.Zero(t, y.Loop.Dropped())
	require.Zero(t, y.Loop.Panics())
	require.Zero(t, y.Loop.GuardTrips())
	require.Zero(t, y.Recorder.Dropped())
	y.counters(t, bays, span)
}

// longSite is a whole agent whose ticks a test runs, with a broker and a listener
// that counts what arrives.
type longSite struct {
	*assemblytest.Site
	ear *counter
}

// step is the time between two ticks, as long as the rules allow between
// readings: at a tick a second, a year would take hours.
const step = 10 * time.Second

func newLongSite(t *testing.T, bays int) *longSite {
	t.Helper()
	hub, err := broker.Start(t.Context(), broker.Options{Listen: "127.0.0.1:0", Agents: []string{client}, Log: assemblytest.Quiet()})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, hub.Close()) })
	cfg := configtest.Parse(t, wearSite(bays))
	cfg.HTTP.Listen, cfg.Logbook.Path = "127.0.0.1:0", filepath.Join(t.TempDir(), "logbook.db")
	cfg.MQTT = &config.MQTT{Broker: hub.URL(), ClientID: client}
	y := &longSite{ear: &counter{last: map[string]uint64{}, changed: make(chan struct{}, 1)}}
	y.Site = assemblytest.New(t, cfg, wearStarts(bays), func(s *assemblytest.Site, p *assembly.Parts) {
		start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
		p.Wall, p.Mono = func() (time.Time, bool) { return start.Add(s.Bench.Now()), true }, s.Bench.Now
		p.BootID, p.Every = "year", step
		p.Gap = func(logbook.Stamp) (time.Duration, bool) { return 0, false }
	})
	y.ear.listen(t, hub.URL())
	return y
}

// String formats a mark for the log.
func (m mark) String() string {
	return fmt.Sprintf("day %.1f: heap %.2f MB, %d goroutines, %d files", m.at.Hours()/24, m.heapMB, m.goroutines, m.files)
}

// mark is what the program holds at one time.
type mark struct {
	at                time.Duration
	heapMB            float64
	goroutines, files int
}

// live runs the ticks, and takes a mark and a scrape at each eighth of the span.
func (y *longSite) live(t *testing.T, span time.Duration) (marks []mark) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	g, gctx := errgroup.WithContext(ctx)
	require.NoError(t, y.Serve(gctx, g))
	person := newTechnician((&demoAgent{bays: y.Bays}).pour(y.Submit), y.Loop.Pictures, y.Bays)
	g.Go(func() error { return person.work(gctx) })
	for y.Bench.Now() < span {
		y.Bench.Advance(step)
		for _, b := range y.Bays {
			b.SetAirflow(y.Bench.Now() > step) // seen off once, and a step is longer than the fans run up
		}
		require.NoError(t, y.Loop.Tick(gctx))
		for y.Recorder.Waiting() > 500 { // in real time a tick comes once a second
			runtime.Gosched()
		}
		if y.Bench.Now() >= span/8*time.Duration(len(marks)+1) {
			y.scrape(t)
			most := math.MaxInt
			if len(marks) > 0 {
				most = marks[0].goroutines + spare
			}
			y.settle(t, most)
			marks = append(marks, y.mark(t))
			t.Logf("%v", marks[len(marks)-1])
		}
	}
	y.ear.await(t, y.Book)
	cancel()
	require.NoError(t, g.Wait())
	require.NoError(t, y.Close())
	return marks
}

// spare is by how many goroutines two marks may differ: those of a query, or of a sender.
const spare = 4

// settle waits until what was begun is done, so that a busy machine does not look like a
// leak: a client that lost its broker and connects again is there twice for a moment, with
// eleven goroutines each time. What leaks does not go away by waiting.
func (y *longSite) settle(t *testing.T, most int) {
	t.Helper()
	assemblytest.Until(t, "the last event at the broker", func() bool { return y.Recorder.Waiting() == 0 && y.Book.UnsentCount() == 0 })
	http.DefaultClient.CloseIdleConnections()
	assemblytest.Until(t, fmt.Sprintf("a count of at most %d goroutines", most), func() bool { return runtime.NumGoroutine() <= most })
}

func (y *longSite) mark(t *testing.T) mark {
	t.Helper()
	files, err := os.ReadDir("/proc/self/fd")
	require.NoError(t, err)
	runtime.GC()
	runtime.GC() // a second time for what the first run only made ready to free
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return mark{y.Bench.Now(), float64(m.HeapAlloc) / 1e6, runtime.NumGoroutine(), len(files)}
}

// scrape returns the text of the metrics.
func (y *longSite) scrape(t *testing.T) string {
	t.Helper()
	res, err := http.Get("http://" + y.Address() + "/metrics")
	require.NoError(t, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, res.StatusCode)
	return string(text)
}

// sizeMB returns the size of the logbook without its reserve for a full disk.
func (y *longSite) sizeMB(t *testing.T) float64 {
	t.Helper()
	sum := int64(0)
	for _, part := range []string{"", "-journal"} {
		if info, err := os.Stat(y.Config.Logbook.Path + part); err == nil {
			sum += info.Size()
		}
	}
	return float64(sum) / 1e6
}

// counters compares the bays' counts with the logbook and with what the broker's
// listener received.
func (y *longSite) counters(t *testing.T, bays int, span time.Duration) {
	t.Helper()
	r, err := logbook.OpenReadOnly(t.Context(), y.Config.Logbook.Path)
	require.NoError(t, err)
	defer func() { require.NoError(t, r.Close()) }()
	chain, err := r.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, chain.Break)
	require.Positive(t, chain.Rows)
	for _, p := range y.Loop.Pictures() {
		var begun, full, still uint64
		var ah float64
		for c, err := range r.Charges(t.Context(), logbook.Query{Bay: p.Bay}) {
			require.NoError(t, err)
			begun++
			switch {
			case c.Full && c.Open():
				still++ // one that began on a full pack counts when it ends
			case c.Full:
				full++
			}
			if c.InAh != nil {
				ah += *c.InAh
			}
		}
		t.Logf("%s: %d charges, %d full, %.1f Ah; counted %+v", p.Bay, begun, full, ah, p.Totals)
		require.Equal(t, p.Totals.Charges, begun, p.Bay)
		require.Contains(t, []uint64{full, full + still}, p.Totals.ChargesFull, p.Bay)
		// The bay counts from the first current, the logbook from when the charge is
		// proven.
		require.InDelta(t, p.Totals.InAh, ah, 0.25*float64(begun), p.Bay)
		require.GreaterOrEqual(t, begun, uint64(math.Ceil(span.Hours()/24/2)), "%s went through no rounds", p.Bay)
		var last uint64 // an event's number
		for e, err := range r.EachEvent(t.Context(), logbook.Query{Bay: p.Bay}) {
			require.NoError(t, err)
			last++
			require.Equal(t, last, e.Seq, "%s: an event is missing", p.Bay)
		}
	}
	require.Len(t, y.Loop.Pictures(), bays)
	y.ear.mu.Lock()
	defer y.ear.mu.Unlock()
	t.Logf("figure: events heard of each bay in %v days: %v", span.Hours()/24, y.ear.last)
}

// counter receives the events of all bays and keeps only their numbers.
type counter struct {
	mu      sync.Mutex // guards what follows
	last    map[string]uint64
	gaps    []string
	changed chan struct{}
}

func (c *counter) listen(t *testing.T, url string) {
	t.Helper()
	client := paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID("a-counter").SetAutoReconnect(false).SetConnectTimeout(assemblytest.Bound))
	t.Cleanup(func() { client.Disconnect(0) })
	k := client.Connect()
	require.True(t, k.WaitTimeout(assemblytest.Bound))
	require.NoError(t, k.Error())
	k = client.Subscribe("bayward/+/+/+/event", 1, func(_ paho.Client, m paho.Message) { c.take(m.Topic(), m.Payload()) })
	require.True(t, k.WaitTimeout(assemblytest.Bound))
	require.NoError(t, k.Error())
}

func (c *counter) take(topic string, payload []byte) {
	var e struct {
		Seq uint64 `json:"seq"`
	}
	err := json.Unmarshal(payload, &e)
	name := strings.Split(topic, "/")[3]
	c.mu.Lock()
	defer c.mu.Unlock()
	if err == nil && e.Seq <= c.last[name] {
		return // a repeat, by the contract's rule for readers: a busy machine sends what did not come back in time again
	}
	if err != nil || e.Seq != c.last[name]+1 {
		c.gaps = append(c.gaps, fmt.Sprintf("%s: %d after %d, %v", name, e.Seq, c.last[name], err))
	}
	c.last[name] = e.Seq
	select {
	case c.changed <- struct{}{}:
	default:
	}
}

// await waits until every recorded event was received, without a gap.
func (c *counter) await(t *testing.T, book *logbook.Book) {
	t.Helper()
	end := time.After(assemblytest.Bound)
	for {
		unsent := book.UnsentCount()
		if unsent == 0 {
			break
		}
		select {
		case <-c.changed:
		case <-end:
			t.Fatalf("%d events have not come", unsent)
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	require.Empty(t, c.gaps)
	require.NotEmpty(t, c.last)
}
