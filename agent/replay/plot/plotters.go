package plot

import (
	"image/color"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bayward/agent/bay"
)

// span is where a stretch lies on the canvas; a short one is still seen.
func (r *Recorder) span(c draw.Canvas, p *plot.Plot, s stretch) (x0, x1 vg.Length) {
	unit, _ := r.axisOf()
	x, _ := p.Transforms(&c)
	x0, x1 = x((s.from-r.first)/unit), x((s.to-r.first)/unit)
	return x0, max(x1, x0+0.5)
}

func box(c draw.Canvas, fill color.Color, x0, x1, y0, y1 vg.Length) {
	c.FillPolygon(fill, []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}})
}

// shades are the stages behind a curve.
type shades struct{ r *Recorder }

// Plot draws them over the whole height.
func (s shades) Plot(c draw.Canvas, p *plot.Plot) {
	for i := range s.r.stages {
		for _, st := range s.r.stages[i].spans {
			x0, x1 := s.r.span(c, p, st)
			box(c, shade(bay.Stage(i)), x0, x1, c.Min.Y, c.Max.Y)
		}
	}
}

// barRow is a row of bars.
type barRow struct {
	*row
	r    *Recorder
	fill color.Color
	y    float64
}

// Plot draws the bars and the line that they stand on.
func (b barRow) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	c.StrokeLine2(draw.LineStyle{Color: soft, Width: 0.3}, c.Min.X, y(b.y), c.Max.X, y(b.y))
	for _, s := range b.spans {
		x0, x1 := b.r.span(c, p, s)
		box(c, b.fill, x0, x1, y(b.y-0.32), y(b.y+0.32))
	}
}

// reference is a level with a name.
type reference struct {
	y    float64
	name string
}

// Plot draws it dotted, with its name at the right.
func (f reference) Plot(c draw.Canvas, p *plot.Plot) {
	_, ty := p.Transforms(&c)
	y := ty(f.y)
	c.StrokeLine2(draw.LineStyle{Color: ink, Width: 0.5, Dashes: []vg.Length{1, 2}}, c.Min.X, y, c.Max.X, y)
	if f.name != "" {
		c.FillText(textStyle(7, draw.XRight, draw.YBottom), vg.Point{X: c.Max.X - 2, Y: y + 1}, f.name)
	}
}

// fullLines mark when the pack was proven full.
type fullLines struct {
	r     *Recorder
	named bool
}

// Plot draws a line each and, where asked, its evidence beside the first ones.
func (f fullLines) Plot(c draw.Canvas, p *plot.Plot) {
	const named = 8
	for i, m := range f.r.fulls {
		x, _ := f.r.span(c, p, stretch{m.at, m.at})
		c.StrokeLine2(draw.LineStyle{Color: ink, Width: 0.9, Dashes: []vg.Length{5, 2, 1, 2}}, x, c.Min.Y, x, c.Max.Y)
		if f.named && i < named {
			c.FillText(textStyle(7, draw.XLeft, draw.YBottom), vg.Point{X: x + 2, Y: c.Min.Y + 2}, m.text)
		}
	}
}

// curve is a quantity over time.
type curve struct {
	s     *series
	name  string
	style draw.LineStyle
	r     *Recorder
}

// gapPoints is how many points without a reading break the line.
const gapPoints = 3

// Plot draws through the lowest and the highest value of each point, and breaks
// where nothing was read for long.
func (l *curve) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	unit, _ := l.r.axisOf()
	gap := l.r.gap()
	var line []vg.Point
	flush := func() {
		if len(line) > 1 {
			c.StrokeLines(l.style, line)
		}
		line = nil
	}
	last := 0
	for i := range l.s.points {
		pt := &l.s.points[i]
		if !pt.any {
			continue
		}
		if len(line) > 0 && i-last > gap {
			flush()
		}
		px := x((float64(i) + 0.5) * l.r.stepS / unit)
		line = append(line, vg.Point{X: px, Y: y(pt.lo)})
		if pt.hi != pt.lo {
			line = append(line, vg.Point{X: px, Y: y(pt.hi)})
		}
		last = i
	}
	flush()
}

// Thumbnail draws the line's sample for the legend.
func (l *curve) Thumbnail(c *draw.Canvas) {
	y := c.Center().Y
	c.StrokeLine2(l.style, c.Min.X, y, c.Max.X, y)
}

// gap is how many points may be empty within a line: what is held between sparse
// rows, or gapPoints.
func (r *Recorder) gap() int {
	const heldS = 900 // the usual --hold
	return max(gapPoints, int(heldS/r.stepS)+1)
}
