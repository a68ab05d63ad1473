package logbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
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

// Verify reads all closed charges and visits and all signed commissioning records,
// and checks whether the chain over them holds. An error is about reading the disk;
// a broken chain is not an error. Links are never changed, so it reads some at a
// time and does not hold up an agent that writes; the last of them, the recorded end
// and what is outside of the chain come from one state of the file.
func (r *Reader) Verify(ctx context.Context) (Chain, error) {
	v := newVerifier(nil, chainVersion)
	for done := false; !done; {
		var err error
		if done, err = r.verifySome(ctx, v); err != nil {
			return Chain{}, fmt.Errorf("logbook: verify: %w", err)
		}
		r.pause()
	}
	v.found.Head = fmt.Sprintf("%x", v.hash)
	return v.found, nil
}

// verifySome checks a page of links, and what is beside the chain when it has come
// to the end.
func (r *Reader) verifySome(ctx context.Context, v *verifier) (done bool, err error) {
	tx, err := r.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return false, err
	}
	defer tx.Rollback()
	v.tx = keeping(tx)
	if more, err := v.links(ctx, page); err != nil || more {
		return false, err
	}
	for _, step := range []func(context.Context) error{v.end, v.outside, v.before} {
		if err := step(ctx); err != nil {
			return false, err
		}
	}
	return true, nil
}

type verifier struct {
	tx       *statements
	encoding int // the version that the links should have
	found    Chain
	hash     []byte // of the last link
}

func newVerifier(tx *statements, encoding int) *verifier {
	return &verifier{tx: tx, encoding: encoding, hash: make([]byte, sha256.Size)}
}

// walk checks the whole chain against the rows.
func (v *verifier) walk(ctx context.Context) error {
	if _, err := v.links(ctx, math.MaxInt); err != nil {
		return err
	}
	if err := v.end(ctx); err != nil {
		return err
	}
	return v.outside(ctx)
}

func (v *verifier) broken(no int, kind string, id int64, code string, args ...any) {
	if v.found.Break == nil {
		v.found.Break = &Break{No: no, Kind: kind, ID: id, What: fmt.Sprintf(breakTexts[code], args...), Code: code, Args: args}
	}
}

// links walks the chain for up to most links, from where it came to. It reports
// whether there may be more.
func (v *verifier) links(ctx context.Context, most int) (more bool, err error) {
	for range most {
		if v.found.Break != nil {
			return false, nil
		}
		var no, version int
		var kind string
		var id int64
		var stored []byte
		err := v.tx.QueryRowContext(ctx, `SELECT no, v, kind, ref, hash FROM chain WHERE no > ? ORDER BY no LIMIT 1`, v.found.Rows).
			Scan(&no, &version, &kind, &id, &stored)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return false, nil
		case err != nil:
			return false, err
		case no != v.found.Rows+1:
			v.broken(v.found.Rows+1, "", 0, linkMissing, no)
		case version != v.encoding:
			v.broken(no, kind, id, linkEncoding, version, v.encoding)
		default:
			if err := v.link(ctx, no, kind, id, stored); err != nil {
				return false, err
			}
		}
	}
	return true, nil
}

func (v *verifier) link(ctx context.Context, no int, kind string, id int64, stored []byte) error {
	sum, err := link(ctx, v.tx, v.hash, kind, id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		v.broken(no, kind, id, rowMissing)
	case ctx.Err() != nil:
		return err
	case err != nil:
		v.broken(no, kind, id, rowUnread, err.Error())
	case string(sum) != string(stored):
		v.broken(no, kind, id, rowChanged)
	default:
		v.hash, v.found.Rows = sum, no
		if kind == correctionKind {
			v.found.Corrected++
		}
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

// end compares the last link with the end that the file has recorded.
func (v *verifier) end(ctx context.Context) error {
	var no int
	var head []byte
	err := v.tx.QueryRowContext(ctx, `SELECT no, hash FROM chain_head`).Scan(&no, &head)
	if errors.Is(err, sql.ErrNoRows) {
		v.broken(v.found.Rows, "", 0, endMissing)
		return nil
	}
	if err == nil && (no != v.found.Rows || string(head) != string(v.hash)) {
		v.broken(v.found.Rows, "", 0, endElsewhere, no)
	}
	return err
}

// outside looks for rows that should be in a link and are not.
func (v *verifier) outside(ctx context.Context) error {
	type closed struct{ kind, is, when string }
	all := []closed{
		{chargeKind, "closed", "end_wall_ms IS NOT NULL"},
		{visitKind, "closed", "end_wall_ms IS NOT NULL"},
		{commissioningKind, "signed", "signed"},
	}
	if v.encoding != firstEncoding { // whose files have no such table
		all = append(all, closed{correctionKind, "made", "1"})
	}
	for _, of := range all {
		var id int64
		err := v.tx.QueryRowContext(ctx, `SELECT id FROM `+of.kind+` WHERE `+of.when+` AND
			NOT EXISTS (SELECT 1 FROM chain WHERE kind = ? AND ref = id) ORDER BY id LIMIT 1`, of.kind).Scan(&id)
		switch {
		case errors.Is(err, sql.ErrNoRows):
		case err != nil:
			return err
		default:
			v.broken(0, of.kind, id, rowOutside, of.is)
		}
	}
	return nil
}
