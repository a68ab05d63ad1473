package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// Book is an open logbook. Its methods may be called from any goroutine.
type Book struct {
	*Reader
	path     string
	lock     *os.File
	durable  *sql.DB // the one that writes; its commits are synced
	outbox   counters
	log      *slog.Logger
	setAside string
	before   traces
	turn     chan struct{} // holds one token: writers take turns in order of arrival
	keepFor  atomic.Int64  // nanoseconds, see Keep
	short    atomic.Bool   // see ShortOfSpace
	shed     atomic.Int64
	epoch    atomic.Pointer[string] // see Epoch
	shedAt   time.Time              // when dropping readings made room for the reserve; belongs to the writer whose turn it is
}

// Open opens the logbook at path, creates it if there is none, and brings an older
// one to the present schema. It creates the folder if that is missing.
//
// A file that fails its check is renamed to PATH.damaged-N and a new one is begun;
// SetAside then returns its name. With ErrLocked, ErrNewer and ErrForeign the file
// is good but not ours to write; every other error is about the disk.
func Open(ctx context.Context, path string, log *slog.Logger) (*Book, error) {
	b, err := open(ctx, path, log)
	if err != nil {
		return nil, fmt.Errorf("logbook %s: %w", path, err)
	}
	return b, nil
}

func open(ctx context.Context, path string, log *slog.Logger) (*Book, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil { //nolint:gosec // the operator names the file
		return nil, fmt.Errorf("create its folder: %w", err)
	}
	before := tracesOf(path)
	f, err := lock(path)
	if err != nil {
		return nil, err
	}
	b := &Book{path: path, lock: f, log: log, turn: make(chan struct{}, 1), before: before}
	err = b.start(ctx)
	for _, room := range []string{reserveName(path), spareName(path)} {
		if b.full(err) && os.Remove(room) == nil { //nolint:gosec // the operator names the file
			err = b.startAgain(ctx)
		}
	}
	if damaged(err) {
		err = b.startAfresh(ctx, err)
	}
	if err != nil {
		return nil, errors.Join(err, b.Close())
	}
	if err := b.reserve(); err != nil { // short of space from the beginning
		b.short.Store(true)
		log.Error("no room for the logbook's reserve: disk nearly full", "path", path, "err", err)
	}
	return b, syncFolder(path)
}

func (b *Book) startAgain(ctx context.Context) error {
	if err := b.closeHandles(); err != nil {
		b.log.Warn("logbook on a full disk does not close cleanly", "err", err)
	}
	b.Reader, b.durable = nil, nil
	return b.start(ctx)
}

// start opens the handles on a sound file of this schema.
func (b *Book) start(ctx context.Context) error {
	if err := begin(b.path); err != nil {
		return err
	}
	if err := inspect(ctx, b.path); err != nil {
		return err
	}
	if err := lay(ctx, b.path); err != nil {
		return err
	}
	var err error
	if b.durable, err = handle(b.path, settings); err != nil {
		return err
	}
	if err := migrate(ctx, b.durable, b.before); err != nil {
		return err
	}
	if err := b.startEpoch(ctx); err != nil {
		return err
	}
	if b.Reader, err = newReader(b.path); err != nil {
		return err
	}
	return b.outbox.load(ctx, b.db)
}

// begin creates the file if there is none: the record contains names, and a file
// created by SQLite would be readable by everyone.
func begin(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640) //nolint:gosec // readable by the group
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return f.Close()
}

// pageBytes is small, because a commit writes whole pages and most change a few
// hundred bytes: less reaches the card than with the usual 4096.
const pageBytes = 1024

// lay gives a new file its page size, which cannot be changed later. An existing
// file keeps its own.
func lay(ctx context.Context, path string) error {
	if info, err := os.Stat(path); err == nil && info.Size() > 0 {
		return convert(ctx, path)
	}
	db, err := handle(path, "_busy_timeout=5000")
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, fmt.Sprintf("PRAGMA page_size = %d; PRAGMA auto_vacuum = INCREMENTAL; PRAGMA application_id = %d", pageBytes, applicationID))
	return errors.Join(err, db.Close())
}

// convert takes a file out of the write-ahead log that earlier programs used. It
// writes the log back, and deletes it and its index.
func convert(ctx context.Context, path string) error {
	db, err := handle(path, "_busy_timeout=5000&_pragma=cache_size(-256)")
	if err != nil {
		return err
	}
	var mode string
	err = db.QueryRowContext(ctx, "PRAGMA journal_mode").Scan(&mode)
	if err == nil && mode == "wal" {
		err = db.QueryRowContext(ctx, "PRAGMA journal_mode = PERSIST").Scan(&mode)
	}
	if busy(err) || err == nil && mode == "wal" {
		err = fmt.Errorf("%w: stop the program that reads it, its journal must be converted", ErrLocked)
	}
	return errors.Join(err, db.Close())
}

// startAfresh moves a damaged file out of the way and begins a new one.
func (b *Book) startAfresh(ctx context.Context, why error) error {
	// Migration may have found what the check missed.
	if err := b.closeHandles(); err != nil {
		b.log.Warn("damaged logbook does not close cleanly", "err", err)
	}
	to, err := setAside(b.path)
	if err != nil {
		return errors.Join(why, err)
	}
	b.setAside, b.before = to, traces{} // what was there is known, see Damaged
	b.log.Error("logbook damaged: set aside, new one begun", "path", b.path, "kept_as", to, "err", why)
	return b.start(ctx)
}

// SetAside returns the name under which a damaged logbook was kept when this one
// was opened, or "".
func (b *Book) SetAside() string { return b.setAside }

// Damaged returns the name of the newest damaged logbook beside this one, or "". It
// also works for an agent that was killed after it had set the file aside and
// before it wrote anything to the new one.
func (b *Book) Damaged() (string, error) {
	beside, err := os.ReadDir(filepath.Dir(b.path))
	if err != nil {
		return "", fmt.Errorf("logbook: look for damaged ones: %w", err)
	}
	newest := 0
	for _, f := range beside {
		if text, ok := strings.CutPrefix(f.Name(), filepath.Base(b.path)+damagedMark); ok {
			n, _ := strconv.Atoi(text) // files that belong to it have more after the number
			newest = max(newest, n)
		}
	}
	if newest == 0 {
		return "", nil
	}
	return damagedName(b.path, newest), nil
}

// damagedMark is in the name of a file that was set aside, before its number.
const damagedMark = ".damaged-"

func damagedName(path string, n int) string { return path + damagedMark + strconv.Itoa(n) }

// Close closes the file. What was acknowledged is safe without it.
func (b *Book) Close() error {
	b.keepCursors()
	err := b.closeHandles()
	return errors.Join(err, b.lock.Close())
}

func (b *Book) closeHandles() error {
	var errs []error
	if b.Reader != nil {
		errs = append(errs, b.Reader.Close())
	}
	if b.durable != nil {
		errs = append(errs, b.durable.Close())
	}
	return errors.Join(errs...)
}

// settings are all in the address, because a statement would reach only one
// connection of a pool. A misspelt key is ignored, so a test reads them back.
//
// The journal is a rollback journal, not a write-ahead log. The log's index is
// mapped memory: on a device that hangs, touching it stops a thread in a page fault,
// which the Go runtime does not know as a system call, and the next collection of
// garbage then waits for that thread with the whole program. And a flipped bit in
// the log silently drops every later commit, while here a commit is in the file
// itself once it is acknowledged. PERSIST instead of TRUNCATE writes 15 % less, and
// has the journal's room already when the disk is full.
const settings = "_auto_vacuum=INCREMENTAL&_busy_timeout=5000&_journal_mode=PERSIST&_synchronous=FULL" +
	"&_pragma=journal_size_limit(1048576)&_pragma=temp_store(MEMORY)&_pragma=cache_size(-256)" +
	"&_pragma=foreign_keys(1)&_txlock=immediate&_dqs=0"

// readSettings are for a handle that only reads.
const readSettings = "mode=ro&_busy_timeout=5000&_pragma=temp_store(MEMORY)&_pragma=cache_size(-256)&_dqs=0"

// handle opens one connection. Nothing else in this process may open and close the
// file while there is one: the kernel then drops the locks of all of them.
func handle(path, query string) (*sql.DB, error) {
	at := url.URL{Scheme: "file", Path: path, RawQuery: query}
	db, err := sql.Open("sqlite", at.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return db, nil
}

// inspect rejects a file that this program must not write, and finds damage. It
// uses a handle that changes nothing: the settings above write to the file, but a
// newer, foreign or damaged file stays as it was found.
func inspect(ctx context.Context, path string) error {
	db, err := handle(path, "_busy_timeout=5000&_pragma=cache_size(-256)")
	if err != nil {
		return err
	}
	_, err = version(ctx, db)
	if err == nil {
		err = check(ctx, db)
	}
	return errors.Join(err, db.Close())
}

// errDamaged means that the file's own check found a fault.
var errDamaged = errors.New("the file is damaged")

// check reads the whole file for faults.
func check(ctx context.Context, db *sql.DB) error {
	var found string
	if err := db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&found); err != nil {
		return fmt.Errorf("check the file: %w", err)
	}
	if found != "ok" {
		return fmt.Errorf("%w: %s", errDamaged, found)
	}
	return nil
}

// damaged reports whether the file is broken, not the disk: only a broken file is
// set aside.
func damaged(err error) bool {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		primary := e.Code() & 0xff
		return primary == lib.SQLITE_CORRUPT || primary == lib.SQLITE_NOTADB
	}
	return errors.Is(err, errDamaged)
}

// setAside renames the file and its companions to the first free name.
func setAside(path string) (string, error) {
	to, err := freeName(path)
	if err != nil {
		return "", err
	}
	for _, part := range []string{"-journal", "-wal", "-shm", ""} { // the file itself last: until then nothing has changed
		err := os.Rename(path+part, to+part)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("set the damaged file aside: %w", err)
		}
	}
	return to, syncFolder(path)
}

func freeName(path string) (string, error) {
	for n := 1; ; n++ {
		to := damagedName(path, n)
		_, err := os.Lstat(to)
		if errors.Is(err, os.ErrNotExist) {
			return to, nil
		}
		if err != nil {
			return "", err
		}
	}
}

// syncFolder makes new and changed names survive a power cut.
func syncFolder(path string) error {
	dir, err := os.Open(filepath.Dir(path)) //nolint:gosec // the operator names the file
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}
