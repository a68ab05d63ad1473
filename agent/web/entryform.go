package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"bayward/agent/order"
	"bayward/agent/words"
)

// aboutCell reports whether the form is about one cell.
func (f *sent) aboutCell() bool {
	return f.Action == "before" || f.Action == "cell" || strings.HasPrefix(f.Action, "correct-")
}

// findCell sets the cell of a form about one.
func (f *sent) findCell() {
	if !f.aboutCell() {
		return
	}
	n, err := strconv.Atoi(strings.TrimSpace(f.Value("cell")))
	if err != nil || n < 1 || n > f.p.Pack.Cells {
		f.bad(http.StatusBadRequest, "fail.cell", quoted(f.Value("cell")), f.p.Pack.Cells)
		return
	}
	f.cell = n
}

// before takes what was read at a cell. Before any water it returns with a new
// proposal.
func (f *sent) before() string {
	c := order.CellEntry{Cell: f.cell, Dry: f.Value("dry") == "yes" || f.Value("level") == "dry"}
	if c.Dry {
		f.values.Del("level")
	}
	c.LevelMM = f.amount("level", f.v.Say("cell.before"), order.LevelField)
	c.Gravity = f.amount("gravity", f.v.Say("gravity.value"), order.GravityField)
	c.AtC = f.amount("at", f.v.Say("gravity.at"), order.AtCField)
	if f.fine() && c.Gravity != nil && c.AtC == nil {
		f.wrong(http.StatusBadRequest, "at", f.v.Say("gravity.at"), f.v.Say("fail.pair"))
	}
	if f.fine() && c.Gravity == nil && c.AtC != nil {
		f.wrong(http.StatusBadRequest, "gravity", f.v.Say("gravity.value"), f.v.Say("fail.gravity"))
	}
	f.enter("fail.unread", c)
	if f.fromGrid() {
		return visitURL(f.p.Bay, fmt.Sprintf("at=%d", f.cell))
	}
	if f.p.Visit.GivenML[f.cell-1] > 0 { // the second look, after water
		return f.onward(f.cell)
	}
	return visitURL(f.p.Bay, fmt.Sprintf("cell=%d", f.cell))
}

// water records what a cell was given.
func (f *sent) water() string {
	c := order.CellEntry{Cell: f.cell, SeenML: f.seen("given")}
	if f.fromGrid() { // one form for all of its cells
		c.SeenML = f.seen(line("given", f.cell))
	}
	f.poured(&c, "ml", f.v.Say("cell.ml"), f.Value("how"))
	c.LevelMM = f.amount("after", f.v.Say("cell.after"), order.LevelField)
	c.DrawnML = f.amount("drawn", f.v.Say("cell.drawn"), order.DrawnField)
	f.enter("fail.nothing", c)
	if f.fromGrid() {
		return visitURL(f.p.Bay, fmt.Sprintf("at=%d", f.cell))
	}
	return f.onward(f.cell)
}

// poured reads how much water a cell was given, and how that is known.
func (f *sent) poured(c *order.CellEntry, box, label, how string) {
	ml := f.amount(box, label, order.MLField)
	switch how := order.How(how); {
	case how == order.ToMark && ml != nil, how == order.AsProposed && ml != nil:
		f.wrong(http.StatusBadRequest, box, label, f.v.Say("fail.either"))
	case how == order.ToMark:
		c.How = how
	case how == order.AsProposed:
		if plan := planOf(f.p, f.v, c.Cell-1); plan.Adds() {
			c.ML, c.How = new(plan.AddML), how
		} else {
			f.wrong(http.StatusBadRequest, box, label, f.v.Say("fail.unproposed"))
		}
	case ml != nil:
		c.ML, c.How = ml, order.Measured
	}
}

// seen returns the water that the page showed as given when the form was made, nil
// if the form does not have it.
func (f *sent) seen(name string) *float64 {
	x, err := strconv.ParseFloat(f.Value(name), 64)
	if err != nil || !order.SeenField.Holds(x) {
		return nil
	}
	return new(x)
}

// enter gives one order for all that a form records: all of it is done, or nothing.
func (f *sent) enter(missing string, cells ...order.CellEntry) {
	lines := f.told(missing, cells)
	f.order(order.Order{Kind: order.Entry, Cells: lines, Sure: f.Value("sure") == "yes", Note: f.note()})
}

// told leaves out cells with no entry; without any left, the key names what is
// missing.
func (f *sent) told(missing string, cells []order.CellEntry) (lines []order.CellEntry) {
	for _, c := range cells {
		if c.Pours() || c.Dry || c.LevelMM != nil || c.Gravity != nil || c.AtC != nil {
			lines = append(lines, c)
		}
	}
	if f.fine() && len(lines) == 0 {
		f.bad(http.StatusBadRequest, missing)
	}
	return lines
}

// onward returns the address after an entry: the same cell if the person was asked, or
// there is something to look at, else the next.
func (f *sent) onward(cell int) string {
	p := f.now()
	if f.fine() && (f.Value("sure") == "yes" || !planOf(p, f.v, cell-1).Settled()) {
		return visitURL(p.Bay, fmt.Sprintf("cell=%d", cell))
	}
	return onward(p, cell)
}

// line names a box of the sheet.
func line(name string, cell int) string { return name + "-" + strconv.Itoa(cell) }

// sheet enters a whole paper sheet: every cell of it, or none.
func (f *sent) sheet() string {
	f.enter("fail.empty", f.sheetLines()...)
	return visitURL(f.p.Bay, "step=close")
}

// sheetLines reads the boxes of all cells.
func (f *sent) sheetLines() (cells []order.CellEntry) {
	for n := 1; n <= f.p.Pack.Cells; n++ {
		cells = append(cells, f.sheetLine(n))
	}
	for n := f.p.Pack.Cells + 1; n <= int(order.CellField.High); n++ {
		if f.Value(line("ml", n))+f.Value(line("after", n))+f.Value(line("mark", n)) != "" {
			f.bad(http.StatusBadRequest, "fail.cell", strconv.Itoa(n), f.p.Pack.Cells)
		}
	}
	amounts := func(c order.CellEntry) bool { return c.ML != nil }
	if f.Value("how") == "" && slices.ContainsFunc(cells, amounts) {
		f.wrong(http.StatusBadRequest, "how", f.v.Say("sheet.how"), f.v.Say("fail.how"))
	}
	return cells
}

func (f *sent) sheetLine(n int) order.CellEntry {
	c, cell := order.CellEntry{Cell: n, SeenML: f.seen(line("given", n))}, words.Capital(f.v.Say("water.cell", n))+", "
	box, label := line("ml", n), cell+f.v.Say("cell.ml")
	c.ML = f.amount(box, label, order.MLField)
	switch mark := f.Value(line("mark", n)) == "yes"; {
	case mark && c.ML != nil:
		f.wrong(http.StatusBadRequest, box, label, f.v.Say("fail.either"))
	case mark:
		c.How = order.ToMark
	case c.ML != nil && order.How(f.Value("how")) == order.AsProposed:
		c.How = order.AsProposed
	case c.ML != nil:
		c.How = order.Measured
	}
	c.LevelMM = f.amount(line("after", n), cell+f.v.Say("sheet.after"), order.LevelField)
	return c
}

// boxes names the box of each field of an entry.
var boxes = map[*order.Field]string{
	order.MLField: "ml", order.HowField: "ml", order.DrawnField: "drawn", order.LevelField: "after",
	order.DryField: "level", order.GravityField: "gravity", order.AtCField: "at",
}

// cellsRefused notes each fault of an entry at its box. If they are all questions,
// the page asks them.
func (f *sent) cellsRefused(wrong *problem) {
	asks := true
	for _, why := range wrong.why.Faults() {
		asks = asks && why.Code.Asks()
	}
	for _, why := range wrong.why.Faults() {
		switch text := words.Capital(f.v.Refusal(&why)) + "."; {
		case why.Code == order.GivenMeanwhile:
			f.bad(wrong.status, "fail.meanwhile", why.Cell)
		case asks:
			f.ask(f.v.Say("ask.cell", why.Cell, text))
		case !why.Code.Asks():
			label := f.v.Say("water.cell", why.Cell)
			if why.Field != nil {
				label += ", " + f.v.Say("field."+why.Field.Name)
			}
			f.wrong(wrong.status, f.boxOf(&why), words.Capital(label), text)
		}
	}
}

// boxOf returns the box of a fault, "" if the form has none.
func (f *sent) boxOf(why *order.Refusal) string {
	box := boxes[why.Field]
	switch {
	case strings.HasPrefix(f.Action, "correct-"):
		return when(why.Code != order.NothingToCorrect, "value")
	case f.Action == "before" && box == "after":
		return "level"
	case f.onSheet() && (box == "ml" || box == "after"):
		return line(box, why.Cell)
	}
	return when(!f.onSheet(), box)
}
