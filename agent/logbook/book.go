package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"bayward/agent/bay"
)

// Append records the events of one tick and returns their numbers, which
// follow the bay's last one without a gap. When it returns without an error
// the events are on the disk; with an error none of them is.
func (b *Book) Append(ctx context.Context, bayName string, s Stamp, evs []bay.Event) ([]uint64, error) {
	return b.write(ctx, []Entry{{Bay: bayName, Stamp: s, Events: evs}})
}

// SaveMemory replaces the core's memory of a bay.
func (b *Book) SaveMemory(ctx context.Context, bayName string, s Stamp, memory []byte) error {
	if memory == nil {
		memory = []byte{}
	}
	_, err := b.write(ctx, []Entry{{Bay: bayName, Stamp: s, Memory: memory}})
	return err
}

// Write records several entries with one commit: all of them or none.
func (b *Book) Write(ctx context.Context, entries ...Entry) error {
	_, err := b.write(ctx, entries)
	return err
}

// LoadMemory returns the memory that was saved last and when that was; ok is
// false for a bay without one.
func (b *Book) LoadMemory(ctx context.Context, bayName string) (memory []byte, s Stamp, ok bool, err error) {
	var wall int64
	err = b.loose.QueryRowContext(ctx, `SELECT wall_ms, trusted, boot_id, mono_ns, state
		FROM memory JOIN bay ON bay.id = bay_id WHERE name = ?`, bayName).
		Scan(&wall, &s.Trusted, &s.BootID, &s.Mono, &memory)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, Stamp{}, false, nil
	}
	if err != nil {
		return nil, Stamp{}, false, fmt.Errorf("logbook: read the memory of %s: %w", bayName, err)
	}
	s.Wall = time.UnixMilli(wall).UTC()
	return memory, s, true, nil
}

func (b *Book) write(ctx context.Context, entries []Entry) ([]uint64, error) {
	tx, err := b.durable.BeginTx(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("logbook: begin: %w", err)
	}
	defer tx.Rollback()
	w := writer{tx: tx}
	for i := range entries {
		if err := w.entry(ctx, &entries[i]); err != nil {
			return nil, fmt.Errorf("logbook: write for %s: %w", entries[i].Bay, err)
		}
	}
	if err := tx.Commit(); err != nil {
		return nil, fmt.Errorf("logbook: commit: %w", err)
	}
	return w.seqs, nil
}

// writer is one transaction under way.
type writer struct {
	tx   *sql.Tx
	seqs []uint64 // numbers given
}

func (w *writer) entry(ctx context.Context, e *Entry) error {
	id, first, err := w.number(ctx, e.Bay, len(e.Events))
	if err != nil {
		return err
	}
	for i := range e.Events {
		seq := first + uint64(i)
		if err := w.event(ctx, id, record(e.Bay, seq, e.Stamp, &e.Events[i])); err != nil {
			return err
		}
		w.seqs = append(w.seqs, seq)
	}
	if e.Memory == nil {
		return nil
	}
	s := &e.Stamp
	_, err = w.tx.ExecContext(ctx, `INSERT INTO memory (bay_id, wall_ms, trusted, boot_id, mono_ns, state)
		VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET wall_ms = excluded.wall_ms, trusted = excluded.trusted,
		boot_id = excluded.boot_id, mono_ns = excluded.mono_ns, state = excluded.state`,
		id, s.Wall.UnixMilli(), s.Trusted, s.BootID, int64(s.Mono), e.Memory)
	return err
}

// number takes the next n numbers of a bay and returns the first.
func (w *writer) number(ctx context.Context, name string, n int) (id int64, first uint64, err error) {
	if name == "" {
		return 0, 0, errors.New("an entry needs the name of its bay")
	}
	var last int64
	err = w.tx.QueryRowContext(ctx, `INSERT INTO bay (name, last_seq) VALUES (?, ?)
		ON CONFLICT (name) DO UPDATE SET last_seq = last_seq + excluded.last_seq RETURNING id, last_seq`,
		name, n).Scan(&id, &last)
	return id, uint64(last) - uint64(n) + 1, err
}

func (w *writer) event(ctx context.Context, id int64, r Record) error {
	_, err := w.tx.ExecContext(ctx, `INSERT INTO event (bay_id, seq, wall_ms, trusted, boot_id, mono_ns,
		kind, stage, from_stage, code, person, order_id, note) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		id, int64(r.Seq), r.Stamp.Wall.UnixMilli(), r.Stamp.Trusted, r.Stamp.BootID, int64(r.Stamp.Mono),
		r.Kind, r.Stage, r.From, r.Code, r.By, r.Order, r.Text)
	return err
}
