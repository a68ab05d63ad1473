package logbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"hash"
	"math"
)

// The chained tables.
const (
	chargeKind        = "charge"
	visitKind         = "visit"
	commissioningKind = "commissioning"
	correctionKind    = "correction"
)

// chainVersion is the version of the encoding, which includes the names of the
// columns. A later schema that renames columns of a chained table needs a new
// version, and rebuilds the chain; one that adds columns adds them to gained.
const chainVersion = 2

// gained are the columns that chained tables have gained since. One that has its
// default is left out, so links made before it hold.
var gained = map[string]bool{
	"how": true, "drawn_ml": true, "dry_before": true, "dry_after": true, "verdict": true, "done_by": true,
	"late_wall_ms": true, "late_by": true,
}

// chain adds a row that has just been closed or signed.
func (w *writer) chain(ctx context.Context, kind string, id int64) error {
	return w.chainIn(ctx, chainVersion, kind, id)
}

// chainIn does the same in the encoding of the file's schema during a migration.
func (w *writer) chainIn(ctx context.Context, encoding int, kind string, id int64) error {
	var no int
	var before []byte
	if err := w.tx.QueryRowContext(ctx, `SELECT no, hash FROM chain_head`).Scan(&no, &before); err != nil {
		return fmt.Errorf("find the end of the chain: %w", err)
	}
	sum, err := link(ctx, w.tx, before, kind, id)
	if err != nil {
		return fmt.Errorf("chain %s %d: %w", kind, id, err)
	}
	_, err = w.tx.ExecContext(ctx, `INSERT INTO chain (no, v, kind, ref, hash) VALUES (?, ?, ?, ?, ?)`,
		no+1, encoding, kind, id, sum)
	if err != nil {
		return err
	}
	_, err = w.tx.ExecContext(ctx, `UPDATE chain_head SET no = ?, hash = ?`, no+1, sum)
	return err
}

// querier is a database or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// packOfKind is the name of a row's pack, for each kind.
var packOfKind = map[string]string{
	chargeKind:        `coalesce((SELECT name FROM pack WHERE pack.id = t.pack_id), '')`,
	visitKind:         `coalesce((SELECT name FROM pack WHERE pack.id = t.pack_id), '')`,
	correctionKind:    `coalesce((SELECT name FROM pack WHERE pack.id = t.pack_id), '')`,
	commissioningKind: `''`, // it belongs to a bay alone
}

// link returns the hash of a stored row and of the hash before it. It reads the
// names and the order of the columns from the file, so it also works on a file of
// an earlier schema.
func link(ctx context.Context, db querier, before []byte, kind string, id int64) ([]byte, error) {
	packName, ok := packOfKind[kind]
	if !ok {
		return nil, fmt.Errorf("there is no kind %q", kind)
	}
	h := sha256.New()
	h.Write(before)
	h.Write(fmt.Appendln(nil, kind))
	n, err := hashRows(ctx, db, h, `SELECT t.id, bay.name AS bay, `+packName+` AS pack, t.* FROM `+kind+` t
		JOIN bay ON bay.id = t.bay_id WHERE t.id = ?`, id)
	switch {
	case err != nil:
		return nil, err
	case n == 0:
		return nil, sql.ErrNoRows
	case kind == visitKind:
		_, err = hashRows(ctx, db, h, `SELECT * FROM visit_cell WHERE visit_id = ? ORDER BY cell`, id)
	}
	return h.Sum(nil), err
}

// hashRows writes the fields of the rows that a query finds, and counts the rows.
func hashRows(ctx context.Context, db querier, h hash.Hash, query string, id int64) (n int, err error) {
	found, err := db.QueryContext(ctx, query, id)
	if err != nil {
		return 0, err
	}
	defer found.Close()
	names, err := found.Columns()
	if err != nil {
		return 0, err
	}
	values, places := make([]any, len(names)), make([]any, len(names))
	for i := range values {
		places[i] = &values[i]
	}
	for ; found.Next(); n++ {
		if err := found.Scan(places...); err != nil {
			return n, err
		}
		fields(h, names, values)
	}
	return n, found.Err()
}

// fields writes one line for each field: its name, a letter for its type, and its
// value. Texts are written with their length, so that no text can pass for another
// field; a real number is written as its 64 bits, so that nothing is rounded. The
// ids of bay and pack are left out, because their names represent them; so are a
// visit's id in its cells, a row's own id where the whole row repeats it, and what
// gained lists.
func fields(h hash.Hash, names []string, values []any) {
	for i, name := range names {
		if name == "bay_id" || name == "pack_id" || name == "visit_id" || name == "id" && i > 0 || gained[name] && isDefault(values[i]) {
			continue
		}
		h.Write(fmt.Appendln(nil, name, canonical(values[i])))
	}
}

func isDefault(v any) bool { return v == nil || v == int64(0) || v == "" }

// canonical covers the types of a strict table.
func canonical(v any) string {
	switch x := v.(type) {
	case nil:
		return "n"
	case int64:
		return fmt.Sprintf("i %d", x)
	case float64:
		return fmt.Sprintf("r %016x", math.Float64bits(x))
	case string:
		return fmt.Sprintf("t %d %s", len(x), x)
	}
	return fmt.Sprintf("bug: %T", v)
}

// Chain is the result of Verify.
type Chain struct {
	Rows   int // chained rows: closed charges, closed visits, corrections, signed commissioning records
	Signed int // of them, commissioning records
	// Corrected is how many of them are corrections.
	Corrected int
	Late      int    // of them, those signed before such records were chained
	Head      string // hash of the last row, hexadecimal; note it elsewhere to prove later that none was cut off or rewritten
	Break     *Break // nil when the chain holds
	// Again is the state of the chain before it was rebuilt under other names; nil
	// when it is as first written.
	Again *Rechained
}

// Rechained is the state of a chain before a change of the schema rebuilt it.
type Rechained struct {
	Links int    // how many held then
	Head  string // hash of the last of them, hexadecimal, to compare with one noted before
}

// Covers describes what is in the chain as far as it holds.
func (c *Chain) Covers() string {
	text := fmt.Sprintf("%d charges and visits", c.Rows-c.Signed-c.Corrected)
	if c.Corrected > 0 {
		text += fmt.Sprintf(", %d corrections", c.Corrected)
	}
	if c.Signed > 0 {
		text += fmt.Sprintf(", %d signed commissioning records", c.Signed)
	}
	if c.Late > 0 {
		text += fmt.Sprintf(" (%d of them signed before such records were chained: changes made before the logbook was upgraded cannot be detected)", c.Late)
	}
	if c.Again != nil {
		text += fmt.Sprintf(" (rebuilt when the names changed: %d links held then, last %s)", c.Again.Links, c.Again.Head)
	}
	return text
}

// Break is the first place where a chain does not hold.
type Break struct {
	No   int    // in the chain, from 1; 0 when the row is not in it
	Kind string // "charge", "visit" or "commissioning"; "" when the place has no row
	ID   int64
	What string // one sentence
	// Code and Args are what What was made from; "" where a text was kept.
	Code string
	Args []any
	// Before is set for a break from before the chain was rebuilt: What then names
	// the place as well.
	Before bool
}

// The ways in which a chain breaks, as Break.Code has them.
const (
	linkMissing  = "link-missing"
	linkEncoding = "encoding"
	rowMissing   = "row-missing"
	rowUnread    = "row-unread"
	rowChanged   = "row-changed"
	endMissing   = "end-missing"
	endElsewhere = "end-elsewhere"
	rowOutside   = "row-outside"
)

// breakTexts are their English texts, for messages and programs.
var breakTexts = map[string]string{
	linkMissing:  "it is missing; the next one is %d.",
	linkEncoding: "its encoding is version %d; this program knows %d.",
	rowMissing:   "the row is missing.",
	rowUnread:    "the row cannot be read: %v.",
	rowChanged:   "the row, its place or the link before it was changed.",
	endMissing:   "the record of the chain's end is missing.",
	endElsewhere: "the chain ends here, but its recorded end is link %d.",
	rowOutside:   "it is %s and not in the chain: it was added by another program.",
}

// String describes the break in one sentence.
func (b *Break) String() string {
	switch {
	case b.Before:
		return b.What
	case b.Kind == "":
		return fmt.Sprintf("link %d: %s", b.No, b.What)
	case b.No == 0:
		return fmt.Sprintf("%s %d: %s", b.Kind, b.ID, b.What)
	}
	return fmt.Sprintf("link %d (%s %d): %s", b.No, b.Kind, b.ID, b.What)
}
