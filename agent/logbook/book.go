package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"bayward/agent/bay"
)

// Append records the events of one tick and returns their numbers, which follow the
// bay's last one without a gap. If it returns no error the events are on the disk;
// with an error none of them is.
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

// LoadPackMemory returns the last saved memory of a pack, the bay it was in, and
// when it was saved; ok is false for a pack without one.
func (b *Book) LoadPackMemory(ctx context.Context, pack string) (memory []byte, bayName string, s Stamp, ok bool, err error) {
	err = b.db.QueryRowContext(ctx, `SELECT bay.name, wall_ms, trusted, boot_id, mono_ns, state
		FROM pack_memory JOIN pack ON pack.id = pack_id JOIN bay ON bay.id = bay_id WHERE pack.name = ?`, pack).
		Scan(&bayName, msOf{&s.Wall}, &s.Trusted, &s.BootID, &s.Mono, &memory)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, "", Stamp{}, false, nil
	}
	if err != nil {
		return nil, "", Stamp{}, false, fmt.Errorf("logbook: read the memory of pack %s: %w", pack, err)
	}
	return memory, bayName, s, true, nil
}

// LoadMemory returns the last saved memory of a bay and when it was saved; ok is
// false for a bay without one.
func (b *Book) LoadMemory(ctx context.Context, bayName string) (memory []byte, s Stamp, ok bool, err error) {
	err = b.db.QueryRowContext(ctx, `SELECT wall_ms, trusted, boot_id, mono_ns, state
		FROM memory JOIN bay ON bay.id = bay_id WHERE name = ?`, bayName).
		Scan(msOf{&s.Wall}, &s.Trusted, &s.BootID, &s.Mono, &memory)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, Stamp{}, false, nil
	}
	if err != nil {
		return nil, Stamp{}, false, fmt.Errorf("logbook: read the memory of %s: %w", bayName, err)
	}
	return memory, s, true, nil
}

// write takes its turn, and makes room on a full disk as long as there is any.
func (b *Book) write(ctx context.Context, entries []Entry) ([]uint64, error) {
	if err := b.takeTurn(ctx); err != nil {
		return nil, err
	}
	defer b.giveTurn()
	seqs, err := b.commit(ctx, entries)
	for more := true; b.full(err) && more; seqs, err = b.commit(ctx, entries) {
		var why error
		if more, why = b.makeRoom(ctx); why != nil {
			err = errors.Join(err, why)
			break
		}
	}
	if b.full(err) {
		if rest, lost := withoutSeries(entries); lost > 0 {
			b.shed.Add(int64(lost))
			seqs, err = b.commit(ctx, rest)
		}
	}
	if err == nil {
		b.relieved()
	}
	return seqs, err
}

// takeTurn waits for the other writers. The database's own lock is not fair: a
// writer that never rests would keep the outbox's cursor waiting forever.
func (b *Book) takeTurn(ctx context.Context) error {
	select {
	case b.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("logbook: wait for a turn to write: %w", ctx.Err())
	}
}

func (b *Book) giveTurn() {
	b.moved.Add(1)
	<-b.turn
}

func (b *Book) commit(ctx context.Context, entries []Entry) ([]uint64, error) {
	tx, err := b.durable.BeginTx(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("logbook: begin: %w", err)
	}
	defer tx.Rollback()
	w := writer{tx: keeping(tx)}
	for i := range entries {
		err := w.entry(ctx, &entries[i])
		if err == nil {
			err = w.tidy(ctx, time.Duration(b.keepFor.Load()), &entries[i])
		}
		if err != nil {
			return nil, fmt.Errorf("logbook: write for %s: %w", entries[i].Bay, err)
		}
	}
	if err := tx.Commit(); err != nil {
		return nil, fmt.Errorf("logbook: commit: %w", err)
	}
	return w.seqs, nil
}
