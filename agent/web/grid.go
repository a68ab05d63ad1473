package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

const (
	// plainAcross is the length of a row of cells where their layout is not known.
	plainAcross = 4
	// phoneAcross is how many cells a phone shows side by side with room for a glove.
	phoneAcross = 5
	// sixteenthMM is one mark of a rod in inches.
	sixteenthMM = 25.4 / 16
)

// grid is the battery of an open visit seen from above, a tile for each cell.
type grid struct {
	Across int    // tiles in a row
	Tiles  []tile // row by row
	Turned bool   // by a quarter, to fit a phone
	How    string // what a tap on a tile says of its water
	Strip  []choice
	At     int    // the cell in hand, 0 for none
	Did    string // what was just recorded there
	AtC    string // temperature for a hydrometer reading, "" if it is not known
	AtSays string
	All    bool // nothing is left to do
	Hint   string
	Length string
	Visit  string // the ID of the visit
	Never  string // the level that no fill may pass
}

// tile is one cell of the grid; Number 0 is a gap.
type tile struct {
	plan
	Taps  bool // a tap records it; otherwise it opens the cell
	First bool // at the positive end
	Last  bool
	Class string
	Sign  string
	Small string // below the number
}

// newGrid shows an open visit; at is the cell in hand, 0 for none.
func (s *server) newGrid(p *bay.Picture, v words.Voice, at int) grid {
	g := grid{How: string(order.ToMark), Did: v.Say("grid.did.mark"), Hint: v.Say("grid.hint.mark"), Length: v.Units().Length.Symbol, At: at, Visit: p.Visit.ID}
	if p.Visit.OnlyCoverPlates {
		g.How, g.Did, g.Hint = string(order.AsProposed), v.Say("grid.did.proposed"), v.Say("grid.hint.plates")
	}
	rows := layoutOf(s.Layouts[p.Pack.Name], p.Pack.Cells)
	if len(rows[0]) > phoneAcross && len(rows) <= phoneAcross {
		rows, g.Turned = turned(rows), true
	}
	g.Across = len(rows[0])
	ceiling := p.Pack.VentWellMM
	for _, row := range rows {
		for _, number := range row {
			g.Tiles = append(g.Tiles, newTile(p, v, number))
			if number > 0 {
				ceiling = min(ceiling, planOf(p, v, number-1).CeilingMM)
			}
		}
	}
	g.Never = v.Say("cell.never", v.Height(ceiling))
	g.All = allDone(p, v)
	g.Strip = strip(p, v)
	if c := p.Seen.PackC; c.OK() {
		g.AtC, g.AtSays = strconv.FormatFloat(math.Round(10*v.Units().Temperature.Of(c.Value))/10, 'f', -1, 64), v.Say("grid.gravity.at", v.Temperature(c.Value))
	}
	if at > 0 {
		g.Did = did(p, v, at, g.Did)
	}
	return g
}

// did says what was just recorded at a cell: the level where one was read.
func did(p *bay.Picture, v words.Voice, at int, poured string) string {
	if n := planOf(p, v, at-1); n.ByRod && (n.Cell.How != order.ToMark || n.LevelMM != p.Pack.FillMarkMM) {
		return v.Say("grid.did.level") + " " + n.Level()
	}
	return poured
}

// allDone reports whether nothing is left to do in a visit in which something was done.
func allDone(p *bay.Picture, v words.Voice) bool {
	some := false
	for n := range p.Pack.Cells {
		plan := planOf(p, v, n)
		if plan.Bare || !plan.Done && (plan.Adds() || !plan.AddKnown) {
			return false
		}
		some = some || plan.Done
	}
	return some && len(p.ReadFirst()) == 0
}

// layoutOf returns the rows of cells, plain ones where the layout is not known or is
// that of another number of cells.
func layoutOf(rows [][]int, cells int) [][]int {
	count := 0
	for _, row := range rows {
		for _, n := range row {
			if n > cells {
				return plainRows(cells)
			}
			if n > 0 {
				count++
			}
		}
	}
	if count != cells {
		return plainRows(cells)
	}
	return rows
}

func plainRows(cells int) (rows [][]int) {
	across := plainAcross
	switch {
	case cells <= 6:
		across = 3
	case cells > 24:
		across = 6
	}
	for n := 0; n < cells; n += across {
		row := make([]int, across)
		for i := range row {
			if n+i < cells {
				row[i] = n + i + 1
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// turned turns the rows by a quarter, clockwise.
func turned(rows [][]int) [][]int {
	out := make([][]int, len(rows[0]))
	for r := range out {
		for i := range slices.Backward(rows) {
			out[r] = append(out[r], rows[i][r])
		}
	}
	return out
}

func newTile(p *bay.Picture, v words.Voice, number int) tile {
	if number == 0 {
		return tile{}
	}
	n := planOf(p, v, number-1)
	t := tile{plan: n, First: number == 1, Last: number == p.Pack.Cells && number > 1}
	poured := n.GivenML > 0 || n.Cell.How != ""
	t.Taps = !n.Done && !n.Near && !n.Read && !poured && n.Adds() && (!n.Bare || p.Visit.OnlyCoverPlates)
	short := v.Pointed(v.Units().Volume.Show(n.GivenML))
	switch {
	case n.Over:
		t.Class, t.Sign, t.Small = "over", "!", n.Level()
	case n.Bare && poured:
		t.Class, t.Sign, t.Small = "bare", "!", short+" ?"
	case n.Bare:
		t.Class, t.Sign, t.Small = "bare", "!", v.Say("cell.bare")
	case n.Read, n.Doubt:
		t.Class, t.Sign, t.Small = "read", "?", v.Say("cell.read")
	case n.Done && n.ByRod:
		t.Class, t.Sign, t.Small = "done", "✓", n.Level()
	case n.Done:
		t.Class, t.Sign, t.Small = "done", "✓", short
	case n.Adds():
		t.Class, t.Small = "todo", "+"+v.Pointed(v.Units().Volume.Show(n.AddML))
	default:
		t.Class, t.Small = "todo", v.Say("cell.todo")
	}
	return t
}

// strip returns the levels to choose from: those around the fill mark or, on a visit that
// only covers the plates, from the lowest level for charging up.
func strip(p *bay.Picture, v words.Voice) (all []choice) {
	const each = 5
	middle := p.Pack.FillMarkMM
	if p.Visit.OnlyCoverPlates {
		middle = p.Pack.ChargeLevelMM + each/2
	}
	for i := range each {
		by := i - each/2
		if v.Units().Name == "us" {
			n := int(math.Round(middle/sixteenthMM)) + by
			if n > 0 {
				all = append(all, choice{Name: fraction16(n), Own: fraction16(n), Chosen: by == 0})
			}
			continue
		}
		if mm := int(math.Round(middle)) + by; mm > 0 {
			all = append(all, choice{Name: strconv.Itoa(mm), Own: strconv.Itoa(mm), Chosen: by == 0})
		}
	}
	return all
}

// fraction16 writes sixteenths of an inch as on a rod: "3/8", "1 1/16".
func fraction16(n int) string {
	whole, part, of := n/16, n%16, 16
	for part > 0 && part%2 == 0 {
		part, of = part/2, of/2
	}
	switch {
	case part == 0:
		return strconv.Itoa(whole)
	case whole == 0:
		return fmt.Sprintf("%d/%d", part, of)
	}
	return fmt.Sprintf("%d %d/%d", whole, part, of)
}

// cellInHand returns the cell that the address of the grid names, 0 for none.
func cellInHand(r *http.Request, cells int) int {
	n, err := strconv.Atoi(r.URL.Query().Get("at"))
	if err != nil || n < 1 || n > cells {
		return 0
	}
	return n
}

// fromGrid reports whether the form is one of the grid, to which it leads back.
func (f *sent) fromGrid() bool { return f.Value("from") == "grid" }
