package metrics_test

import (
	"bufio"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/metrics"
	"bayward/agent/reading"
)

// TestShelfIsAsPlain: whatever bays, packs and readings come and go, the shelf shows
// the same as constant metrics of the library, created at each scrape.
func TestShelfIsAsPlain(t *testing.T) {
	pictures := func(rt *rapid.T) (all []*bay.Picture) {
		for n := range rapid.IntRange(0, 4).Draw(rt, "bays") {
			p := cooling()
			if rapid.Bool().Draw(rt, "blind") {
				p = blind()
			}
			p.Bay = fmt.Sprintf("bay-%d", rapid.IntRange(10*n, 10*n+9).Draw(rt, "name"))
			p.Pack.Name = rapid.SampledFrom([]string{"", "lift-a", "lift-b"}).Draw(rt, "pack")
			p.Pack.Cells = rapid.IntRange(1, 12).Draw(rt, "cells")
			switch rapid.IntRange(0, 2).Draw(rt, "voltage") {
			case 0:
				p.Seen.PackV = reading.Bad(reading.NoAnswer, p.Now)
			case 1:
				p.Seen.PackV.Value = math.NaN()
			}
			all = append(all, p)
		}
		return all
	}
	rapid.Check(t, func(rt *rapid.T) {
		var now []*bay.Picture
		src := sources()
		src.Pictures = func() []*bay.Picture { return now }
		c := metrics.New(src)
		library := prometheus.NewRegistry()
		require.NoError(rt, library.Register(metrics.Plain{Collector: c}))
		for range 3 {
			now = pictures(rt)
			for _, p := range now {
				c.Ticked(p)
			}
			want, err := library.Gather()
			require.NoError(rt, err)
			got, done, err := c.Gather()
			require.NoError(rt, err)
			require.Equal(rt, text(t, want), text(t, got))
			done()
		}
	})
}

func text(t *testing.T, families []*dto.MetricFamily) string {
	t.Helper()
	var b strings.Builder
	for _, f := range families {
		_, err := expfmt.MetricFamilyToText(&b, f)
		require.NoError(t, err)
	}
	return b.String()
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

// TestMisfits: a metric that a developer has forgotten to give a row, or labels that do not
// fit, are an error of the scrape that names it; the other series are shown.
func TestMisfits(t *testing.T) {
	shown, err := metrics.Misfits()
	require.Equal(t, 1, shown)
	require.ErrorContains(t, err, "bayward_rowless has no row in descs.go")
	require.ErrorContains(t, err, "bayward_wide has 3 labels, 2 at most")
	require.ErrorContains(t, err, "UTF-8")
}
