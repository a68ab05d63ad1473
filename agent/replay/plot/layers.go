package plot

import "bayward/agent/bay"

// span is where a stretch is on the page; a short one is widened to stay visible.
func (r *Recorder) span(f frame, s stretch) (x0, x1 float64) {
	unit, _ := r.axisOf()
	x0, x1 = f.x((s.from-r.first)/unit), f.x((s.to-r.first)/unit)
	return x0, max(x1, x0+0.5)
}

// shades draws the stages behind a curve over the whole height.
func (r *Recorder) shades(pg *page, f frame) {
	for i := range r.stages {
		for _, st := range r.stages[i].spans {
			x0, x1 := r.span(f, st)
			pg.box(shade(bay.Stage(i)), x0, f.top, x1, f.bottom)
		}
	}
}

// barRow is a row of bars.
type barRow struct {
	*row
	fill string
}

// bars draws a row and its base line.
func (r *Recorder) bars(pg *page, f frame, b barRow, y float64) {
	pg.line(stroke{soft, 0.3, ""}, f.left, f.y(y), f.right, f.y(y))
	for _, s := range b.spans {
		x0, x1 := r.span(f, s)
		pg.box(b.fill, x0, f.y(y+0.32), x1, f.y(y-0.32))
	}
}

// reference is a level with a name.
type reference struct {
	y    float64
	name string
}

// draw draws it dotted, with its name at the right.
func (l reference) draw(pg *page, f frame) {
	y := f.y(l.y)
	pg.line(stroke{ink, 0.5, "1 2"}, f.left, y, f.right, y)
	if l.name != "" {
		pg.text(7, f.right-2, y-2, toRight, l.name)
	}
}

// fullLines marks when the pack was proven full and, with names, the evidence
// beside the first ones.
func (r *Recorder) fullLines(pg *page, f frame, names bool) {
	const named = 8
	for i, m := range r.fulls {
		x, _ := r.span(f, stretch{m.at, m.at})
		pg.line(stroke{ink, 0.9, "5 2 1 2"}, x, f.top, x, f.bottom)
		if names && i < named {
			pg.text(7, x+2, f.bottom-3, fromLeft, m.text)
		}
	}
}

// curve is a quantity over time.
type curve struct {
	s     *series
	name  string
	style stroke
}

// gapPoints is how many points without a reading break the line.
const gapPoints = 3

// draw draws through the lowest and the highest value of each point, and breaks the
// line where nothing was read for long.
func (r *Recorder) draw(pg *page, f frame, l curve) {
	unit, _ := r.axisOf()
	gap := r.gap()
	var line [][2]float64
	flush := func() {
		if len(line) > 1 {
			pg.curve(l.style, line)
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
		x := f.x((float64(i) + 0.5) * r.stepS / unit)
		line = append(line, [2]float64{x, f.y(pt.lo)})
		if pt.hi != pt.lo {
			line = append(line, [2]float64{x, f.y(pt.hi)})
		}
		last = i
	}
	flush()
}

// legend names the curves at the upper right.
func legend(pg *page, f frame, curves []curve) {
	const size, sample = 8.0, 1 * centimetre
	for i, c := range curves {
		y := f.top + (size+3)*float64(i+1)
		pg.text(size, f.right-sample-8, y, toRight, c.name)
		pg.line(c.style, f.right-sample-4, y-size/3, f.right-4, y-size/3)
	}
}

// gap is how many points may be empty within a line: what is held between sparse
// rows, or gapPoints.
func (r *Recorder) gap() int {
	const heldS = 900 // the usual --hold
	return max(gapPoints, int(heldS/r.stepS)+1)
}
