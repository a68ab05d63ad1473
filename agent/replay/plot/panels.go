package plot

import (
	"math"

	"bayward/agent/bay"
)

const voltsLabel = "pack voltage, V"

// panel is one plot with its height.
type panel struct {
	label      string
	h          float64
	yMin, yMax float64
	ticks      []tick
	layers     []layer // from back to front
}

// layer draws one part of a panel.
type layer func(*page, frame)

func (p panel) draw(pg *page, f frame) {
	for _, l := range p.layers {
		l(pg, f)
	}
}

// labelsWidth is the room at the left for ticks and label.
func (p panel) labelsWidth() float64 {
	widest := 0.0
	for _, t := range p.ticks {
		widest = max(widest, wide(tickSize, t.label))
	}
	return widest + tickLen + labelSize + 6
}

// panels are the plots from top to bottom; a quantity without a reading has none.
func (r *Recorder) panels() []panel {
	out := []panel{r.stagePanel()}
	add := func(label string, refs []reference, curves ...curve) {
		var have []curve
		for _, c := range curves {
			if _, _, ok := c.s.scale(); ok {
				have = append(have, c)
			}
		}
		if len(have) > 0 {
			out = append(out, r.quantity(label, refs, have))
		}
	}
	add(voltsLabel, nil, curve{&r.series[volts], "", stroke{blue, 1, ""}})
	add("current, A (+ charging)", []reference{{0, ""}}, curve{&r.series[amperes], "", stroke{orange, 1, ""}})
	add("temperature, °C", nil,
		curve{&r.series[packC], "pack", stroke{purple, 1.2, ""}},
		curve{&r.series[ambientC], "ambient", stroke{green, 1, "4 2"}})
	add("level, mm above the plate tops", []reference{
		{0, "plate tops"}, {r.pack.ChargeLevelMM, "lowest level for charging"}, {r.pack.FillMarkMM, "fill mark"}, {r.pack.VentWellMM, "bottom of the vent well"},
	}, curve{&r.series[levelMM], "", stroke{blue, 1, ""}})
	if p, ok := r.findingPanel(); ok {
		out = append(out, p)
	}
	return out
}

func (r *Recorder) quantity(label string, refs []reference, curves []curve) panel {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range curves {
		a, b, _ := c.s.scale()
		lo, hi = min(lo, a), max(hi, b)
	}
	for _, ref := range refs {
		lo, hi = min(lo, ref.y), max(hi, ref.y)
	}
	pad := max(0.06*(hi-lo), 0.01*math.Abs(hi), 0.05)
	p := panel{label: label, h: quantityH, yMin: lo - pad, yMax: hi + pad, layers: []layer{r.shades}}
	p.ticks = ticks{most: 6}.between(p.yMin, p.yMax)
	for _, ref := range refs {
		p.layers = append(p.layers, ref.draw)
	}
	p.layers = append(p.layers, func(pg *page, f frame) { r.fullLines(pg, f, label == voltsLabel) })
	for _, c := range curves {
		p.layers = append(p.layers, func(pg *page, f frame) { r.draw(pg, f, c) })
	}
	if len(curves) > 1 {
		p.layers = append(p.layers, func(pg *page, f frame) { legend(pg, f, curves) })
	}
	return p
}

// rowsPanel draws named rows, the first at the top.
func (r *Recorder) rowsPanel(label string, rows []barRow) panel {
	p := panel{label: label, h: rowH*float64(len(rows)) + rowsMargin, yMin: -0.5, yMax: float64(len(rows)) - 0.5}
	for i, row := range rows {
		y := float64(len(rows) - 1 - i)
		p.ticks = append(p.ticks, tick{y, row.name})
		p.layers = append(p.layers, func(pg *page, f frame) { r.bars(pg, f, row, y) })
	}
	return p
}

func (r *Recorder) stagePanel() panel {
	var rows []barRow
	for s := range r.stages {
		if st := &r.stages[s]; len(st.spans) > 0 {
			rows = append(rows, barRow{st, bar(bay.Stage(s))})
		}
	}
	if len(r.permit.spans) > 0 {
		rows = append(rows, barRow{&r.permit, green})
	}
	return r.rowsPanel("stage", rows)
}

func (r *Recorder) findingPanel() (panel, bool) {
	var rows []barRow
	for c := range r.findings {
		if f := &r.findings[c]; len(f.spans) > 0 {
			rows = append(rows, barRow{f, orange})
		}
	}
	if len(rows) == 0 {
		return panel{}, false
	}
	return r.rowsPanel("findings", rows), true
}
