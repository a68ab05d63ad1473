package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"

	"bayward/agent/order"
)

// The fields of a visit's cell that can be corrected.
const (
	CellML       = "ml"
	CellDrawnML  = "drawn_ml"
	CellBeforeMM = "level_before_mm"
	CellAfterMM  = "level_after_mm"
	// CellLevelMM is the last level reading, before or after the water; a stored
	// correction has one of those two instead.
	CellLevelMM = "level_mm"
	CellGravity = "gravity"
)

// Correction is a counter-entry to one value of one cell of a visit. What was
// recorded first stays in the file; of several corrections of one value the last
// one counts.
type Correction struct {
	ID    int64
	Bay   string // where it was made
	Pack  string // whose visit it was; in a row to be written "" for any
	Visit int64  // 0 in a row to be written: the bay's open visit, or its last
	Cell  int
	Field string
	Old   Num // as it was until then
	New   Num // nil: it never happened
	// Applied means that the visit was still open and its row has the new value.
	Applied bool
	Reason  string
	By      string
	At      Stamp
}

var correctionTable = table[Correction]{
	name: "correction",
	cols: strings.Fields(`of_visit cell field old_value new_value applied reason person
		start_wall_ms start_trusted start_boot_id start_mono_ns`),
	refs: func(c *Correction) []any {
		return []any{
			&c.Visit, &c.Cell, &c.Field, &c.Old, &c.New, &c.Applied, &c.Reason, &c.By,
			msOf{&c.At.Wall}, &c.At.Trusted, &c.At.BootID, &c.At.Mono,
		}
	},
	own: func(c *Correction) (*int64, *string, *string) { return &c.ID, &c.Bay, &c.Pack },
}

// Corrections returns corrections in the order in which they were made.
func (r *Reader) Corrections(ctx context.Context, q Query) iter.Seq2[Correction, error] {
	return rows(ctx, r, &correctionTable, q, "t.start_wall_ms", func(c *Correction) Stamp { return c.At })
}

// place returns where a cell keeps a field, nil for an unknown one.
func (c *VisitCell) place(field string) *Num {
	switch field {
	case CellML:
		return &c.ML
	case CellDrawnML:
		return &c.DrawnML
	case CellBeforeMM:
		return &c.BeforeMM
	case CellAfterMM:
		return &c.AfterMM
	case CellGravity:
		return &c.Gravity
	}
	return nil
}

// stored returns the name under which a correction of a field is stored.
func (c *VisitCell) stored(field string) string {
	switch {
	case field != CellLevelMM:
		return field
	case c.AfterMM == nil && !c.DryAfter && (c.BeforeMM != nil || c.DryBefore):
		return CellBeforeMM
	}
	return CellAfterMM
}

// set gives one value of a cell its new one. A level that was read, or never was,
// also replaces the rod that showed the plates.
func (v *Visit) set(cell int, field string, value Num) {
	c := v.cell(cell)
	at := c.place(field)
	if at == nil {
		return
	}
	switch field {
	case CellML:
		v.TotalML += known(value) - known(*at)
		if c.How = string(order.Measured); value == nil {
			c.How = ""
		}
	case CellBeforeMM:
		c.DryBefore = false
	case CellAfterMM:
		c.DryAfter = false
	}
	*at = value
	if field == CellGravity && value == nil {
		c.AtC, c.Verdict = nil, ""
	}
}

// correct applies the corrections that the row does not have yet.
func (v *Visit) correct() {
	for i := range v.Corrections {
		if c := &v.Corrections[i]; !c.Applied {
			v.set(c.Cell, c.Field, c.New)
		}
	}
}

// readCorrections reads the corrections of a visit.
func (v *Visit) readCorrections(ctx context.Context, db querier) (err error) {
	v.Corrections, err = correctionTable.page(ctx, db, "WHERE t.of_visit = ? ORDER BY t.id", []any{v.ID})
	if err != nil {
		return fmt.Errorf("logbook: read the corrections of visit %d: %w", v.ID, err)
	}
	return nil
}

// correction adds and chains a correction. One of a visit that the record does not
// have, or of another pack, or of a field that is unknown, is left to its event.
func (w *writer) correction(ctx context.Context, c *Correction) error {
	v, err := w.corrected(ctx, c)
	if errors.Is(err, sql.ErrNoRows) || err == nil && (c.Cell < 1 || new(VisitCell).place(v.cell(c.Cell).stored(c.Field)) == nil) {
		return nil
	}
	if err != nil || c.Pack != "" && c.Pack != v.Pack {
		return err
	}
	row := *c
	row.Visit, row.Pack, row.Field = v.ID, v.Pack, v.cell(c.Cell).stored(c.Field)
	if !row.Applied {
		row.Old = *v.cell(c.Cell).place(row.Field)
	}
	id, err := add(ctx, w, &correctionTable, &row)
	if err != nil {
		return err
	}
	return w.chain(ctx, correctionKind, id)
}

// corrected returns the visit that a correction is of, with the earlier ones
// applied.
func (w *writer) corrected(ctx context.Context, c *Correction) (*Visit, error) {
	where, arg := "WHERE t.id = ?", any(c.Visit)
	if c.Visit == 0 {
		where, arg = "WHERE bay.name = ? AND t.origin = '"+ByAgent+"' ORDER BY t.end_wall_ms IS NULL DESC, t.id DESC LIMIT 1", c.Bay
	}
	found, err := visitTable.page(ctx, w.tx, where, []any{arg})
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, sql.ErrNoRows
	}
	return &found[0], found[0].readAll(ctx, w.tx)
}

// readAll reads the cells of a visit and applies its corrections.
func (v *Visit) readAll(ctx context.Context, db querier) error {
	for _, read := range []func(context.Context, querier) error{v.readCells, v.readCorrections} {
		if err := read(ctx, db); err != nil {
			return err
		}
	}
	v.correct()
	return nil
}

// Corrected returns the corrections of one value, the oldest first.
func (v *Visit) Corrected(cell int, field string) []Correction {
	return slices.DeleteFunc(slices.Clone(v.Corrections), func(c Correction) bool { return c.Cell != cell || c.Field != field })
}
