package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Commissioning is one walk through a bay's wiring; the body belongs to whoever
// writes it.
type Commissioning struct {
	Bay    string
	ID     string // unique
	Begun  Stamp
	Signed bool
	Body   []byte // JSON
}

// ErrSigned says that a signed commissioning record was to be changed.
var ErrSigned = errors.New("a signed commissioning record is never changed")

// SaveCommissioning stores a walk, or what has come to it since it was stored
// last. When it returns without an error it is on the disk. A signed one is never
// changed again: ErrSigned.
func (b *Book) SaveCommissioning(ctx context.Context, c Commissioning) error {
	tx, err := b.durable.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("logbook: begin: %w", err)
	}
	defer tx.Rollback()
	w := writer{tx: keeping(tx)}
	id, _, err := w.number(ctx, c.Bay, 0)
	if err != nil {
		return fmt.Errorf("logbook: commissioning of %s: %w", c.Bay, err)
	}
	done, err := tx.ExecContext(ctx, `INSERT INTO commissioning (id, bay_id, wall_ms, trusted, boot_id, mono_ns, signed, body)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET signed = excluded.signed, body = excluded.body WHERE NOT signed`,
		c.ID, id, c.Begun.Wall.UnixMilli(), c.Begun.Trusted, c.Begun.BootID, int64(c.Begun.Mono), c.Signed, string(c.Body))
	if err != nil {
		return fmt.Errorf("logbook: commissioning of %s: %w", c.Bay, err)
	}
	if n, err := done.RowsAffected(); err == nil && n == 0 {
		return fmt.Errorf("logbook: commissioning %s: %w", c.ID, ErrSigned)
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("logbook: commit: %w", err)
	}
	return nil
}

// LastCommissioning is the newest walk of a bay, signed or not; ok is false
// when there is none.
func (r *Reader) LastCommissioning(ctx context.Context, bayName string) (body []byte, ok bool, err error) {
	var text string
	err = r.db.QueryRowContext(ctx, `SELECT body FROM commissioning JOIN bay ON bay.id = bay_id
		WHERE name = ? ORDER BY commissioning.rowid DESC LIMIT 1`, bayName).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, fmt.Errorf("logbook: read the commissioning of %s: %w", bayName, err)
	}
	return []byte(text), true, nil
}
