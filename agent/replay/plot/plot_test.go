package plot_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/charge"
	"bayward/agent/reading"
	"bayward/agent/replay"
	"bayward/agent/replay/plot"
)

func setup() bay.Setup {
	s := baytest.Setup("p")
	s.Limits.StaleAfter, s.Fitted = 15*time.Minute, 0
	return s
}

// texts returns every text of an SVG, and fails when it is not well formed.
func texts(t *testing.T, svg []byte) []string {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	var out []string
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		if s, ok := tok.(xml.CharData); ok && strings.TrimSpace(string(s)) != "" {
			out = append(out, strings.TrimSpace(string(s)))
		}
	}
}

func picture(t *testing.T, name, trace string) []byte {
	t.Helper()
	tr, err := replay.Open(name, strings.NewReader(trace))
	require.NoError(t, err)
	s := setup()
	require.NoError(t, tr.Fit(&s))
	r := plot.New(name)
	_, err = replay.Run(tr, s, io.Discard, replay.Options{Watchers: []replay.Watcher{r}})
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, r.WriteSVG(&out))
	return out.Bytes()
}

// All columns, so all panels: each has its unit, each stage and finding its name.
func TestPanels(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,pack_v,current_a,pack_c,ambient_c,level_mm\n")
	for s := 0; s < 30*3600; s += 60 {
		v, a := 25.0, 0.0
		if s > 3600 && s < 12*3600 {
			v, a = 29, 20
		}
		row := []float64{float64(s), v, a, 25 + 10*math.Sin(float64(s)/20000), 20, 8 - float64(s)/9000}
		for i, x := range row {
			if i > 0 {
				b.WriteString(",")
			}
			b.WriteString(strconv.FormatFloat(x, 'f', 3, 64))
		}
		b.WriteString("\n")
	}
	svg := picture(t, "a <night> & more.csv", b.String())
	if dir := os.Getenv("BAYWARD_PICTURES"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "panels.svg"), svg, 0o600))
	}
	got := strings.Join(texts(t, svg), "\n")
	for _, want := range []string{
		"a <night> & more.csv: pack lift-24v, 12 cells, 225 Ah", "pack voltage, V", "current, A (+ charging)", "temperature, °C",
		"pack\n", "ambient", "level, mm above the plate tops", "plate tops", "lowest level for charging", "fill mark", "bottom of the vent well",
		"time since the first row, h", "waiting", "charging", "permit granted", "plates-bare", "stage", "findings",
	} {
		require.Contains(t, got, want)
	}
}

// The published run: the moment of full is marked with its evidence.
func TestPublishedRun(t *testing.T) {
	trace, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "traces", "model_500ah_iuia_25c.csv"))
	require.NoError(t, err)
	tr, err := replay.Open("model_500ah_iuia_25c.csv", bytes.NewReader(trace))
	require.NoError(t, err)
	s := setup()
	s.Pack.Cells, s.Pack.CapacityAh, s.Pack.FullGravity = 1, 500, 1.285
	require.NoError(t, tr.Fit(&s))
	r := plot.New("model_500ah_iuia_25c.csv")
	_, err = replay.Run(tr, s, io.Discard, replay.Options{Watchers: []replay.Watcher{r}})
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, r.WriteSVG(&out))
	got := strings.Join(texts(t, out.Bytes()), "\n")
	require.Contains(t, got, "1 cell, 500 Ah")
	require.Contains(t, got, "full: steady-voltage")
	require.Contains(t, got, "proven full once")
	require.NotContains(t, got, "level, mm", "no panel for a quantity without readings")
	require.NotContains(t, got, "ambient")
}

func TestNothingSeen(t *testing.T) {
	require.ErrorIs(t, plot.New("x").WriteSVG(io.Discard), plot.ErrNothing)
}

// A single row, and a year: the same bounded picture, and a spike of one row in the
// year is still in it.
func TestAnyLength(t *testing.T) {
	svg := picture(t, "one.csv", "time_s,pack_v\n5,25\n")
	require.NotContains(t, string(svg), "NaN")
	p := bay.Picture{Pack: &bay.Pack{Name: "x", Cells: 12, CapacityAh: 225}}
	r := plot.New("year.csv")
	flick := 0
	for s := 0.0; s < 365*86400; s += 60 {
		p.Seen.PackV = reading.Good(25, 0)
		if s == 100*86400 {
			p.Seen.PackV.Value = 77
		}
		flick++
		p.Permit.Granted = flick%7 == 0
		p.Charge = charge.Status{Full: flick%1000 == 0, Evidence: charge.SteadyTaper}
		r.See(s, &p)
	}
	var out bytes.Buffer
	require.NoError(t, r.WriteSVG(&out))
	require.Less(t, out.Len(), 3<<20)
	require.NotContains(t, out.String(), "NaN")
	got := texts(t, out.Bytes())
	require.Contains(t, got, "time since the first row, days")
	require.Contains(t, got, "80", "the spike is on the scale: %v", got)
}

// Memory does not grow with the trace.
func BenchmarkSee(b *testing.B) {
	p := bay.Picture{Pack: &bay.Pack{Cells: 12}}
	p.Seen.PackV, p.Seen.CurrentA, p.Seen.PackC = reading.Good(25, 0), reading.Good(1, 0), reading.Good(25, 0)
	r := plot.New("x")
	b.ReportAllocs()
	at := 0.0
	for b.Loop() {
		r.See(at, &p)
		at++
	}
}
