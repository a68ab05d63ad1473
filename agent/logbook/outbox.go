package logbook

import (
	"context"
	"fmt"
	"maps"
	"sync"
	"time"
)

// Unsent returns up to limit events that the broker does not have yet. Those of one
// bay are in order and begin right after its cursor; the bays take turns, so a long
// backlog of one does not delay the others.
func (b *Book) Unsent(ctx context.Context, limit int) ([]Record, error) {
	waiting := b.outbox.waiting()
	queues := make([][]Record, len(waiting))
	for i, w := range waiting {
		var err error
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
	name       string
	sent, last uint64
}

// counters are the events of each bay and how many of them the broker has. The file
// has one writer, so it is read only once. A synced write for each message would wear
// the card: what the broker has is written with the next commit, and a crash only
// repeats messages, with the same numbers.
type counters struct {
	mu   sync.Mutex        // guards the fields below
	last map[string]uint64 // of the events in the file
	sent map[string]uint64 // what the broker has
	kept map[string]uint64 // the same as the file says
}

func (c *counters) load(ctx context.Context, db querier) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.last, c.sent, c.kept = map[string]uint64{}, map[string]uint64{}, map[string]uint64{}
	found, err := db.QueryContext(ctx, `SELECT name, sent_seq, last_seq FROM bay`)
	if err != nil {
		return fmt.Errorf("read the counters: %w", err)
	}
	defer found.Close()
	for found.Next() {
		var w backlog
		if err := found.Scan(&w.name, &w.sent, &w.last); err != nil {
			return fmt.Errorf("read the counters: %w", err)
		}
		c.last[w.name], c.sent[w.name], c.kept[w.name] = w.last, w.sent, w.sent
	}
	return found.Err()
}

// waiting lists the bays with unsent events by name.
func (c *counters) waiting() (out []backlog) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, name := range sortedKeys(c.last) {
		if w := (backlog{name, c.sent[name], c.last[name]}); w.sent < w.last {
			out = append(out, w)
		}
	}
	return out
}

// reach moves the cursor of a bay. It never goes back and never past the last event.
func (c *counters) reach(bayName string, seq uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if seq = min(seq, c.last[bayName]); seq > c.sent[bayName] {
		c.sent[bayName] = seq
	}
}

// ahead returns the cursors that the file does not have, and by how many events at
// most.
func (c *counters) ahead() (moved map[string]uint64, most uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	moved = map[string]uint64{}
	for name, sent := range c.sent {
		if sent > c.kept[name] {
			moved[name], most = sent, max(most, sent-c.kept[name])
		}
	}
	return moved, most
}

// committed records what a commit has written.
func (c *counters) committed(last, kept map[string]uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	maps.Copy(c.last, last)
	maps.Copy(c.kept, kept)
}

// sent writes cursors that have moved.
func (w *writer) sent(ctx context.Context, moved map[string]uint64) error {
	for _, name := range sortedKeys(moved) {
		_, err := w.tx.ExecContext(ctx, `UPDATE bay SET sent_seq = ? WHERE name = ?`, int64(moved[name]), name)
		if err != nil {
			return fmt.Errorf("logbook: move the cursor of %s: %w", name, err)
		}
	}
	return nil
}

// Sent records that the broker has the events of a bay up to seq. The cursor never
// goes back and never past the last event. It is written with the next commit or by
// KeepCursors, so Sent never waits for the disk and never fails.
func (b *Book) Sent(_ context.Context, bayName string, seq uint64) error {
	b.outbox.reach(bayName, seq)
	return nil
}

// farAhead is how many messages a crash may repeat before KeepCursors writes.
const farAhead = 256

// KeepCursors writes what the broker has, when a crash would repeat many messages.
func (b *Book) KeepCursors(ctx context.Context) error {
	if _, most := b.outbox.ahead(); most < farAhead {
		return nil
	}
	return b.Write(ctx)
}

// keepCursors writes them before the file is closed, unless the disk hangs.
func (b *Book) keepCursors() {
	if moved, _ := b.outbox.ahead(); len(moved) == 0 {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	if err := b.Write(ctx); err != nil {
		b.log.Warn("some messages will be sent to the broker again", "err", err)
	}
}

// UnsentCount returns the number of events that the broker does not have yet.
func (b *Book) UnsentCount() (n int) {
	for _, w := range b.outbox.waiting() {
		n += int(w.last - w.sent)
	}
	return n
}
