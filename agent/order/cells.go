package order

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// How is how the amount of water was found. The zero value, of an entry without
// water or from a program that did not ask, counts as Measured where ML is given.
type How string

// The ways.
const (
	Measured   How = "measured"    // with a jug or gun
	ToMark     How = "to-mark"     // filled until the level rod showed the fill mark; its millilitres are worked out
	AsProposed How = "as-proposed" // what was proposed, not measured
)

// CellEntry is what was done at one cell, a line of an Entry. What is nil, "" or
// false was not done.
type CellEntry struct {
	Cell int `json:"cell"` // 1 is the positive end
	// ML is the water given. In the event of an order that was taken it is also what
	// the core worked out for ToMark.
	ML      *float64 `json:"ml,omitempty"`
	How     How      `json:"how,omitempty"`
	DrawnML *float64 `json:"drawn_ml,omitempty"` // electrolyte drawn off
	Dry     bool     `json:"dry,omitempty"`      // the rod shows the plates; with ML and LevelMM, before the water
	LevelMM *float64 `json:"level_mm,omitempty"` // by the level rod, after any water of this line
	Gravity *float64 `json:"gravity,omitempty"`  // as read, with AtC
	AtC     *float64 `json:"at_c,omitempty"`
	SeenML  *float64 `json:"seen_ml,omitempty"` // given in this visit as the sender knew it
}

// told are the fields of which a line must have at least one.
var told = []*Field{MLField, HowField, DrawnField, DryField, LevelField, GravityField}

// Entries returns what an order records of cells: the lines of an Entry, or the one
// line that a fill, a level or a gravity is.
func (o *Order) Entries() []CellEntry {
	switch o.Kind {
	case Entry:
		return o.Cells
	case Fill:
		return []CellEntry{{Cell: o.Cell, ML: new(o.ML)}}
	case Level:
		return []CellEntry{{Cell: o.Cell, LevelMM: new(o.LevelMM)}}
	case Gravity:
		return []CellEntry{{Cell: o.Cell, Gravity: new(o.Gravity), AtC: new(o.AtC)}}
	default:
		return nil
	}
}

// Pours reports whether the line gives or takes water, which only a visit does.
func (c *CellEntry) Pours() bool { return c.ML != nil || c.How != "" || c.DrawnML != nil }

// checkCells returns the faults of an entry's lines by themselves.
func checkCells(o *Order, l Limits) (faults []Refusal) {
	for i := range o.Cells {
		c := &o.Cells[i]
		add := func(r *Refusal) {
			r.Kind, r.Cell = o.Kind, c.Cell
			faults = append(faults, *r)
		}
		if slices.ContainsFunc(o.Cells[:i], func(other CellEntry) bool { return other.Cell == c.Cell }) {
			add(&Refusal{Code: CellTwice, Field: CellField, Value: float64(c.Cell)})
		}
		for _, f := range Table[Entry].Each {
			if why := f.checkIn(c, l); why != nil {
				add(why)
			}
		}
		if why := c.checkTogether(); why != nil {
			add(why)
		}
	}
	return faults
}

// checkIn checks one field of a line.
func (f *Field) checkIn(c *CellEntry, l Limits) *Refusal {
	low, high := f.bounds(l)
	switch p := f.in(c).(type) {
	case *int:
		return f.checkNumber(Entry, float64(*p), low, high)
	case **float64:
		if *p != nil {
			return f.checkNumber(Entry, **p, low, high)
		}
	case *string:
		if *p != "" && !f.takes(*p) {
			return &Refusal{Code: BadText, Field: f, Low: low, High: high, Name: *p}
		}
	}
	return nil
}

// checkTogether checks which fields of a line go together.
func (c *CellEntry) checkTogether() *Refusal {
	missing := func(f *Field) *Refusal { return &Refusal{Code: Missing, Field: f, Low: f.Low, High: f.High} }
	switch {
	case c.ML == nil && (c.How == Measured || c.How == AsProposed):
		return missing(MLField)
	case c.ML != nil && c.How == ToMark:
		return &Refusal{Code: Stray, Field: MLField}
	case c.Gravity != nil && c.AtC == nil:
		return missing(AtCField)
	case c.Gravity == nil && c.AtC != nil:
		return missing(GravityField)
	case c.Dry && c.LevelMM != nil && c.ML == nil && c.How == "":
		return &Refusal{Code: DryAndLevel, Field: DryField}
	case !c.Pours() && !c.Dry && c.LevelMM == nil && c.Gravity == nil:
		return &Refusal{Code: NothingSaid}
	}
	return nil
}

// errLine is a line of cells that is not one.
var errLine = errors.New("not accepted")

// UnmarshalJSON reads a line with exactly named members, each once. The standard
// decoder would accept ML for ml, the last of two, and unknown ones.
func (c *CellEntry) UnmarshalJSON(text []byte) error {
	d := json.NewDecoder(bytes.NewReader(text))
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		return fmt.Errorf("%w: a cell must be an object", errLine)
	}
	*c = CellEntry{}
	seen := map[string]bool{}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return err
		}
		name, _ := key.(string) // a key is always text
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return err
		}
		f := FieldOf(name)
		if f == nil || f.in == nil || seen[name] || string(value) == "null" || json.Unmarshal(value, f.in(c)) != nil {
			return fmt.Errorf("%w: field %q of a cell", errLine, name)
		}
		seen[name] = true
	}
	if !seen[CellField.Name] {
		return fmt.Errorf("%w: a cell without its number", errLine)
	}
	return nil
}

// linesOf returns the lines as Members has them; a number that is not finite is
// left out.
func linesOf(cells []CellEntry) []any {
	all := []any{}
	for i := range cells {
		line := map[string]any{}
		for _, f := range Table[Entry].Each {
			if v, ok := member(f.in(&cells[i]), f == CellField); ok {
				line[f.Name] = v
			}
		}
		all = append(all, line)
	}
	return all
}

// linesFrom restores what linesOf returned, also after a round trip through JSON;
// nil for what does not fit.
func linesFrom(v any) (cells []CellEntry) {
	text, err := json.Marshal(v)
	if err != nil || json.Unmarshal(text, &cells) != nil {
		return nil
	}
	return cells
}
