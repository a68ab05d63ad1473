package web

import (
	"math"
	"slices"
	"strconv"

	"bayward/agent/bay"
	"bayward/agent/words"
)

// section is the cross-section of a pack's cells, with heights drawn to scale.
type section struct {
	Known   bool
	Label   string
	Rows    []jarRow
	Lines   []heightLine // plate top, fill mark, bottom of the vent well
	Height  float64      // of a row, in drawing units
	JarHigh float64
	NameY   float64 // of the captions below a jar
	WaterY  float64
	PlateY  float64
	Table   []sectionLine
	Summary string
}

type jarRow struct {
	Width float64
	Jars  []jar
}

// jar is one cell.
type jar struct {
	X, Y, H, Middle float64
	Name            string
	Measured        bool
	Span            float64 // height of the range that the probe leaves open, above Y
	Water           string
	Title           string
}

type heightLine struct {
	Y           float64
	Class, Name string
}

type sectionLine struct{ Cell, Level, How, Water string }

const (
	perRow      = 6
	jarWide     = 30.0
	jarStep     = 38.0
	rowWide     = jarStep*perRow + 8
	perMM       = 4.0
	belowMM     = 14.0 // of the plates, drawn
	aboveMM     = 5.0  // of the bottom of the vent well, drawn
	captionHigh = 30.0
	oddMM       = 4.0 // a cell this much lower than the middle one is marked
)

func newSection(p *bay.Picture, v words.Voice, rows [][]int) section {
	top := p.Pack.VentWellMM + aboveMM
	y := func(mm float64) float64 { return math.Round(10*perMM*(top-min(max(mm, -belowMM), top))) / 10 }
	s := section{Height: perMM*(top+belowMM) + captionHigh, PlateY: y(0)}
	s.JarHigh = s.Height - captionHigh
	s.NameY, s.WaterY = s.JarHigh+12, s.JarHigh+26
	s.Lines = []heightLine{
		{Y: y(p.Pack.VentWellMM), Class: "vent", Name: v.Say("section.vent") + " " + v.Height(p.Pack.VentWellMM)},
		{Y: y(p.Pack.FillMarkMM), Class: "mark", Name: v.Say("section.mark") + " " + v.Height(p.Pack.FillMarkMM)},
		{Y: y(0), Class: "plates", Name: v.Say("section.plates")},
	}
	s.probe(p, v, y)
	jars := map[int]jar{}
	for i := range p.Pack.Cells {
		if j, ok := s.cell(p, v, i, y); ok {
			jars[i+1] = j
		}
	}
	s.Known = len(jars) > 0 || len(s.Table) > 0
	for _, row := range rows {
		s.addRows(row, jars)
	}
	s.Summary = v.Say("section.unknown")
	if s.Known {
		s.Summary = v.Say("section.label", p.Pack.Cells, v.Say("value.level")+": "+s.Table[0].Level+".")
	}
	return s
}

// addRows draws one row of the layout. All have the same width, and so the same scale.
func (s *section) addRows(row []int, jars map[int]jar) {
	across := min(perRow, len(row))
	for part := range slices.Chunk(row, perRow) {
		r := jarRow{Width: rowWide}
		left := (rowWide - jarStep*float64(across) + jarStep - jarWide) / 2
		for i, number := range part {
			j, ok := jars[number]
			if !ok {
				continue
			}
			j.X = left + jarStep*float64(i)
			j.Middle = j.X + jarWide/2
			r.Jars = append(r.Jars, j)
		}
		if len(r.Jars) > 0 {
			s.Rows = append(s.Rows, r)
		}
	}
}

// probe adds what the probe shows now: as a line across all cells where it is not
// known which cell it is in.
func (s *section) probe(p *bay.Picture, v words.Voice, y func(float64) float64) {
	c := p.Seen.Level
	if !c.Usable() {
		return
	}
	line := sectionLine{Cell: v.Say("section.probe"), Level: v.Level(c.LowMM, c.HighMM), How: v.Say("section.measured")}
	if p.Pack.ProbeCell > 0 {
		line.Cell = v.Say("section.probe.cell", p.Pack.ProbeCell)
	} else {
		s.Lines = append(s.Lines, heightLine{Y: y(c.LowMM), Class: "probe", Name: line.Cell + " " + line.Level})
	}
	s.Table = append(s.Table, line)
}

// probed returns the cell with the probe as its probe shows it now.
func (s *section) probed(p *bay.Picture, v words.Voice, y func(float64) float64) jar {
	c := p.Seen.Level
	return jar{
		Y: y(c.LowMM), H: s.JarHigh - y(c.LowMM), Span: y(c.LowMM) - y(c.HighMM), Measured: true, Name: strconv.Itoa(p.Pack.ProbeCell) + " ▾",
		Title: v.Say("section.probe.cell", p.Pack.ProbeCell) + ": " + v.Level(c.LowMM, c.HighMM) + ", " + v.Say("section.measured"),
	}
}

func (s *section) cell(p *bay.Picture, v words.Voice, i int, y func(float64) float64) (jar, bool) {
	n, probe := planOf(p, v, i), i+1 == p.Pack.ProbeCell && p.Seen.Level.Usable()
	line := sectionLine{Cell: n.Name(), How: v.Say("section.estimated")}
	if n.ByRod {
		line.How = v.Say("section.rod")
	}
	if perCell, _ := words.Proposal(p); i < len(perCell) {
		line.Water = v.Volume(math.Floor(perCell[i]))
	}
	var j jar
	switch {
	case probe:
		j = s.probed(p, v, y)
		s.Table[0].Water = line.Water
	case !n.LevelKnown:
		return jar{}, false
	default:
		j = s.guessed(p, v, &n, line, y)
	}
	if line.Water != "" {
		perCell, _ := words.Proposal(p)
		j.Water = strconv.Itoa(int(perCell[i]))
	}
	return j, true
}

// guessed returns a cell by its last reading with the level rod, or by its estimate.
func (s *section) guessed(p *bay.Picture, v words.Voice, n *plan, line sectionLine, y func(float64) float64) jar {
	i := n.Number - 1
	line.Level = n.Level()
	if low := lowerBy(p, i); low >= oddMM {
		line.How += "; " + v.Say("section.odd", v.Height(low))
	}
	s.Table = append(s.Table, line)
	return jar{Y: y(n.LevelMM), H: s.JarHigh - y(n.LevelMM), Measured: n.ByRod, Name: strconv.Itoa(n.Number), Title: line.Cell + ": " + line.Level + ", " + line.How}
}

// lowerBy returns how much lower a cell is than the middle one.
func lowerBy(p *bay.Picture, i int) float64 {
	w := &p.Water
	if !w.Known || i >= w.Cells {
		return 0
	}
	all := slices.Clone(w.LevelMM[:w.Cells])
	slices.Sort(all)
	return all[len(all)/2] - w.LevelMM[i]
}
