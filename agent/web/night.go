package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// night is the chart of the last hours: curves over bands of stages.
type night struct {
	Known  bool
	Hours  int
	Spans  []spanLink
	Curves []curve
	Bands  []band
	Ago    string
	Stages []stageSpan
}

// spanLink is a link that selects how far to look back.
type spanLink struct {
	Hours int
	Text  string
	Here  bool
}

// curve is one value over time, in a box of 1000 by 100 that is stretched to the
// page. Its text is outside the box to stay readable.
type curve struct {
	Class, Name, Label string
	Low, High          string
	Lines              []string // one per run of points without a gap
}

type band struct {
	X, W  float64
	Class string
}

type stageSpan struct{ Class, Name, Ago string }

const (
	boxWide, boxHigh = 1000.0, 100.0
	nightHours       = 12
)

func (s *server) newNight(p *bay.Picture, v words.Voice, asked string) night {
	h := hoursAsked(asked)
	n := night{Hours: h}
	for _, hours := range []int{1, 3, 12, 36} {
		n.Spans = append(n.Spans, spanLink{hours, v.Say("night.last", fmt.Sprintf("%d h", hours)), hours == h})
	}
	if s.Past == nil {
		return n
	}
	width := time.Duration(h) * time.Hour
	points := s.Past.since(p.Bay, p.Now-width)
	if n.Known = len(points) > 1; !n.Known {
		return n
	}
	width = min(width, max(p.Now-points[0].at, time.Minute)) // a short record fills the box
	n.Ago = v.Say("night.ago", v.Span(width))
	b := box{points: points, from: p.Now - width, width: width}
	n.Bands, n.Stages = b.bands(v, p.Now)
	n.Curves = []curve{
		b.curve(v, "volts", v.Say("value.voltage"), func(x point) float32 { return x.v }, func(y float64) string { return v.Figure(y, 1, "V") }),
		b.curve(v, "amperes", v.Say("value.current"), func(x point) float32 { return x.a }, func(y float64) string { return reading.Digits(y, 0) + " A" }),
		b.curve(v, "heat", v.Say("value.temperature"), func(x point) float32 { return x.c }, v.Temperature),
		b.curve(v, "level", v.Say("value.level"), func(x point) float32 { return x.mm }, v.Height),
	}
	return n
}

// hoursAsked returns how many hours to look back.
func hoursAsked(text string) int {
	h, err := strconv.Atoi(text)
	if err != nil || h < 1 || h > int(pastFor.Hours()) {
		return nightHours
	}
	return h
}

// box converts points to drawing units.
type box struct {
	points []point
	from   time.Duration
	width  time.Duration
}

func (b *box) x(at time.Duration) float64 {
	return math.Round(10*boxWide*float64(at-b.from)/float64(b.width)) / 10
}

func (b *box) bands(v words.Voice, now time.Duration) (bands []band, stages []stageSpan) {
	for i, x := range b.points {
		if i > 0 && b.points[i-1].stage == x.stage {
			continue
		}
		end := now
		for _, later := range b.points[i:] {
			if later.stage != x.stage {
				end = later.at
				break
			}
		}
		name := x.stage.String()
		bands = append(bands, band{X: b.x(x.at), W: math.Max(b.x(end)-b.x(x.at), 0), Class: name})
		stages = append(stages, stageSpan{name, v.Say("stage." + name), v.Say("night.ago", v.Span(now-x.at))})
	}
	const most = 8 // the newest; the bands show all
	if len(stages) > most {
		stages = stages[len(stages)-most:]
	}
	return bands, stages
}

func (b *box) curve(v words.Voice, class, name string, of func(point) float32, text func(float64) string) curve {
	low, high, last := math.Inf(1), math.Inf(-1), math.NaN()
	for _, x := range b.points {
		if y := float64(of(x)); !math.IsNaN(y) {
			low, high, last = math.Min(low, y), math.Max(high, y), y
		}
	}
	c := curve{Class: class, Name: name}
	if math.IsNaN(last) {
		c.Label = v.Say("night.none")
		return c
	}
	c.Low, c.High = text(low), text(high)
	c.Label = v.Say("night.label", name, v.Span(b.width), c.Low, c.High, text(last))
	room := math.Max((high-low)*0.08, 0.05)
	c.Lines = b.runs(of, low-room, high+room)
	return c
}

// runs leaves a gap where the value is unknown.
func (b *box) runs(of func(point) float32, low, high float64) []string {
	var all []string
	var run strings.Builder
	for _, x := range b.points {
		y := float64(of(x))
		if math.IsNaN(y) {
			if run.Len() > 0 {
				all = append(all, run.String())
				run.Reset()
			}
			continue
		}
		fmt.Fprintf(&run, "%.1f,%.1f ", b.x(x.at), boxHigh*(high-y)/(high-low))
	}
	if run.Len() > 0 {
		all = append(all, run.String())
	}
	return all
}
