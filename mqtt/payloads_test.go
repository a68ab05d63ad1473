package mqtt

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bayward/agent/view"
	"bayward/agent/words"
)

func ptr(x float64) *float64 { return &x }

func testView() view.View {
	return view.View{
		V: 1, Bay: "bay-1", Pack: "lift-24v", Stage: "waiting", StageForS: 12, Permit: "blocked", BlockedForS: ptr(3.5),
		Says: "At rest, not full. Charging blocked: plates are dry.",
		Findings: []view.Finding{{
			Code: "plates-bare", Title: "Plates are dry", Severity: "danger", Blocks: true, ForS: 3.5,
			Evidence: "level −2 mm", WhatToDo: "Cover the plates.", Basis: "…",
		}},
		PackV: ptr(24.31), PackC: ptr(21.5), LevelMM: ptr(-2), LevelHighMM: ptr(0),
		WaterML: []float64{195, 195}, CoverPlatesML: []float64{65, 65}, WaterLostSinceFillML: ptr(190.25), WaterLostSinceFillLowML: ptr(128.1), WaterLostSinceFillHighML: ptr(282.6), ChargeInAh: ptr(0),
		Faults: []view.Fault{{Sensor: "ambient-temperature", Fault: "missing"}},
	}
}

func TestGoldenPayloads(t *testing.T) {
	now, untrusted := testWall(), Wall{Time: time.Unix(0, 0)}
	must := func(b []byte, err error) []byte {
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	agent := Status{Version: "1.2.3", BootID: "5f0c3b1e", Epoch: "7d0f3a52c4e1b896", Page: "https://shed-2.example:8443", PageProof: "4UCX3ByCOv0VDUYbKqvM7K5h7YQ9dT0v8VWd1gXxq2E", DailyRound: "06:30"}
	online, will, shutdown := agent, agent, agent
	online.Online, online.Since = true, &untrusted
	will.Reason = "connection-lost"
	shutdown.Reason, shutdown.Since = "shutdown", &now
	for name, got := range map[string][]byte{
		"status-online":   must(online.JSON()),
		"status-will":     must(will.JSON()),
		"status-shutdown": must(shutdown.JSON()),
		"daily":           must(Daily{"2026-03-01", now}.JSON()),
		"state":           must(stateJSON(testView(), now)),
		"event-stage": must(Event{
			Bay: "bay-1", Epoch: "7d0f3a52c4e1b896", Seq: 17, At: now, BootID: "5f0c3b1e", Mono: 1234567 * time.Millisecond,
			Kind: "stage-changed", Stage: "charging", From: "waiting", Text: "Charging.",
		}.JSON()),
		"event-order": must(Event{
			Bay: "bay-1", Epoch: "7d0f3a52c4e1b896", Seq: 18, At: untrusted, BootID: "5f0c3b1e", Kind: "order-refused",
			By: `Zoë "Z" O'Neil`, Order: "a1", Text: "Refused: <no right>.",
		}.JSON()),
		"notice": must(noticeJSON("bay-1", Notice{
			Kind: "ready-to-water", State: Raised, Since: now, Text: "Full, rested and cool: ready to water, 2340 ml in all.",
			WhatToDo: "Give each cell its amount.", Cautions: words.EnglishSI().Cautions(),
		})),
	} {
		golden(t, name, got)
	}
}

// golden compares a payload with its readable file.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	var indented bytes.Buffer
	if err := json.Indent(&indented, got, "", "  "); err != nil {
		t.Fatalf("%s: %v in %s", name, err, got)
	}
	indented.WriteByte('\n')
	path := filepath.Join("testdata", name+".json")
	if *update {
		if err := os.WriteFile(path, indented.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if indented.String() != string(want) {
		t.Errorf("%s (write with -update):\n%s\nwant\n%s", name, indented.String(), want)
	}
}

// Times are RFC 3339 in UTC, section 5.6, with three digits of a second.
func TestTimesAreRFC3339(t *testing.T) {
	for _, at := range []time.Time{time.Unix(0, 0), testWall().Time, time.Date(2026, 1, 2, 3, 4, 5, 999_999_999, time.Local)} {
		text := Wall{Time: at}.stamp()
		back, err := time.Parse(time.RFC3339, text)
		if err != nil || !back.Equal(at.Truncate(time.Millisecond)) || !strings.HasSuffix(text, "Z") || len(text) != 24 {
			t.Errorf("%v became %q, %v", at, text, err)
		}
	}
}

func TestTopics(t *testing.T) {
	for got, want := range map[string]string{
		testTopics.Status():          "bayward/quarry-road/shed-2/status",
		testTopics.Daily():           "bayward/quarry-road/shed-2/daily",
		testTopics.State("bay-1"):    "bayward/quarry-road/shed-2/bay-1/state",
		testTopics.Event("bay-1"):    "bayward/quarry-road/shed-2/bay-1/event",
		testTopics.Notice("bay-1"):   "bayward/quarry-road/shed-2/bay-1/notice",
		testTopics.Command("bay-1"):  "bayward/quarry-road/shed-2/bay-1/command",
		testTopics.Response("bay-1"): "bayward/quarry-road/shed-2/bay-1/response",
	} {
		if got != want {
			t.Errorf("topic %q, want %q", got, want)
		}
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for _, c := range []struct{ site, broker, says string }{
		{"a/b", "tcp://h", `site "a/b"`},
		{"", "tcp://h", `site ""`},
		{"a+", "tcp://h", `site "a+"`},
		{"a", "h:1883", "scheme"},
		{"a", "http://h", "scheme"},
		{"a", "tcp://", "host is missing"},
		{"a", "tcp://user:secret@h", "username"},
		{"a", "tcp://user:sec%zzret@h", "cannot be read"},
	} {
		_, err := New(Options{Topics: Topics{c.site, "b"}, Brokers: []string{c.broker}, Outbox: newOutbox(), Log: quiet()})
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q, %q: %v, want %q in it", c.site, c.broker, err, c.says)
		}
		if err != nil && strings.Contains(err.Error(), "sec") {
			t.Errorf("%q: the message shows the password: %v", c.broker, err)
		}
	}
	for address, want := range map[string]string{
		"tcp://h": "h:1883", "ssl://h": "h:8883", "tcp://[::1]": "[::1]:1883", "tcp://h:77": "h:77", "ws://h/mqtt": "h",
	} {
		u, err := parseBroker(address)
		if err != nil || u.Host != want {
			t.Errorf("%s: host %v, %v; want %s", address, u, err, want)
		}
	}
}

// BenchmarkState measures what a tick of one bay costs the broker's client.
func BenchmarkState(b *testing.B) {
	c, err := New(Options{
		Brokers: []string{"tcp://127.0.0.1:1"}, ClientID: "bench", Topics: testTopics,
		Bays: []string{"bay-1"}, Outbox: newOutbox(), Log: quiet(),
	})
	if err != nil {
		b.Fatal(err)
	}
	view, at := testView(), testWall()
	b.ReportAllocs()
	for b.Loop() {
		c.State("bay-1", view, at)
	}
}
