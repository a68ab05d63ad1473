package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Commissioning is one walk through a bay's wiring; the format of the body is the
// caller's.
type Commissioning struct {
	Bay    string
	ID     string // unique
	Begun  Stamp
	Signed bool
	Body   []byte // JSON
}

// ErrSigned is returned for a change to a signed commissioning record.
var ErrSigned = errors.New("a signed commissioning record is never changed")

// SaveCommissioning stores a walk, or what was added since it was last stored. If
// it returns no error the walk is on the disk. A signed walk is chained, and never
// changed again: ErrSigned.
func (b *Book) SaveCommissioning(ctx context.Context, c Commissioning) error {
	if err := b.takeTurn(ctx); err != nil {
		return err
	}
	defer b.giveTurn()
	tx, err := b.durable.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("logbook: begin: %w", err)
	}
	defer tx.Rollback()
	w := writer{tx: keeping(tx)}
	if err := w.commissioning(ctx, &c); err != nil {
		return fmt.Errorf("logbook: commissioning %s of %s: %w", c.ID, c.Bay, err)
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("logbook: commit: %w", err)
	}
	return nil
}

func (w *writer) commissioning(ctx context.Context, c *Commissioning) error {
	bayID, _, err := w.places(ctx, c.Bay, "")
	if err != nil {
		return err
	}
	var id int64
	err = w.tx.QueryRowContext(ctx, `INSERT INTO commissioning (bay_id, walk, wall_ms, trusted, boot_id, mono_ns, signed, late, body)
		VALUES (?, ?, ?, ?, ?, ?, ?, 0, ?)
		ON CONFLICT (walk) DO UPDATE SET signed = excluded.signed, body = excluded.body WHERE NOT signed RETURNING id`,
		bayID, c.ID, c.Begun.Wall.UnixMilli(), c.Begun.Trusted, c.Begun.BootID, int64(c.Begun.Mono), c.Signed, string(c.Body)).Scan(&id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return ErrSigned
	case err != nil || !c.Signed:
		return err
	}
	return w.chain(ctx, commissioningKind, id)
}

// chainsSigned is the schema step that chains signed records.
const chainsSigned = 4

// chainLate chains records signed before such records were chained.
func (w *writer) chainLate(ctx context.Context) error {
	ids, err := w.lateIDs(ctx)
	if err != nil {
		return err
	}
	for _, id := range ids {
		if err := w.chainIn(ctx, firstEncoding, commissioningKind, id); err != nil {
			return fmt.Errorf("chain what was signed before: %w", err)
		}
	}
	return nil
}

// lateIDs reads all ids before anything is written.
func (w *writer) lateIDs(ctx context.Context) (ids []int64, err error) {
	found, err := w.tx.QueryContext(ctx, `SELECT id FROM commissioning WHERE late ORDER BY id`)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, found.Close()) }()
	for found.Next() {
		var id int64
		if err := found.Scan(&id); err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, found.Err()
}

// LastCommissioning returns the newest walk of a bay, signed or not; ok is false
// when there is none.
func (r *Reader) LastCommissioning(ctx context.Context, bayName string) (body []byte, ok bool, err error) {
	bodies, err := r.Commissionings(ctx, bayName, 1)
	if err != nil || len(bodies) == 0 {
		return nil, false, err
	}
	return bodies[0], true, nil
}

// Commissionings returns the walks of a bay, signed or not, at most so many, the newest
// first.
func (r *Reader) Commissionings(ctx context.Context, bayName string, most int) ([][]byte, error) {
	bodies, err := ask(ctx, r, func(ctx context.Context, db querier) (bodies [][]byte, err error) {
		found, err := db.QueryContext(ctx, `SELECT body FROM commissioning JOIN bay ON bay.id = bay_id
			WHERE name = ? ORDER BY commissioning.id DESC LIMIT ?`, bayName, most)
		if err != nil {
			return nil, err
		}
		defer func() { err = errors.Join(err, found.Close()) }()
		for found.Next() {
			var text string
			if err := found.Scan(&text); err != nil {
				return nil, err
			}
			bodies = append(bodies, []byte(text))
		}
		return bodies, found.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("logbook: read the commissioning of %s: %w", bayName, err)
	}
	return bodies, nil
}
