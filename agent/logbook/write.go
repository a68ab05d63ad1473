package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// writer is one open transaction.
type writer struct {
	tx   *statements
	seqs []uint64          // numbers assigned
	last map[string]uint64 // the last number of each bay written to
}

func (w *writer) entry(ctx context.Context, e *Entry) error {
	if e.Bay == "" {
		return errors.New("an entry needs the name of its bay")
	}
	pack, err := w.pack(ctx, e.Pack)
	if err != nil {
		return err
	}
	id, err := w.events(ctx, e, pack)
	if err != nil {
		return err
	}
	if err := w.rows(ctx, &e.Rows); err != nil {
		return err
	}
	return w.memories(ctx, e, id, pack)
}

func (w *writer) events(ctx context.Context, e *Entry, pack sql.NullInt64) (bayID int64, err error) {
	bayID, first, err := w.number(ctx, e.Bay, len(e.Events))
	if err != nil {
		return 0, err
	}
	w.last[e.Bay] = first + uint64(len(e.Events)) - 1
	for i := range e.Events {
		seq := first + uint64(i)
		if err := w.event(ctx, bayID, pack, record(e.Bay, seq, e.Stamp, &e.Events[i])); err != nil {
			return 0, err
		}
		w.seqs = append(w.seqs, seq)
	}
	return bayID, nil
}

// number takes the next n numbers of a bay and returns the first.
func (w *writer) number(ctx context.Context, name string, n int) (id int64, first uint64, err error) {
	var last int64
	err = w.tx.QueryRowContext(ctx, `INSERT INTO bay (name, last_seq) VALUES (?, ?)
		ON CONFLICT (name) DO UPDATE SET last_seq = last_seq + excluded.last_seq RETURNING id, last_seq`,
		name, n).Scan(&id, &last)
	return id, uint64(last) - uint64(n) + 1, err
}

func (w *writer) event(ctx context.Context, id int64, pack sql.NullInt64, r Record) error {
	detail, err := jsonOf{&r.Detail}.text()
	if err != nil {
		return err
	}
	_, err = w.tx.ExecContext(ctx, `INSERT INTO event (bay_id, seq, wall_ms, trusted, boot_id, mono_ns,
		kind, stage, from_stage, code, person, order_id, note, detail, pack_id, epoch) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, (SELECT max(n) FROM epoch))`,
		id, int64(r.Seq), r.Stamp.Wall.UnixMilli(), r.Stamp.Trusted, r.Stamp.BootID, int64(r.Stamp.Mono),
		r.Kind, r.Stage, r.From, r.Code, r.By, r.Order, r.Text, detail, pack)
	return err
}

// pack finds or creates the id of a pack; no name means no pack.
func (w *writer) pack(ctx context.Context, name string) (id sql.NullInt64, err error) {
	return w.named(ctx, "pack", name)
}

func (w *writer) named(ctx context.Context, table, name string) (id sql.NullInt64, err error) {
	if name == "" {
		return id, nil
	}
	err = w.tx.QueryRowContext(ctx, `SELECT id FROM `+table+` WHERE name = ?`, name).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		err = w.tx.QueryRowContext(ctx, `INSERT INTO `+table+` (name) VALUES (?) RETURNING id`, name).Scan(&id)
	}
	return id, err
}

func (w *writer) rows(ctx context.Context, r *Rows) error {
	for i := range r.Charges {
		if err := w.charge(ctx, &r.Charges[i]); err != nil {
			return err
		}
	}
	for i := range r.Visits {
		if err := w.visit(ctx, &r.Visits[i]); err != nil {
			return err
		}
	}
	for i := range r.Corrections { // after the visits that they may correct
		if err := w.correction(ctx, &r.Corrections[i]); err != nil {
			return err
		}
	}
	return w.more(ctx, r)
}

// more writes the rows that no other row refers to.
func (w *writer) more(ctx context.Context, r *Rows) error {
	for i := range r.Findings {
		f := &r.Findings[i]
		if _, err := put(ctx, w, &findingTable, f, &f.Span, " AND code = ?", f.Code); err != nil {
			return err
		}
	}
	for i := range r.Refusals {
		if _, err := put(ctx, w, &refusalTable, &r.Refusals[i], &r.Refusals[i].Span, ""); err != nil {
			return err
		}
	}
	for i := range r.Series {
		if _, err := add(ctx, w, &seriesTable, &r.Series[i]); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) charge(ctx context.Context, c *Charge) error {
	id, err := put(ctx, w, &chargeTable, c, &c.Span, "")
	if err != nil || c.Open() {
		return err
	}
	return w.chain(ctx, chargeKind, id)
}

var insertCell = `INSERT INTO visit_cell (visit_id, ` + strings.Join(cellCols, ", ") +
	`) VALUES (?` + strings.Repeat(", ?", len(cellCols)) + `)`

func (w *writer) visit(ctx context.Context, v *Visit) error {
	id, err := put(ctx, w, &visitTable, v, &v.Span, "")
	if err != nil {
		return err
	}
	if _, err := w.tx.ExecContext(ctx, `DELETE FROM visit_cell WHERE visit_id = ?`, id); err != nil {
		return err
	}
	for i := range v.Cells {
		if _, err := w.tx.ExecContext(ctx, insertCell, append([]any{id}, v.Cells[i].refs()...)...); err != nil {
			return err
		}
	}
	if v.Open() {
		return nil
	}
	return w.chain(ctx, visitKind, id)
}

// put replaces the bay's open row, or adds a new one.
func put[T any](ctx context.Context, w *writer, t *table[T], row *T, s *Span, also string, key ...any) (id int64, err error) {
	if s.Origin == "" {
		s.Origin = ByAgent
	}
	bayID, packID, err := w.places(ctx, s.Bay, s.Pack)
	if err != nil {
		return 0, err
	}
	if s.Origin == ByAgent { // imported rows were closed long ago
		args := append([]any{packID}, t.refs(row)...)
		err = w.tx.QueryRowContext(ctx, t.update(also), append(append(args, bayID), key...)...).Scan(&id)
		if !errors.Is(err, sql.ErrNoRows) {
			return id, err
		}
	}
	return add(ctx, w, t, row)
}

func add[T any](ctx context.Context, w *writer, t *table[T], row *T) (id int64, err error) {
	_, bayName, packName := t.own(row)
	bayID, packID, err := w.places(ctx, *bayName, *packName)
	if err != nil {
		return 0, err
	}
	err = w.tx.QueryRowContext(ctx, t.insert(), append([]any{bayID, packID}, t.refs(row)...)...).Scan(&id)
	return id, err
}

func (w *writer) places(ctx context.Context, bayName, packName string) (bayID, packID sql.NullInt64, err error) {
	if bayName == "" {
		return bayID, packID, errors.New("a row needs the name of its bay")
	}
	if bayID, err = w.named(ctx, "bay", bayName); err != nil {
		return bayID, packID, fmt.Errorf("find bay %q: %w", bayName, err)
	}
	if packID, err = w.pack(ctx, packName); err != nil {
		return bayID, packID, fmt.Errorf("find pack %q: %w", packName, err)
	}
	return bayID, packID, nil
}
