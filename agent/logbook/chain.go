package logbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"
)

// Which tables are chained.
const (
	chargeKind        = "charge"
	visitKind         = "visit"
	commissioningKind = "commissioning"
)

// chainVersion is the version of the encoding. A later schema that adds
// columns to a chained table needs a new one; old rows keep theirs.
const chainVersion = 1

// chain adds a row that has just been closed or signed.
func (w *writer) chain(ctx context.Context, kind string, id int64) error {
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
		no+1, chainVersion, kind, id, sum)
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

// link is the hash of a stored row and of the hash before it.
func link(ctx context.Context, db querier, before []byte, kind string, id int64) (sum []byte, err error) {
	h := sha256.New()
	h.Write(before)
	switch kind {
	case chargeKind:
		_, err = chargeTable.hash(ctx, db, h, id)
	case commissioningKind:
		_, err = commissioningTable.hash(ctx, db, h, id)
	case visitKind:
		var v *Visit
		if v, err = visitTable.hash(ctx, db, h, id); err == nil {
			err = v.hashCells(ctx, db, h)
		}
	default:
		err = fmt.Errorf("there is no kind %q", kind)
	}
	return h.Sum(nil), err
}

func (v *Visit) hashCells(ctx context.Context, db querier, h hash.Hash) error {
	if err := v.readCells(ctx, db); err != nil {
		return err
	}
	for i := range v.Cells {
		if err := fields(h, cellCols, v.Cells[i].refs()); err != nil {
			return err
		}
	}
	return nil
}

// hash reads one row and writes its canonical form: its kind, id, bay and pack,
// then its columns in the order of the schema.
func (t *table[T]) hash(ctx context.Context, db querier, h hash.Hash, id int64) (*T, error) {
	row := new(T)
	places := t.places(row)
	if err := db.QueryRowContext(ctx, t.selects()+"WHERE t.id = ?", id).Scan(places...); err != nil {
		return row, err
	}
	if _, err := io.WriteString(h, t.name+"\n"); err != nil {
		return row, err
	}
	return row, fields(h, append([]string{"id", "bay", "pack"}, t.cols...), places)
}

// fields writes one line for each field: its name, a letter for its type, and
// its value. Texts go with their length, so that no text can pass for another
// field; a real number goes as its 64 bits, so that no rounding is in it.
func fields(h hash.Hash, names []string, places []any) error {
	for i, p := range places {
		v, err := driver.DefaultParameterConverter.ConvertValue(p)
		if err != nil {
			return fmt.Errorf("%s: %w", names[i], err)
		}
		if _, err := fmt.Fprintln(h, names[i], canonical(v)); err != nil {
			return err
		}
	}
	return nil
}

func canonical(v driver.Value) string {
	switch x := v.(type) {
	case nil:
		return "n"
	case bool:
		if x {
			return "i 1"
		}
		return "i 0"
	case int64:
		return fmt.Sprintf("i %d", x)
	case float64:
		return fmt.Sprintf("r %016x", math.Float64bits(x))
	case string:
		return fmt.Sprintf("t %d %s", len(x), x)
	}
	return fmt.Sprintf("bug: %T", v)
}

// Chain is what Verify found.
type Chain struct {
	Rows   int    // chained rows: closed charges, closed visits, signed commissioning records
	Signed int    // of them, commissioning records
	Late   int    // of them, those that were signed before such records were chained
	Head   string // hash of the last row, hexadecimal; note it down elsewhere to prove later that none was cut off or rewritten
	Break  *Break // nil when the chain holds
}

// Covers says for a person what is in the chain as far as it holds.
func (c *Chain) Covers() string {
	text := fmt.Sprintf("%d charges and visits", c.Rows-c.Signed)
	if c.Signed > 0 {
		text += fmt.Sprintf(", %d signed commissioning records", c.Signed)
	}
	if c.Late > 0 {
		text += fmt.Sprintf(" (%d of them from before such records were chained: what was changed until the logbook was brought up to date cannot be seen)", c.Late)
	}
	return text
}

// Break is where a chain does not hold, the first place.
type Break struct {
	No   int    // in the chain, from 1; 0 when the row is not in it
	Kind string // "charge", "visit" or "commissioning"; "" when the place has no row
	ID   int64
	What string // one sentence
}

// String is one sentence for a person.
func (b *Break) String() string {
	switch {
	case b.Kind == "":
		return fmt.Sprintf("link %d: %s", b.No, b.What)
	case b.No == 0:
		return fmt.Sprintf("%s %d: %s", b.Kind, b.ID, b.What)
	}
	return fmt.Sprintf("link %d (%s %d): %s", b.No, b.Kind, b.ID, b.What)
}

// Verify reads all closed charges and visits and all signed commissioning
// records, and says whether the chain over them holds. The error is the disk's; a chain that is broken is no error. It
// reads one state of the file, also while an agent writes.
func (r *Reader) Verify(ctx context.Context) (Chain, error) {
	tx, err := r.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return Chain{}, fmt.Errorf("logbook: verify: %w", err)
	}
	defer tx.Rollback()
	v := verifier{tx: keeping(tx), hash: make([]byte, sha256.Size)}
	for _, step := range []func(context.Context) error{v.links, v.end, v.outside} {
		if err := step(ctx); err != nil {
			return Chain{}, fmt.Errorf("logbook: verify: %w", err)
		}
	}
	v.found.Head = fmt.Sprintf("%x", v.hash)
	return v.found, nil
}

type verifier struct {
	tx    *statements
	found Chain
	hash  []byte // of the last link
}

func (v *verifier) broken(no int, kind string, id int64, format string, args ...any) {
	if v.found.Break == nil {
		v.found.Break = &Break{no, kind, id, fmt.Sprintf(format, args...)}
	}
}

// links walks the chain from its beginning.
func (v *verifier) links(ctx context.Context) error {
	for v.found.Break == nil {
		var no, version int
		var kind string
		var id int64
		var stored []byte
		err := v.tx.QueryRowContext(ctx, `SELECT no, v, kind, ref, hash FROM chain WHERE no > ? ORDER BY no LIMIT 1`, v.found.Rows).
			Scan(&no, &version, &kind, &id, &stored)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return nil
		case err != nil:
			return err
		case no != v.found.Rows+1:
			v.broken(v.found.Rows+1, "", 0, "it is missing; the next one is %d.", no)
		case version != chainVersion:
			v.broken(no, kind, id, "its encoding has version %d, this program knows %d.", version, chainVersion)
		default:
			if err := v.link(ctx, no, kind, id, stored); err != nil {
				return err
			}
		}
	}
	return nil
}

func (v *verifier) link(ctx context.Context, no int, kind string, id int64, stored []byte) error {
	sum, err := link(ctx, v.tx, v.hash, kind, id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		v.broken(no, kind, id, "the row is missing.")
	case ctx.Err() != nil:
		return err
	case err != nil:
		v.broken(no, kind, id, "the row cannot be read: %v.", err)
	case string(sum) != string(stored):
		v.broken(no, kind, id, "the row, its place or the link before it was changed.")
	default:
		v.hash, v.found.Rows = sum, no
		if kind == commissioningKind {
			return v.signed(ctx, id)
		}
	}
	return nil
}

func (v *verifier) signed(ctx context.Context, id int64) error {
	var late int
	err := v.tx.QueryRowContext(ctx, `SELECT late FROM commissioning WHERE id = ?`, id).Scan(&late)
	v.found.Signed, v.found.Late = v.found.Signed+1, v.found.Late+late
	return err
}

// end holds the last link against the note that the file has of it.
func (v *verifier) end(ctx context.Context) error {
	var no int
	var head []byte
	err := v.tx.QueryRowContext(ctx, `SELECT no, hash FROM chain_head`).Scan(&no, &head)
	if errors.Is(err, sql.ErrNoRows) {
		v.broken(v.found.Rows, "", 0, "the note of where the chain ends is missing.")
		return nil
	}
	if err == nil && (no != v.found.Rows || string(head) != string(v.hash)) {
		v.broken(v.found.Rows, "", 0, "the chain ends here, but was noted to end with link %d.", no)
	}
	return err
}

// outside looks for rows that are in no link and should be.
func (v *verifier) outside(ctx context.Context) error {
	for _, of := range []struct{ kind, is, when string }{
		{chargeKind, "closed", "end_wall_ms IS NOT NULL"},
		{visitKind, "closed", "end_wall_ms IS NOT NULL"},
		{commissioningKind, "signed", "signed"},
	} {
		var id int64
		err := v.tx.QueryRowContext(ctx, `SELECT id FROM `+of.kind+` WHERE `+of.when+` AND
			NOT EXISTS (SELECT 1 FROM chain WHERE kind = ? AND ref = id) ORDER BY id LIMIT 1`, of.kind).Scan(&id)
		switch {
		case errors.Is(err, sql.ErrNoRows):
		case err != nil:
			return err
		default:
			v.broken(0, of.kind, id, "it is %s and not in the chain: it was added by another program.", of.is)
		}
	}
	return nil
}
