package logbook

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// Origin is where a logbook comes from.
type Origin struct {
	Mark   uint64 // the lockout file that goes with it has the same; 0 while there was none
	Copied bool   // a backup that was put in the logbook's place
	Again  bool   // begun where a logbook had been, whose other files were still there
}

// Origin returns where the logbook comes from.
func (r *Reader) Origin(ctx context.Context) (Origin, error) {
	var o Origin
	var mark int64
	err := r.db.QueryRowContext(ctx, `SELECT mark, copied, again FROM origin`).Scan(&mark, &o.Copied, &o.Again)
	if err != nil {
		return Origin{}, fmt.Errorf("logbook: read where it comes from: %w", err)
	}
	o.Mark = uint64(mark)
	return o, nil
}

// Newest returns the number of each bay's newest event, 0 for a bay without one.
func (r *Reader) Newest(ctx context.Context) (all map[string]uint64, err error) {
	found, err := r.db.QueryContext(ctx, `SELECT name, last_seq FROM bay`)
	if err != nil {
		return nil, fmt.Errorf("logbook: read the newest numbers: %w", err)
	}
	defer func() { err = errors.Join(err, found.Close()) }()
	all = map[string]uint64{}
	for found.Next() {
		var name string
		var last int64
		if err := found.Scan(&name, &last); err != nil {
			return nil, fmt.Errorf("logbook: read the newest numbers: %w", err)
		}
		all[name] = uint64(last)
	}
	return all, found.Err()
}

// SetMark gives the logbook the mark of the lockout file that goes with it.
func (b *Book) SetMark(ctx context.Context, mark uint64) error {
	if err := b.takeTurn(ctx); err != nil {
		return err
	}
	defer b.giveTurn()
	if _, err := b.change(ctx, `UPDATE origin SET mark = ?`, int64(mark)); err != nil {
		return fmt.Errorf("logbook: mark it: %w", err)
	}
	return nil
}

// markCopied marks a file that Backup has just made, so that the bays are held when
// it is put in the logbook's place.
func markCopied(ctx context.Context, path string) error {
	db, err := handle(path, "_busy_timeout=5000&_pragma=journal_mode(MEMORY)&_pragma=cache_size(-256)&_txlock=immediate")
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, `BEGIN; UPDATE memory SET copied = 1; UPDATE origin SET copied = 1, renew = 1; COMMIT`)
	return errors.Join(err, db.Close())
}

// companions are the files beside a logbook that its agent leaves there, besides the
// lock. The last two are of the database.
var companions = []string{".reserve", ".spare", ".lockout", "-journal", "-wal"}

// traces is what was beside the logbook before it was opened.
type traces struct{ lock, others bool }

// tracesOf looks for files that an agent has left. What cannot be looked at counts.
func tracesOf(path string) (t traces) {
	is := func(name string) bool {
		_, err := os.Lstat(name) //nolint:gosec // the operator names the file
		return !errors.Is(err, fs.ErrNotExist)
	}
	t.lock = is(path + lockSuffix)
	for _, end := range companions {
		t.others = t.others || is(path+end)
	}
	return t
}

// originates is the schema step from which a file knows where it comes from.
const originates = 7

// originate completes that step. A new file is begun again where an agent has left
// other files. A file of an earlier schema was copied there if no agent ever had it
// open in that place.
func (w *writer) originate(ctx context.Context, have int, before traces) error {
	if err := w.sumAll(ctx); err != nil {
		return fmt.Errorf("checksums of the memories: %w", err)
	}
	var err error
	switch {
	case have == 0 && (before.lock || before.others):
		_, err = w.tx.ExecContext(ctx, `UPDATE origin SET again = 1`)
	case have > 0 && !before.lock:
		_, err = w.tx.ExecContext(ctx, `UPDATE origin SET copied = 1`)
		if err == nil {
			_, err = w.tx.ExecContext(ctx, `UPDATE memory SET copied = 1`)
		}
	}
	return err
}
