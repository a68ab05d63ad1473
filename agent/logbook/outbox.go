package logbook

import (
	"context"
	"fmt"
)

// Unsent returns up to limit events that the broker does not have yet. Those of one
// bay are in order and begin right after its cursor; the bays take turns, so a long
// backlog of one does not delay the others.
func (b *Book) Unsent(ctx context.Context, limit int) ([]Record, error) {
	waiting, err := b.waiting(ctx)
	if err != nil {
		return nil, err
	}
	queues := make([][]Record, len(waiting))
	for i, w := range waiting {
		if queues[i], err = b.Events(ctx, w.name, w.sent, limit); err != nil {
			return nil, err
		}
	}
	return takeTurns(queues, limit), nil
}

// takeTurns deals from each queue in turn, up to limit.
func takeTurns(queues [][]Record, limit int) []Record {
	var out []Record
	for turn, more := 0, true; more; turn++ {
		more = false
		for _, q := range queues {
			if turn < len(q) && len(out) < limit {
				out, more = append(out, q[turn]), true
			}
		}
	}
	return out
}

type backlog struct {
	name string
	sent uint64
}

// waiting lists the bays with unsent events.
func (b *Book) waiting(ctx context.Context) ([]backlog, error) {
	rows, err := b.db.QueryContext(ctx, `SELECT name, sent_seq FROM bay WHERE sent_seq < last_seq ORDER BY name`)
	if err != nil {
		return nil, fmt.Errorf("logbook: read the cursors: %w", err)
	}
	defer rows.Close()
	var out []backlog
	for rows.Next() {
		var w backlog
		if err := rows.Scan(&w.name, &w.sent); err != nil {
			return nil, fmt.Errorf("logbook: read the cursors: %w", err)
		}
		out = append(out, w)
	}
	return out, rows.Err()
}

// Sent records that the broker has the events of a bay up to seq. The cursor never
// goes back and never past the last event. It is not synced at once: after a power
// cut some events may be sent again, with the same numbers.
func (b *Book) Sent(ctx context.Context, bayName string, seq uint64) error {
	if err := b.takeTurn(ctx); err != nil {
		return err
	}
	defer b.giveTurn()
	_, err := b.loose.ExecContext(ctx, `UPDATE bay SET sent_seq = min(?, last_seq)
		WHERE name = ? AND sent_seq < min(?, last_seq)`, int64(seq), bayName, int64(seq))
	if err != nil {
		return fmt.Errorf("logbook: move the cursor of %s: %w", bayName, err)
	}
	return nil
}

// backlogCount is how many events were unsent after so many writes.
type backlogCount struct {
	at uint64
	n  int
}

// UnsentCount returns the number of events that the broker does not have yet. It
// queries the file only when something was written since the last call.
func (b *Book) UnsentCount(ctx context.Context) (int, error) {
	at := b.moved.Load()
	if have := b.unsent.Load(); have != nil && have.at == at {
		return have.n, nil
	}
	var n int
	err := b.db.QueryRowContext(ctx, `SELECT coalesce(sum(last_seq - sent_seq), 0) FROM bay`).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("logbook: count unsent events: %w", err)
	}
	b.unsent.Store(&backlogCount{at, n})
	return n, nil
}
