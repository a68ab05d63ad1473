package plot

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
)

const (
	centimetre  = 72 / 2.54
	width       = 26 * centimetre
	quantityH   = 4.2 * centimetre
	rowH        = 0.55 * centimetre
	rowsMargin  = 0.5 * centimetre
	headH       = 1.6 * centimetre
	axisH       = 1.1 * centimetre
	footH       = 0.7 * centimetre
	margin      = 0.4 * centimetre
	gapH        = 0.25 * centimetre // between two panels
	daysFromH   = 96                // beyond this the axis counts days
	secondsHour = 3600.0
)

// ErrNothing is returned when there is nothing to draw.
var ErrNothing = errors.New("no rows, nothing to draw")

// WriteSVG draws the picture as SVG. The error is ErrNothing or the writer's.
//
// It draws by itself: a plotting library would bring fonts and other formats into a
// program that has to start fast and stay small on a board, for one command.
func (r *Recorder) WriteSVG(w io.Writer) error {
	if !r.any {
		return ErrNothing
	}
	panels := r.panels()
	h := headH + axisH + footH + 2*margin
	left := 0.0
	for _, p := range panels {
		h += p.h + gapH
		left = max(left, p.labelsWidth())
	}
	pg := newPage(width, h)
	r.head(pg)
	unit, label := r.axisOf()
	f := frame{left: margin + left, right: width - 2*margin, top: margin + headH, xMax: max((r.last-r.first)/unit, 1e-3)}
	times := r.times(f.xMax)
	for i, p := range panels {
		f.bottom, f.yMin, f.yMax = f.top+p.h, p.yMin, p.yMax
		p.draw(pg, f)
		f.axes(pg, p, times)
		if i == len(panels)-1 {
			f.timeLabels(pg, times, label)
		}
		f.top = f.bottom + gapH
	}
	pg.text(8, margin, h-margin, fromLeft, "Readings and the decisions of the core; each point is the span of the values that it represents. Not a certified safety device.")
	if _, err := w.Write(pg.end()); err != nil {
		return fmt.Errorf("write the picture: %w", err)
	}
	return nil
}

func (r *Recorder) head(pg *page) {
	cells := "cells"
	if r.pack.Cells == 1 {
		cells = "cell"
	}
	title := fmt.Sprintf("%s: pack %s, %d %s, %g Ah", filepath.Base(r.file), r.pack.Name, r.pack.Cells, cells, r.pack.CapacityAh)
	pg.text(14, margin, margin+14, fromLeft, title)
	var n string
	switch len(r.fulls) {
	case 0:
		n = "never proven full"
	case 1:
		n = "proven full once (vertical line)"
	default:
		n = fmt.Sprintf("proven full %d times (vertical lines)", len(r.fulls))
	}
	sub := fmt.Sprintf("%.4g h; %s. Shading behind the curves shows the stages in the rows at the top.", (r.last-r.first)/secondsHour, n)
	pg.text(9, margin, margin+14+0.6*centimetre, fromLeft, sub)
}

// axisOf returns the unit of the time axis.
func (r *Recorder) axisOf() (unitS float64, label string) {
	if (r.last-r.first)/secondsHour > daysFromH {
		return 24 * secondsHour, "time since the first row, days"
	}
	return secondsHour, "time since the first row, h"
}

func (r *Recorder) times(xMax float64) []tick {
	t := ticks{most: 12}
	if unit, _ := r.axisOf(); unit == secondsHour {
		t.steps = hourSteps()
	}
	return t.between(0, xMax)
}
