package metrics_test

import (
	"bufio"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/prometheus/common/expfmt"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/metrics"
	"bayward/agent/reading"
)

// TestKeptIsAsNew: whatever bays, packs and readings come and go, a collector that
// was scraped before shows the same as one that never was.
func TestKeptIsAsNew(t *testing.T) {
	pictures := func(rt *rapid.T) (all []*bay.Picture) {
		for n := range rapid.IntRange(0, 4).Draw(rt, "bays") {
			p := cooling()
			if rapid.Bool().Draw(rt, "blind") {
				p = blind()
			}
			p.Bay = fmt.Sprintf("bay-%d", rapid.IntRange(10*n, 10*n+9).Draw(rt, "name"))
			p.Pack.Name = rapid.SampledFrom([]string{"", "lift-a", "lift-b"}).Draw(rt, "pack")
			p.Pack.Cells = rapid.IntRange(1, 12).Draw(rt, "cells")
			if rapid.Bool().Draw(rt, "no voltage") {
				p.Seen.PackV = reading.Bad(reading.NoAnswer, p.Now)
			}
			all = append(all, p)
		}
		return all
	}
	rapid.Check(t, func(rt *rapid.T) {
		var now []*bay.Picture
		src := sources()
		src.Pictures = func() []*bay.Picture { return now }
		old := metrics.New(src)
		for range 3 {
			now = pictures(rt)
			fresh := metrics.New(src)
			for _, p := range now {
				fresh.Ticked(p)
			}
			for _, p := range now {
				old.Ticked(p)
			}
			require.Equal(rt, told(t, fresh), told(t, old))
		}
	})
}

// told leaves out what a collector counts over time.
func told(t *testing.T, c *metrics.Collector) string {
	t.Helper()
	var names []string
	for _, name := range contract {
		switch name {
		case "bayward_reading_faults_total", "bayward_reading_age_seconds", "bayward_disk_written_bytes_total":
		default:
			names = append(names, name)
		}
	}
	text, err := testutil.GatherAndFormat(gatherer(t, c), expfmt.TypeTextPlain, names...)
	require.NoError(t, err)
	return string(text)
}

// TestBrokenScrapeStopsNoOther: a panic does not leave the families locked.
func TestBrokenScrapeStopsNoOther(t *testing.T) {
	src, broken := sources(cooling()), true
	whole := src.Pictures
	src.Pictures = func() []*bay.Picture {
		if broken {
			panic("no pictures")
		}
		return whole()
	}
	c := metrics.New(src)
	_, err := gatherer(t, c).Gather()
	require.ErrorContains(t, err, "no pictures")
	broken = false
	require.Positive(t, count(t, c, "bayward_charge_permitted"))
}

// TestSlowReaderStopsNoOther: one client sends a request and stops reading; others
// are answered, with current values and not with those at the time of that request.
func TestSlowReaderStopsNoOther(t *testing.T) {
	var many []*bay.Picture // more than the buffers of a connection can hold
	for i := range 400 {
		p := cooling()
		p.Bay = fmt.Sprintf("bay-%d", i)
		many = append(many, p)
	}
	c := metrics.New(sources(many...))
	for _, p := range many {
		c.Ticked(p)
	}
	server := httptest.NewServer(metrics.Handler(registry(t, c), slog.New(slog.DiscardHandler)))
	defer server.Close()
	slow, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", server.Listener.Addr().String())
	require.NoError(t, err)
	defer slow.Close()
	_, err = io.WriteString(slow, "GET / HTTP/1.1\r\nHost: a\r\n\r\n")
	require.NoError(t, err)
	_, err = bufio.NewReaderSize(slow, 16).ReadString('\n') // its answer has begun
	require.NoError(t, err)
	client := &http.Client{Timeout: 30 * time.Second}
	for n := range uint64(3) {
		many[7].Totals.Charges = 100 + n
		answer, err := client.Get(server.URL)
		require.NoError(t, err)
		text, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		require.EqualValues(t, len(text), answer.ContentLength)
		require.Greater(t, len(text), 1<<20)
		require.Contains(t, string(text), fmt.Sprintf("bayward_charges_total{bay=\"bay-7\"} %d\n", 100+n))
	}
}
