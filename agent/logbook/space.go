package logbook

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// reserveBytes is kept on the disk in a file of its own. Deleting anything first
// takes room in the journal, for the pages as they were; on a full disk this is that
// room.
const reserveBytes = 2 << 20

// spareBytes is kept in addition for a start on a disk that is full to the last
// block: opening the logbook takes a little room too.
const spareBytes = 256 << 10

// reserveName is the file beside the logbook that is given up first.
func reserveName(path string) string { return path + ".reserve" }

func spareName(path string) string { return path + ".spare" }

// reserve creates spare and reserve, unless they exist.
func (b *Book) reserve() error {
	if err := layBy(spareName(b.path), spareBytes); err != nil {
		return err
	}
	return layBy(reserveName(b.path), reserveBytes)
}

// layBy allocates room for a file without writing it, which spares the card.
func layBy(name string, bytes int64) error {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o640) //nolint:gosec // readable by the group, as the logbook is
	if err != nil {
		return err
	}
	err = unix.Fallocate(int(f.Fd()), 0, 0, bytes)
	if errors.Is(err, unix.EOPNOTSUPP) {
		_, err = f.WriteAt(make([]byte, bytes), 0)
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(err, os.Remove(name)) //nolint:gosec // the operator names the file
	}
	return nil
}

// ShortOfSpace reports whether the disk was full and the reserve cannot be set
// aside again yet: thinned readings are dropped to keep the rest of the record.
func (b *Book) ShortOfSpace() bool { return b.short.Load() }

// Shed returns the number of thinned readings dropped for a full disk since the
// logbook was opened.
func (b *Book) Shed() int { return int(b.shed.Load()) }

// diskFull reports whether there was no room for a write.
func diskFull(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && e.Code()&0xff == lib.SQLITE_FULL
}

// full reports whether there was no room. An earlier program's log has an index that
// is mapped into memory, and a disk without a block for it shows as an error of that
// map.
func (b *Book) full(err error) bool {
	const hardly = 64 << 10
	e, ok := errors.AsType[*sqlite.Error](err)
	if !ok || e.Code() != lib.SQLITE_IOERR_SHMSIZE && e.Code() != lib.SQLITE_IOERR_IN_PAGE {
		return diskFull(err)
	}
	var disk unix.Statfs_t
	return unix.Statfs(b.path, &disk) == nil && disk.Bavail*uint64(disk.Bsize) < hardly
}

// makeRoom drops the oldest thinned readings, some at a time, until the reserve can
// be set aside again. It reports whether there were any. Nothing else is ever
// dropped.
func (b *Book) makeRoom(ctx context.Context) (some bool, err error) {
	if !b.short.Swap(true) {
		b.log.Error("disk full: dropping old thinned readings to keep the rest of the record", "path", b.path)
	}
	b.shedAt = time.Time{}
	if err := os.Remove(reserveName(b.path)); err != nil && !errors.Is(err, os.ErrNotExist) { //nolint:gosec // the operator names the file
		return false, err
	}
	for {
		b.writeBack(ctx)
		const most = `SELECT max(200, count(*) / 8) FROM series`
		n, err := b.change(ctx, `DELETE FROM series WHERE id IN (SELECT id FROM series ORDER BY id LIMIT (`+most+`))`)
		if err != nil {
			return some, fmt.Errorf("drop thinned readings: %w", err)
		}
		if n == 0 {
			return some, nil
		}
		some = true
		b.shed.Add(n)
		b.writeBack(ctx)
		if b.reserve() == nil {
			b.shedAt = time.Now()
			return true, nil
		}
	}
}

// writeBack returns free room in the file to the disk. If that fails now there may
// be enough room anyway: the next try shows.
func (b *Book) writeBack(ctx context.Context) {
	if _, err := b.durable.ExecContext(ctx, `PRAGMA incremental_vacuum`); err != nil {
		b.log.Debug("cannot return room to the disk", "err", err)
	}
}

func (b *Book) change(ctx context.Context, statement string, args ...any) (rows int64, err error) {
	res, err := b.durable.ExecContext(ctx, statement, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// Relieve checks whether a full disk has room again, so that ShortOfSpace ends
// without waiting for the next write.
func (b *Book) Relieve(ctx context.Context) error {
	if !b.short.Load() {
		return nil
	}
	if err := b.takeTurn(ctx); err != nil {
		return err
	}
	defer b.giveTurn()
	b.relieved()
	return nil
}

// relieved records that there is room again. If dropping readings made that room,
// the state stays visible for a while.
func (b *Book) relieved() {
	const shown = 10 * time.Minute
	if !b.short.Load() || time.Since(b.shedAt) < shown {
		return
	}
	if err := b.reserve(); err == nil {
		b.short.Store(false)
		b.log.Info("disk has room again", "thinned_readings_lost", b.Shed())
	}
}

// withoutSeries leaves out of a batch what a full disk cannot take.
func withoutSeries(entries []Entry) (kept []Entry, lost int) {
	for _, e := range entries {
		lost += len(e.Rows.Series)
		e.Rows.Series = nil
		kept = append(kept, e)
	}
	return kept, lost
}

// Keep sets how long thinned readings are kept; 0, the initial value of a Book,
// keeps them forever. Everything else is always kept forever.
func (b *Book) Keep(d time.Duration) { b.keepFor.Store(int64(d)) }

// tidyAtOnce is how many old thinned readings one commit deletes.
const tidyAtOnce = 500

// tidy deletes old thinned readings, in the commit that adds new ones. It uses
// trusted clocks only; a row from a time without a trusted clock goes with its
// neighbours. What a wrong clock could cost is bounded.
func (w *writer) tidy(ctx context.Context, keepFor time.Duration, e *Entry) error {
	if keepFor <= 0 || !e.Stamp.Trusted || len(e.Rows.Series) == 0 {
		return nil
	}
	_, err := w.tx.ExecContext(ctx, `DELETE FROM series WHERE id IN (SELECT id FROM series
		WHERE start_trusted = 1 AND start_wall_ms < ? ORDER BY start_wall_ms LIMIT ?)`,
		e.Stamp.Wall.Add(-keepFor).UnixMilli(), tidyAtOnce)
	if err != nil {
		return err
	}
	_, err = w.tx.ExecContext(ctx, `DELETE FROM series WHERE id IN (SELECT id FROM series
		WHERE start_trusted = 0 AND id < (SELECT min(id) FROM series WHERE start_trusted = 1) LIMIT ?)`, tidyAtOnce)
	return err
}
