package demo

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/usage"
	"bayward/agent/view"
)

// round is what must happen, in this order, at the bay that begins with bare
// plates; other events may come in between.
var round = []string{
	"finding-raised plates-bare", "visit-opened", "stage watering", "finding-cleared plates-bare", "permit-granted",
	"stage charging", "charge-full", "stage cooling", "stage ready-to-water",
	"visit-opened", "stage watering", "visit-closed", "stage rested",
}

// heard is what a client of the demo's broker has received.
type heard struct {
	mu       sync.Mutex // guards everything that follows
	events   map[string][]event
	retained map[string]string // by topic
	changed  chan struct{}
}

// event is the part of an event's payload that this test needs.
type event struct {
	Seq   uint64 `json:"seq"`
	Kind  string `json:"kind"`
	Stage string `json:"stage"`
	Code  string `json:"code"`
}

func (e event) String() string {
	switch {
	case e.Stage != "":
		return "stage " + e.Stage
	case strings.HasPrefix(e.Kind, "finding"):
		return e.Kind + " " + e.Code
	}
	return e.Kind
}

func (h *heard) take(t *testing.T, topic string, payload []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	parts := strings.Split(topic, "/")
	if parts[len(parts)-1] == "event" {
		var e event
		if err := json.Unmarshal(payload, &e); err != nil {
			t.Errorf("%s: %v in %s", topic, err, payload)
		}
		h.events[parts[3]] = append(h.events[parts[3]], e)
	} else {
		h.retained[topic] = string(payload)
	}
	select {
	case h.changed <- struct{}{}:
	default:
	}
}

// missing returns the first step of the round that has not happened yet, or "".
func (h *heard) missing() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	next := 0
	for _, e := range h.events["bay-1"] {
		if next < len(round) && e.String() == round[next] {
			next++
		}
	}
	if next == len(round) {
		return ""
	}
	return round[next]
}

func (h *heard) listen(t *testing.T, url string) {
	t.Helper()
	o := paho.NewClientOptions().AddBroker(url).SetClientID("a-listener").SetAutoReconnect(false).SetConnectTimeout(assemblytest.Bound)
	c := paho.NewClient(o)
	t.Cleanup(func() { c.Disconnect(0) })
	for _, token := range []func() paho.Token{
		c.Connect,
		func() paho.Token {
			return c.Subscribe("bayward/#", 1, func(_ paho.Client, m paho.Message) { h.take(t, m.Topic(), m.Payload()) })
		},
	} {
		if k := token(); !k.WaitTimeout(assemblytest.Bound) || k.Error() != nil {
			t.Fatal(k.Error())
		}
	}
}

// TestDemo is the whole round of a pack, from bare plates to watered and at rest,
// as a user sees it: on the terminal, at the broker, on the page and in the
// metrics. It waits for each step, however long that takes.
func TestDemo(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	r, w := io.Pipe()
	defer cancel()
	ended := make(chan error, 1)
	var complaints strings.Builder
	go func() {
		ended <- Run(ctx, &Options{Listen: "127.0.0.1:0", Broker: "127.0.0.1:0", Speed: 3600, Bays: 4}, w, &complaints)
		_ = w.Close()
	}()
	terminal := bufio.NewReader(r)
	page, url := greeting(t, terminal)
	var lines strings.Builder
	read := make(chan struct{})
	go func() { _, _ = io.Copy(&lines, terminal); close(read) }()

	h := &heard{events: map[string][]event{}, retained: map[string]string{}, changed: make(chan struct{}, 1)}
	h.listen(t, url)
	for end := time.After(15 * time.Minute); h.missing() != ""; {
		select {
		case <-h.changed:
		case err := <-ended:
			t.Fatalf("the demo ended: %v, %s", err, complaints.String())
		case <-end:
			t.Fatalf("the round stopped before %q: %v", h.missing(), h.events["bay-1"])
		}
	}
	checkPages(t, page)
	cancel()
	if err := <-ended; err != nil || complaints.String() != "" {
		t.Errorf("%v, said %q", err, complaints.String())
	}
	<-read
	checkHeard(t, h)
	asTheReadmeShows(t, lines.String())
}

// asTheReadmeShows checks that the terminal showed each line of the README's round, in its
// order. Times and amounts differ with the speed.
func asTheReadmeShows(t *testing.T, lines string) {
	t.Helper()
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	number := regexp.MustCompile("[0-9]+")
	left := number.ReplaceAllString(lines, "#")
	n := 0
	for line := range strings.Lines(string(readme)) {
		if !strings.HasPrefix(line, "day 1 ") {
			continue
		}
		n++
		var found bool
		if _, left, found = strings.Cut(left, number.ReplaceAllString(line, "#")); !found {
			t.Fatalf("the terminal does not show, after the lines before it, %q:\n%s", line, lines)
		}
	}
	if n < 8 {
		t.Errorf("the README shows %d lines of the demo", n)
	}
}

// greeting reads the addresses at the top of the terminal.
func greeting(t *testing.T, r *bufio.Reader) (page, broker string) {
	t.Helper()
	addresses := regexp.MustCompile(`(?s)page\s+(http://127\.0\.0\.1:[0-9]+)/.*metrics\s+http://127\.0\.0\.1:[0-9]+/metrics.*broker\s+(tcp://127\.0\.0\.1:[0-9]+) `)
	var text strings.Builder
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			t.Fatalf("%v after %q", err, text.String())
		}
		text.WriteString(line)
		if found := addresses.FindStringSubmatch(text.String()); found != nil {
			return found[1], found[2]
		}
	}
}

func checkPages(t *testing.T, page string) {
	t.Helper()
	var body struct{ Bays []view.View }
	if err := json.Unmarshal([]byte(assemblytest.Get(t, page+"/api/v1/bays")), &body); err != nil || len(body.Bays) != 4 || body.Bays[0].Bay != "bay-1" {
		t.Errorf("/api/v1/bays: %v %+v", err, body)
	}
	metrics := assemblytest.Get(t, page+"/metrics")
	for _, want := range []string{
		`bayward_charge_permitted{bay="bay-1"} `, `bayward_finding{bay="bay-3",code="level-unknown"} `, "bayward_relay_closed{", "bayward_tick_duration_seconds_count ",
		"bayward_mqtt_connected 1",
	} {
		if !strings.Contains(metrics, "\n"+want) {
			t.Errorf("/metrics does not show %s", want)
		}
	}
	if !strings.Contains(assemblytest.Get(t, page+"/"), "bay-1") {
		t.Error("the page does not show bay-1")
	}
}

// checkHeard checks that events are numbered without gaps and that the retained
// topics of each bay and of the agent exist.
func checkHeard(t *testing.T, h *heard) {
	t.Helper()
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, name := range []string{"bay-1", "bay-2", "bay-3", "bay-4"} {
		all := h.events[name]
		if len(all) == 0 || h.retained["bayward/quarry-road/shed-2/"+name+"/state"] == "" {
			t.Errorf("%s: %d events, state %q", name, len(all), h.retained["bayward/quarry-road/shed-2/"+name+"/state"])
			continue
		}
		slices.SortStableFunc(all, func(a, b event) int { return int(a.Seq) - int(b.Seq) })
		for i := range all[1:] {
			if all[i+1].Seq > all[i].Seq+1 {
				t.Errorf("%s: event %d follows %d", name, all[i+1].Seq, all[i].Seq)
			}
		}
	}
	if status := h.retained["bayward/quarry-road/shed-2/status"]; !strings.Contains(status, `"state":"offline"`) {
		t.Errorf("the last status is %q, want offline", status)
	}
	if notice := h.retained["bayward/quarry-road/shed-2/bay-1/notice"]; !strings.Contains(notice, `"kind":"ready-to-water"`) || !strings.Contains(notice, "settled") {
		t.Errorf("the last notice of bay-1 is %q", notice)
	}
}

// TestDemoBays: any number of bays gives a valid configuration, each bay with its
// own buses, lines and sensors, and every bay ticks, is on the page and is in the
// metrics.
func TestDemoBays(t *testing.T) {
	t.Parallel()
	for _, n := range []int{0, -1, 1001} {
		if err := Run(t.Context(), &Options{Speed: 600, Bays: n}, io.Discard, io.Discard); !usage.Is(err) || !strings.Contains(err.Error(), "--bays") {
			t.Errorf("--bays %d: %v", n, err)
		}
	}
	for _, n := range []int{1, 3, 60} {
		var out strings.Builder
		ctx, cancel := context.WithCancel(t.Context())
		d, err := build(ctx, &Options{Speed: 1, Listen: "127.0.0.1:0", Broker: "127.0.0.1:0", Bays: n}, &out, assemblytest.Quiet(), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		d.Loop.Start(ctx)
		for range 40 {
			d.bench.Advance(tick)
			if err := d.Loop.Tick(ctx); err != nil {
				t.Fatal(err)
			}
		}
		for _, p := range d.Loop.Pictures() {
			if p.Stage == bay.StageUnknown || p.Stage == bay.Checking || !p.Seen.PackV.OK() || !p.Seen.PackC.OK() {
				t.Errorf("%d bays: %s is %v, its voltage %v", n, p.Bay, p.Stage, p.Seen.PackV)
			}
		}
		if got := len(d.Loop.Pictures()); got != n {
			t.Errorf("%d bays wanted, %d run", n, got)
		}
		cancel()
		if err := errors.Join(d.Close(), d.broker.Close()); err != nil {
			t.Error(err)
		}
	}
}
