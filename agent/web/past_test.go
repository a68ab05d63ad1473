package web_test

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/web"
)

// night returns a bay with a record of ten hours: an hour of charge, then rest.
func night(t *testing.T) *bench {
	t.Helper()
	past := &web.Past{}
	b := newBench(func(o *web.Options) { o.Past = past }, "bay-1")
	p := b.picture("bay-1").Clone()
	for at := time.Duration(0); at <= 10*time.Hour; at += 30 * time.Second {
		p.Now, p.Stage = at, bay.Cooling
		p.Seen.PackV, p.Seen.PackC = reading.Good(25.5, at), reading.Good(30, at)
		if at < time.Hour {
			p.Stage, p.Seen.PackV = bay.Charging, reading.Good(30.5, at)
		}
		if at > 4*time.Hour && at < 5*time.Hour { // the sensor was disconnected
			p.Seen.PackC = reading.Bad(reading.Open, at)
		}
		past.Observe(p)
	}
	b.change("bay-1", func(last *bay.Picture) { *last = *p.Clone() })
	past.Happened("bay-1", []bay.Event{
		{At: time.Hour, Kind: bay.ChargeFull, Proof: charge.SteadyTaper},
		{At: 9 * time.Hour, Kind: bay.OrderTaken, By: "A. Person", Asked: order.Order{Kind: order.Fill, Cell: 3, ML: 110}},
	})
	return b
}

// TestTheNightIsDrawn: extremes, gaps and stages match the record.
func TestTheNightIsDrawn(t *testing.T) {
	b := night(t)
	page := text(t, b.get("/bays/bay-1"))
	require.Contains(t, page, "Battery voltage over the last 10 h: from 25.5 V to 30.5 V, now 25.5 V.")
	require.Contains(t, page, `Charging <small>10 h ago</small>`)
	require.Contains(t, page, `Cooling <small>9 h ago</small>`)
	band := regexp.MustCompile(`band-charging" x="0" y="0" width="([0-9.]+)"`).FindStringSubmatch(page)
	width, err := strconv.ParseFloat(band[1], 64)
	require.NoError(t, err)
	require.InDelta(t, 100, width, 1, "one hour of ten on 1000 units")
	heat := page[strings.Index(page, "plot-heat"):]
	heat = heat[:strings.Index(heat, "</svg>")]
	require.Equal(t, 2, strings.Count(heat, "<polyline"), "nothing is drawn where nothing was known")
	last := text(t, b.get("/bays/bay-1?hours=1"))
	require.Contains(t, last, "Battery voltage over the last 1 h: from 25.5 V to 25.5 V")
	require.NotContains(t, last, "Charging <small>")
	for _, odd := range []string{"0", "-1", "99999999999999999999", "x"} {
		require.Equal(t, 200, b.get("/bays/bay-1?hours="+odd).Code)
	}
}

func TestHistoryIsTold(t *testing.T) {
	page := text(t, night(t).get("/bays/bay-1"))
	first, second := strings.Index(page, "Cell 3 was given 110 ml."), strings.Index(page, "Full, proven by a steady current at the end.")
	require.True(t, first > 0 && second > first, "the newest first")
	require.Contains(t, page, "by A. Person")
}

// TestHistoryFromBefore: a sentence stored by an older version of the program is
// shown as written, whatever the language of the page.
func TestHistoryFromBefore(t *testing.T) {
	past := &web.Past{}
	b := newBench(func(o *web.Options) { o.Past, o.Language = past, "es" }, "bay-1")
	past.HappenedBefore("bay-1", []web.Before{
		{Event: bay.Event{Kind: bay.ChargeFull, Proof: charge.HandGravity}, Text: "Proven full by hand-gravity."},
		{Event: bay.Event{Kind: bay.ChargeFull, Proof: charge.HandGravity}},
	})
	page := text(t, b.get("/bays/bay-1"))
	require.Contains(t, page, "Proven full by hand-gravity.")
	require.Contains(t, page, "Llena, comprobado por lecturas de densidad.")
}

// TestThePastIsBounded: after weeks of ticks and events only what the page needs is
// kept.
func TestThePastIsBounded(t *testing.T) {
	past := &web.Past{}
	b := newBench(func(o *web.Options) { o.Past = past }, "bay-1")
	p := b.picture("bay-1").Clone()
	for i := range 20000 {
		p.Now = time.Duration(i) * 2 * time.Minute
		p.Stage = bay.Stage(1 + i%8)
		past.Observe(p)
		past.Happened("bay-1", []bay.Event{{At: p.Now, Kind: bay.PackLeft, Pack: fmt.Sprint("event-", i)}})
	}
	b.change("bay-1", func(last *bay.Picture) { *last = *p.Clone() })
	page := text(t, b.get("/bays/bay-1?hours=45"))
	require.Equal(t, 60, strings.Count(page, ">Battery event-"))
	require.Less(t, len(page), 1<<20)
}

// TestThePastForTheScript: the same record in numbers, with gaps as null and in the
// reader's units.
func TestThePastForTheScript(t *testing.T) {
	b := night(t)
	var got struct {
		AgoS   []float64             `json:"ago_s"`
		Curves map[string][]*float64 `json:"curves"`
		Units  map[string]string     `json:"units"`
		Bands  []struct {
			FromS float64 `json:"from_s"`
			ToS   float64 `json:"to_s"`
			Class string  `json:"class"`
		} `json:"bands"`
	}
	w := b.do(request{method: "GET", path: "/bays/bay-1/past.json", header: map[string]string{"Cookie": "bayward-units=us"}})
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &got))
	require.Equal(t, -36000.0, got.AgoS[0])
	require.Equal(t, 86.0, *got.Curves["heat"][0], "30 °C")
	require.Equal(t, "°F", got.Units["heat"])
	gaps := 0
	for _, y := range got.Curves["heat"] {
		if y == nil {
			gaps++
		}
	}
	require.InDelta(t, 40, gaps, 1, "an hour at a point each 90 s")
	require.Equal(t, "charging", got.Bands[0].Class)
	require.InDelta(t, -32400, got.Bands[0].ToS, 90)
	require.Zero(t, got.Bands[1].ToS)
	for _, curve := range got.Curves {
		require.Len(t, curve, len(got.AgoS))
	}
	require.Equal(t, 404, b.get("/bays/bay-9/past.json").Code)
}
