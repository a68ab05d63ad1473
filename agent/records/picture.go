package records

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"bayward/agent/logbook"
)

// The picture of level over time, in units of its viewBox.
const (
	pictureWide, pictureHigh = 1000.0, 300.0
	plotLeft, plotRight      = 60.0, 990.0
	plotTop, plotFoot        = 20.0, 265.0
	maxPoints                = 720 // about one for each unit of width that a printer resolves
)

// picture is what the template draws.
type picture struct {
	Band    []string // areas between minimum and mean, as points
	Lines   []string // means, as points
	Levels  []level
	Ticks   []tick
	Visits  []float64
	Summary string
	Skipped int // readings with an untrusted time
}

type level struct {
	Y     float64
	Class string
	Name  string
}

type tick struct {
	X    float64
	Text string
}

// levelPoint is the level in one part of the time.
type levelPoint struct {
	from, to time.Time
	sum, n   float64
	low      float64
}

// levelTrack keeps a curve of any length in a bounded number of points, by joining
// neighbours when there are too many.
type levelTrack struct{ points []levelPoint }

func (c *levelTrack) add(p levelPoint) {
	if c.points = append(c.points, p); len(c.points) < 2*maxPoints {
		return
	}
	joined := c.points[:0]
	for i := 0; i+1 < len(c.points); i += 2 {
		a, b := c.points[i], c.points[i+1]
		joined = append(joined, levelPoint{a.from, b.to, a.sum + b.sum, a.n + b.n, min(a.low, b.low)})
	}
	c.points = joined
}

func (p *report) level(ctx context.Context, r *logbook.Reader, q logbook.Query) error {
	var track levelTrack
	skipped := 0
	for s, err := range r.Series(ctx, q) {
		switch {
		case err != nil:
			return err
		case s.LevelMM == nil:
		case !s.Start.Trusted:
			skipped++
		default:
			low := *s.LevelMM
			if s.LevelMMMin != nil {
				low = *s.LevelMMMin
			}
			weight := max(s.SpanS, 1)
			to := s.Start.Wall.Add(time.Duration(s.SpanS * float64(time.Second)))
			track.add(levelPoint{s.Start.Wall, to, *s.LevelMM * weight, weight, low})
		}
	}
	if len(track.points) > 0 {
		p.Level = p.draw(track.points)
		p.Level.Skipped = skipped
	}
	return nil
}

// scale converts time and level to coordinates of the picture.
type scale struct {
	from, to  time.Time
	low, high float64 // mm
}

func (s *scale) x(t time.Time) float64 {
	return round1(plotLeft + (plotRight-plotLeft)*t.Sub(s.from).Seconds()/max(s.to.Sub(s.from).Seconds(), 1))
}

func (s *scale) y(mm float64) float64 {
	return round1(plotFoot - (plotFoot-plotTop)*(mm-s.low)/(s.high-s.low))
}

func round1(v float64) float64 { return math.Round(v*10) / 10 }

func (p *report) draw(points []levelPoint) *picture {
	s := scale{points[0].from, points[len(points)-1].to, 0, 5}
	lowest := math.Inf(1)
	for _, c := range points {
		lowest = min(lowest, c.low)
		s.high = max(s.high, c.sum/c.n)
	}
	s.low = min(0, lowest) - 2
	if p.Facts != nil {
		s.high = max(s.high, p.Facts.VentWellMM)
	}
	s.high += 2
	out := &picture{Levels: p.levels(&s), Ticks: p.ticks(&s)}
	out.curves(&s, points)
	for _, t := range p.visited {
		if !t.Before(s.from) && !t.After(s.to) {
			out.Visits = append(out.Visits, s.x(t))
		}
	}
	out.Summary = p.T("level.summary", p.day(s.from), p.day(s.to), p.length(lowest)+" "+p.Length)
	return out
}

// curves begins a new line after a long time without readings.
func (out *picture) curves(s *scale, points []levelPoint) {
	gap := max(6*time.Hour, s.to.Sub(s.from)/50)
	begin := 0
	for i := range points {
		if i+1 < len(points) && points[i+1].from.Sub(points[i].to) <= gap {
			continue
		}
		out.curve(s, points[begin:i+1])
		begin = i + 1
	}
}

func (out *picture) curve(s *scale, points []levelPoint) {
	var mean, low []string
	for _, c := range points {
		for _, t := range []time.Time{c.from, c.to} {
			x := s.x(t)
			mean = append(mean, fmt.Sprintf("%g,%g", x, s.y(c.sum/c.n)))
			low = append(low, fmt.Sprintf("%g,%g", x, s.y(c.low)))
		}
	}
	out.Lines = append(out.Lines, strings.Join(mean, " "))
	for i, j := 0, len(low)-1; i < j; i, j = i+1, j-1 {
		low[i], low[j] = low[j], low[i]
	}
	out.Band = append(out.Band, strings.Join(append(mean, low...), " "))
}

func (p *report) levels(s *scale) []level {
	at := func(mm float64, class, name string) level {
		return level{s.y(mm), class, fmt.Sprintf("%s %s %s", name, p.length(mm), p.Length)}
	}
	out := []level{at(0, "plates", p.T("level.plates"))}
	if f := p.Facts; f != nil {
		out = append(out, at(f.ChargeLevelMM, "least", p.T("level.charge")), at(f.FillMarkMM, "mark", p.T("level.mark")), at(f.VentWellMM, "well", p.T("level.well")))
	}
	return out
}

// ticks returns up to about eight dates at round steps.
func (p paper) ticks(s *scale) []tick {
	days := s.to.Sub(s.from).Hours() / 24
	step := 1
	for _, n := range []int{1, 2, 7, 14, 30, 61, 122, 365} {
		if step = n; days/float64(n) <= 8 {
			break
		}
	}
	if days < 2 {
		return p.hourTicks(s)
	}
	var out []tick
	y, m, d := s.from.In(p.zone).Date()
	day := time.Date(y, m, d+1, 0, 0, 0, 0, p.zone)
	for ; !day.After(s.to); day = day.AddDate(0, 0, step) {
		out = append(out, tick{s.x(day), day.Format(time.DateOnly)})
	}
	return out
}

func (p paper) hourTicks(s *scale) []tick {
	var out []tick
	step := max(time.Hour, s.to.Sub(s.from)/6).Truncate(time.Hour)
	for t := s.from.In(p.zone).Truncate(time.Hour).Add(time.Hour); !t.After(s.to); t = t.Add(step) {
		out = append(out, tick{s.x(t), t.Format("02 15:04")})
	}
	return out
}
