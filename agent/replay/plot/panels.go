package plot

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bayward/agent/bay"
)

const voltsLabel = "pack voltage, V"

// panels are the plots from top to bottom; quantities without a reading have none.
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
			out = append(out, panel{r.quantity(label, refs, have), quantityH})
		}
	}
	add(voltsLabel, nil, curve{&r.series[volts], "", draw.LineStyle{Color: blue, Width: 1}, r})
	add("current, A (+ charging)", []reference{{0, ""}}, curve{&r.series[amperes], "", draw.LineStyle{Color: orange, Width: 1}, r})
	dashed := []vg.Length{4, 2}
	add("temperature, °C", nil,
		curve{&r.series[packC], "pack", draw.LineStyle{Color: purple, Width: 1.2}, r},
		curve{&r.series[ambientC], "ambient", draw.LineStyle{Color: green, Width: 1, Dashes: dashed}, r})
	add("cover, mm over the plates", []reference{
		{0, "plate tops"}, {r.pack.ChargeCoverMM, "charge cover"}, {r.pack.TargetCoverMM, "target"}, {r.pack.VentFloorMM, "vent floor"},
	}, curve{&r.series[coverMM], "", draw.LineStyle{Color: blue, Width: 1}, r})
	if p, ok := r.findingPanel(); ok {
		out = append(out, p)
	}
	for i := range out {
		r.timeAxis(out[i].plot, i == len(out)-1)
	}
	return out
}

func (r *Recorder) blank() *plot.Plot {
	p := plot.New()
	p.X.Tick.Label.Font, p.Y.Tick.Label.Font = sans(8), sans(8)
	p.X.Label.TextStyle.Font, p.Y.Label.TextStyle.Font = sans(9), sans(9)
	p.X.Color, p.Y.Color = ink, ink
	p.X.Padding, p.Y.Padding = 0, 0
	unit, _ := r.axisOf()
	p.X.Min, p.X.Max = 0, max((r.last-r.first)/unit, 1e-3)
	return p
}

// timeAxis labels only the lowest panel.
func (r *Recorder) timeAxis(p *plot.Plot, lowest bool) {
	t := ticks{most: 12, mute: !lowest}
	unit, label := r.axisOf()
	if unit == secondsHour {
		t.steps = hourSteps()
	}
	p.X.Tick.Marker = t
	if lowest {
		p.X.Label.Text = label
	}
}

func (r *Recorder) quantity(label string, refs []reference, curves []curve) *plot.Plot {
	p := r.blank()
	p.Y.Label.Text = label
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range curves {
		a, b, _ := c.s.scale()
		lo, hi = min(lo, a), max(hi, b)
	}
	for _, ref := range refs {
		lo, hi = min(lo, ref.y), max(hi, ref.y)
	}
	pad := max(0.06*(hi-lo), 0.01*math.Abs(hi), 0.05)
	p.Y.Min, p.Y.Max = lo-pad, hi+pad
	p.Y.Tick.Marker = ticks{most: 6}
	p.Add(shades{r})
	for _, ref := range refs {
		p.Add(ref)
	}
	p.Add(fullLines{r, label == voltsLabel})
	for i := range curves {
		p.Add(&curves[i])
	}
	if len(curves) > 1 {
		p.Legend.Top, p.Legend.TextStyle.Font, p.Legend.ThumbnailWidth = true, sans(8), 1*vg.Centimeter
		p.Legend.Padding = 3
		for i := range curves {
			p.Legend.Add(curves[i].name, &curves[i])
		}
	}
	return p
}

// rowsPlot draws named rows, the first at the top.
func (r *Recorder) rowsPlot(label string, rows []barRow) panel {
	p := r.blank()
	p.Y.Label.Text = label
	p.Y.Min, p.Y.Max = -0.5, float64(len(rows))-0.5
	ticks := make(plot.ConstantTicks, len(rows))
	for i := range rows {
		rows[i].y = float64(len(rows) - 1 - i)
		ticks[i] = plot.Tick{Value: rows[i].y, Label: rows[i].name}
		p.Add(rows[i])
	}
	p.Y.Tick.Marker = ticks
	return panel{p, rowH*vg.Length(len(rows)) + rowsMargin}
}

func (r *Recorder) stagePanel() panel {
	var rows []barRow
	for s := range r.stages {
		if st := &r.stages[s]; len(st.spans) > 0 {
			rows = append(rows, barRow{row: st, r: r, fill: bar(bay.Stage(s))})
		}
	}
	if len(r.permit.spans) > 0 {
		rows = append(rows, barRow{row: &r.permit, r: r, fill: green})
	}
	return r.rowsPlot("stage", rows)
}

func (r *Recorder) findingPanel() (panel, bool) {
	var rows []barRow
	for c := range r.findings {
		if f := &r.findings[c]; len(f.spans) > 0 {
			rows = append(rows, barRow{row: f, r: r, fill: orange})
		}
	}
	if len(rows) == 0 {
		return panel{}, false
	}
	return r.rowsPlot("findings", rows), true
}
