package plot

// frame is where a panel's data are on the page, and the values at its edges.
type frame struct {
	left, right, top, bottom float64
	xMax, yMin, yMax         float64 // the time begins at 0
}

func (f frame) x(v float64) float64 { return f.left + (f.right-f.left)*v/f.xMax }

func (f frame) y(v float64) float64 {
	return f.bottom - (f.bottom-f.top)*(v-f.yMin)/(f.yMax-f.yMin)
}

// The parts of an axis.
const (
	tickSize  = 8.0
	labelSize = 9.0
	tickLen   = 4.0
)

// axes draws a panel's lines, ticks and label around its data.
func (f frame) axes(pg *page, p panel, times []tick) {
	s := stroke{colour: ink, width: 0.5}
	pg.line(s, f.left, f.top, f.left, f.bottom)
	pg.line(s, f.left, f.bottom, f.right, f.bottom)
	for _, t := range times {
		pg.line(s, f.x(t.at), f.bottom, f.x(t.at), f.bottom+tickLen)
	}
	for _, t := range p.ticks {
		y := f.y(t.at)
		pg.line(s, f.left-tickLen, y, f.left, y)
		pg.text(tickSize, f.left-tickLen-2, y+tickSize/3, toRight, t.label)
	}
	pg.upwards(labelSize, f.left-p.labelsWidth()+labelSize, (f.top+f.bottom)/2, p.label)
}

func (f frame) timeLabels(pg *page, times []tick, label string) {
	for _, t := range times {
		pg.text(tickSize, f.x(t.at), f.bottom+tickLen+tickSize+1, centred, t.label)
	}
	pg.text(labelSize, (f.left+f.right)/2, f.bottom+tickLen+tickSize+labelSize+4, centred, label)
}
