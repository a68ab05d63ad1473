package plot

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

const (
	width       = 26 * vg.Centimeter
	quantityH   = 4.2 * vg.Centimeter
	rowH        = 0.55 * vg.Centimeter
	rowsMargin  = 0.5 * vg.Centimeter
	headH       = 1.6 * vg.Centimeter
	axisH       = 1.1 * vg.Centimeter
	footH       = 0.7 * vg.Centimeter
	margin      = 0.4 * vg.Centimeter
	daysFromH   = 96 // beyond, the axis counts days
	secondsHour = 3600.0
)

// ErrNothing says that there is nothing to draw.
var ErrNothing = errors.New("no row was seen, there is nothing to draw")

// panel is one plot with its height.
type panel struct {
	plot *plot.Plot
	h    vg.Length
}

// WriteSVG draws the picture as SVG. The error is ErrNothing or the writer's.
func (r *Recorder) WriteSVG(w io.Writer) error {
	if !r.any {
		return ErrNothing
	}
	panels := r.panels()
	h := headH + axisH + footH + 2*margin
	for _, p := range panels {
		h += p.h
	}
	c := vgsvg.NewWith(vgsvg.UseWH(width, h))
	dc := draw.New(c)
	dc.FillPolygon(white, []vg.Point{{X: 0, Y: 0}, {X: width, Y: 0}, {X: width, Y: h}, {X: 0, Y: h}})
	r.head(draw.Crop(dc, margin, -margin, 0, -margin))
	stack(draw.Crop(dc, margin, -margin, margin+footH, -headH-margin), panels)
	foot(draw.Crop(dc, margin, -margin, margin, 0))
	if _, err := c.WriteTo(w); err != nil {
		return fmt.Errorf("write the picture: %w", err)
	}
	return nil
}

// stack puts panels above each other with their data areas aligned.
func stack(c draw.Canvas, panels []panel) {
	boxes := make([]draw.Canvas, len(panels))
	top, left, right := vg.Length(0), vg.Length(0), vg.Length(0)
	for i, p := range panels {
		h := p.h
		if i == len(panels)-1 {
			h += axisH
		}
		boxes[i] = draw.Crop(c, 0, 0, c.Max.Y-c.Min.Y-top-h, -top)
		top += h
		d := p.plot.DataCanvas(boxes[i])
		left = max(left, d.Min.X-boxes[i].Min.X)
		right = max(right, boxes[i].Max.X-d.Max.X)
	}
	for i, p := range panels {
		d := p.plot.DataCanvas(boxes[i])
		p.plot.Draw(draw.Crop(boxes[i], left-(d.Min.X-boxes[i].Min.X), -(right - (boxes[i].Max.X - d.Max.X)), 0, 0))
	}
}

func (r *Recorder) head(c draw.Canvas) {
	cells := "cells"
	if r.pack.Cells == 1 {
		cells = "cell"
	}
	title := fmt.Sprintf("%s: pack %s, %d %s, %g Ah", filepath.Base(r.file), r.pack.Name, r.pack.Cells, cells, r.pack.CapacityAh)
	c.FillText(textStyle(14, draw.XLeft, draw.YTop), vg.Point{X: c.Min.X, Y: c.Max.Y}, title)
	var n string
	switch len(r.fulls) {
	case 0:
		n = "never proven full"
	case 1:
		n = "proven full once (vertical line)"
	default:
		n = fmt.Sprintf("proven full %d times (vertical lines)", len(r.fulls))
	}
	sub := fmt.Sprintf("%.4g h; %s. Shades behind the curves are the stages in the rows at the top.", (r.last-r.first)/secondsHour, n)
	c.FillText(textStyle(9, draw.XLeft, draw.YTop), vg.Point{X: c.Min.X, Y: c.Max.Y - 0.75*vg.Centimeter}, sub)
}

func foot(c draw.Canvas) {
	c.FillText(textStyle(8, draw.XLeft, draw.YBottom), vg.Point{X: c.Min.X, Y: c.Min.Y},
		"What the decision core made of the readings; each point is the span of the values that it stands for. Not a certified safety device.")
}

// axisOf gives the unit of the time axis.
func (r *Recorder) axisOf() (unitS float64, label string) {
	if (r.last-r.first)/secondsHour > daysFromH {
		return 24 * secondsHour, "time since the first row, days"
	}
	return secondsHour, "time since the first row, h"
}
