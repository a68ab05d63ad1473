package logbook

import (
	"context"
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
// writer that never rests would keep the others waiting forever.
func (b *Book) takeTurn(ctx context.Context) error {
	select {
	case b.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("logbook: wait for a turn to write: %w", ctx.Err())
	}
}

func (b *Book) giveTurn() { <-b.turn }

func (b *Book) commit(ctx context.Context, entries []Entry) ([]uint64, error) {
	tx, err := b.durable.BeginTx(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("logbook: begin: %w", err)
	}
	defer tx.Rollback()
	w := writer{tx: keeping(tx), last: map[string]uint64{}}
	for i := range entries {
		err := w.entry(ctx, &entries[i])
		if err == nil {
			err = w.tidy(ctx, time.Duration(b.keepFor.Load()), &entries[i])
		}
		if err != nil {
			return nil, fmt.Errorf("logbook: write for %s: %w", entries[i].Bay, err)
		}
	}
	sent, _ := b.outbox.ahead()
	if err := w.sent(ctx, sent); err != nil {
		return nil, err
	}
	if err := tx.Commit(); err != nil {
		return nil, fmt.Errorf("logbook: commit: %w", err)
	}
	b.outbox.committed(w.last, sent)
	return w.seqs, nil
}
