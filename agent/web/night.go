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
	From   string // clock times of the ends
	To     string
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
	Ticks              []mark
	Limits             []mark // what the curve is judged by
}

// mark is a line across a curve's box, and its text beside it.
type mark struct {
	Y, TextY    float64
	Text, Class string
}

// tickHigh is the height of the column of figures beside a curve, in drawing units.
const tickHigh = 104.0

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
	now := s.clock()
	n.From, n.To = clockTime(now, -width), clockTime(now, 0)
	b := box{points: points, from: p.Now - width, width: width, p: p}
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
	p      *bay.Picture
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
	unit, symbol := unitOfCurve(v, class)
	a := newAxis(b.p, v, class, low, high, unit)
	c.Lines = b.runs(func(x point) float64 { return a.y(unit(float64(of(x))), boxHigh) })
	for _, at := range a.ticks() {
		y := a.y(at, tickHigh)
		c.Ticks = append(c.Ticks, mark{Y: a.y(at, boxHigh), TextY: min(max(y+4, 11), tickHigh-1), Text: v.Pointed(strconv.FormatFloat(math.Round(at*1000)/1000, 'f', -1, 64)) + " " + symbol})
	}
	for _, l := range a.Limits {
		c.Limits = append(c.Limits, mark{Y: a.y(l.At, boxHigh), Text: l.Name + " " + v.Pointed(strconv.FormatFloat(math.Round(l.At*100)/100, 'f', -1, 64)) + " " + symbol, Class: l.Class})
	}
	return c
}

// unitOfCurve returns how a curve's SI values are shown.
func unitOfCurve(v words.Voice, class string) (convert func(float64) float64, symbol string) {
	switch class {
	case "volts":
		return func(x float64) float64 { return x }, "V"
	case "amperes":
		return func(x float64) float64 { return x }, "A"
	case "heat":
		return v.Units().Temperature.Of, v.Units().Temperature.Symbol
	}
	return v.Units().Length.Of, v.Units().Length.Symbol
}

// runs leaves a gap where the value is unknown.
func (b *box) runs(y func(point) float64) []string {
	var all []string
	var run strings.Builder
	for _, x := range b.points {
		at := y(x)
		if math.IsNaN(at) {
			if run.Len() > 0 {
				all = append(all, run.String())
				run.Reset()
			}
			continue
		}
		fmt.Fprintf(&run, "%.1f,%.1f ", b.x(x.at), at)
	}
	if run.Len() > 0 {
		all = append(all, run.String())
	}
	return all
}
