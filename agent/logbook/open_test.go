package logbook

import (
	"bufio"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

func itoa(n int) string { return strconv.Itoa(n) }

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// The library ignores a misspelt setting, so the test reads them back. Source of
// the values: the database's own documentation, "Pragma statements": synchronous 2
// is FULL; auto_vacuum 2 is INCREMENTAL; temp_store 2 is MEMORY.
func TestSettingsAreInForce(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	for pragma, want := range map[string]string{
		"journal_mode": "persist", "busy_timeout": "5000", "auto_vacuum": "2", "page_size": "1024", "synchronous": "2",
		"journal_size_limit": "1048576", "temp_store": "2", "cache_size": "-256", "foreign_keys": "1", "mmap_size": "0",
	} {
		var got string
		if err := b.durable.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s is %q, %v; want %q", pragma, got, err, want)
		}
	}
	if _, err := b.durable.ExecContext(t.Context(), `SELECT "no such column"`); err == nil {
		t.Error("a misspelt column passes for a text")
	}
}

func TestSecondAgentIsRefused(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	first := openBook(t, path)
	_, err := Open(t.Context(), path, quiet())
	if !errors.Is(err, ErrLocked) {
		t.Fatalf("second agent: %v, want ErrLocked", err)
	}
	for _, part := range []string{path, fmt.Sprintf("process %d", os.Getpid()), "stop it"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("message %q does not contain %q", err, part)
		}
	}
	closeBook(t, first)
	closeBook(t, openBook(t, path))
}

// TestOthersCannotRead: the record contains names. If the walk is started before
// the service ever ran, the user who starts it creates the record, without the
// service's umask.
func TestOthersCannotRead(t *testing.T) {
	dir := inMemory(t)
	defer unix.Umask(unix.Umask(0))
	b := openBook(t, filepath.Join(dir, "book", "l.db"))
	fill(t, b, 1)
	files, err := os.ReadDir(filepath.Join(dir, "book"))
	if err != nil || len(files) < 4 {
		t.Fatalf("%v, %v", files, err)
	}
	for _, f := range files {
		info, err := f.Info()
		if err != nil || info.Mode().Perm()&0o007 != 0 {
			t.Errorf("%s: %s, %v", f.Name(), info.Mode(), err)
		}
	}
}

func TestNewerSchemaIsRefused(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	closeBook(t, openBook(t, path))
	raw(t, path, "PRAGMA user_version = 99")
	before := fileBytes(t, path)
	_, err := Open(t.Context(), path, quiet())
	if !errors.Is(err, ErrNewer) || !strings.Contains(err.Error(), "version 99") {
		t.Errorf("got %v, want ErrNewer naming version 99", err)
	}
	if string(before) != string(fileBytes(t, path)) {
		t.Error("a newer file was changed")
	}
}

func TestForeignDatabaseIsRefused(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	raw(t, path, "CREATE TABLE other (x)")
	before := fileBytes(t, path)
	if _, err := Open(t.Context(), path, quiet()); !errors.Is(err, ErrForeign) {
		t.Errorf("got %v, want ErrForeign", err)
	}
	if string(before) != string(fileBytes(t, path)) {
		t.Error("a foreign file was changed")
	}
}

func TestDamagedFileIsSetAside(t *testing.T) {
	for name, spoil := range map[string]func([]byte) []byte{
		"not a database":     func([]byte) []byte { return []byte("site: quarry-road\nthis is a text\n") },
		"header overwritten": func(b []byte) []byte { copy(b, make([]byte, 100)); return b },
		"page overwritten":   func(b []byte) []byte { copy(b[len(b)/2:], strings.Repeat("\xa5", 3*4096)); return b },
		"cut in the middle":  func(b []byte) []byte { return b[:len(b)/2] },
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(inMemory(t), "l.db")
			for n := 1; n <= 2; n++ { // twice: the first kept file must stay
				b := openBook(t, path)
				if b.SetAside() != "" {
					t.Fatalf("a good file was set aside as %q", b.SetAside())
				}
				if _, err := b.Append(t.Context(), "bay-1", stampAt(n), someEvents(300)); err != nil {
					t.Fatal(err)
				}
				closeBook(t, b)
				bad := spoil(fileBytes(t, path))
				if err := os.WriteFile(path, bad, 0o600); err != nil {
					t.Fatal(err)
				}
				b = openBook(t, path)
				want := path + ".damaged-" + itoa(n)
				if b.SetAside() != want || string(fileBytes(t, want)) != string(bad) {
					t.Errorf("set aside as %q, want %q with every byte", b.SetAside(), want)
				}
				mustCount(t, b, "bay-1", 0)
				closeBook(t, b)
			}
		})
	}
}

func TestDiskErrorIsNoDamage(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "file"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), filepath.Join(dir, "file", "l.db"), quiet()); err == nil {
		t.Error("a path below a file was opened as a logbook")
	}
	if err := os.Mkdir(filepath.Join(dir, "l.db"), 0o700); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), filepath.Join(dir, "l.db"), quiet()); err == nil {
		t.Error("a folder was opened as a logbook")
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*damaged*")); left != nil {
		t.Errorf("set aside without damage: %q", left)
	}
}

// TestKilledWriter kills a writing process at random moments. Every number that it
// acknowledged must be there, without a gap, and the next writer continues from
// there.
func TestKilledWriter(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	var before int
	for cycle := range 20 {
		acked := killWriter(t, path, 1+rnd.IntN(40))
		b := openBook(t, path)
		if b.SetAside() != "" {
			t.Fatalf("cycle %d: a kill damaged the file", cycle)
		}
		n := b.UnsentCount()
		if n < acked || acked <= before {
			t.Fatalf("cycle %d: %d events; %d were acknowledged, %d were there before", cycle, n, acked, before)
		}
		mustCount(t, b, "bay-1", n)
		m, err := b.LoadMemory(t.Context(), "bay-1")
		if err != nil || m == nil {
			t.Fatalf("cycle %d: memory %+v, %v", cycle, m, err)
		}
		if have, err := strconv.Atoi(string(m.State)); err != nil || have < acked || have > n {
			t.Fatalf("cycle %d: memory %q, %v; want from %d to %d", cycle, m.State, err, acked, n)
		}
		before = n
		closeBook(t, b)
	}
}

// killWriter lets a writer acknowledge a number of writes, kills it, and returns
// the last acknowledged number.
func killWriter(t *testing.T, path string, writes int) (acked int) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), exe)
	cmd.Env = append(os.Environ(), "LOGBOOK_TEST_WRITER="+path)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for n := 0; lines.Scan(); n++ {
		if acked, err = strconv.Atoi(lines.Text()); err != nil {
			t.Fatal(err)
		}
		if n == writes {
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	_ = cmd.Wait()
	if acked == 0 {
		t.Fatal("the writer wrote nothing")
	}
	return acked
}

// withLog returns the file and the write-ahead log of an earlier program that was
// killed after it had written some events.
func withLog(t *testing.T, events int) (main, log []byte) {
	t.Helper()
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	if err := b.Reader.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := b.durable.ExecContext(t.Context(), "PRAGMA journal_mode = WAL; PRAGMA wal_autocheckpoint = 0"); err != nil {
		t.Fatal(err)
	}
	fill(t, b, events)
	return fileBytes(t, path), fileBytes(t, path+"-wal")
}

// TestLogOfAnEarlierProgram: nothing of a write-ahead log is lost, and nothing is
// left of it.
func TestLogOfAnEarlierProgram(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	main, wal := withLog(t, 60)
	for name, data := range map[string][]byte{path: main, path + "-wal": wal} {
		if err := os.WriteFile(name, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b := openBook(t, path)
	mustCount(t, b, "bay-1", 60)
	fill(t, b, 1)
	for _, part := range []string{"-wal", "-shm"} {
		if _, err := os.Stat(path + part); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s is still there: %v", part, err)
		}
	}
	if mode := fileBytes(t, path)[18:20]; mode[0] != 1 || mode[1] != 1 { // the file format's versions: 2 is a write-ahead log
		t.Errorf("the file is marked %v", mode)
	}
}

// TestLogIsInUse: a file whose log another program reads is left as it is.
func TestLogIsInUse(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	main, wal := withLog(t, 60)
	for name, data := range map[string][]byte{path: main, path + "-wal": wal} {
		if err := os.WriteFile(name, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	tx, err := db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := tx.QueryRowContext(t.Context(), "SELECT count(*) FROM event").Scan(new(int)); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), path, quiet()); !errors.Is(err, ErrLocked) {
		t.Errorf("%v, want ErrLocked", err)
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
}

// TestTornLog cuts and corrupts the write-ahead log as a power cut may. What is
// left must be a beginning of what was written, without a gap.
func TestTornLog(t *testing.T) {
	main, wal := withLog(t, 60)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	shorter := false
	for cycle := range 40 {
		torn := append([]byte{}, wal[:rnd.IntN(len(wal)+1)]...)
		if len(torn) > 0 && cycle%2 == 1 {
			torn[rnd.IntN(len(torn))] ^= 0x10
		}
		at := filepath.Join(inMemory(t), "l.db")
		for name, data := range map[string][]byte{at: main, at + "-wal": torn} {
			if err := os.WriteFile(name, data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		b := openBook(t, at)
		n := b.UnsentCount()
		if n > 60 || b.SetAside() != "" {
			t.Fatalf("cut at %d: %d events, set aside %q", len(torn), n, b.SetAside())
		}
		shorter = shorter || n < 60 && n > 0
		mustCount(t, b, "bay-1", n)
		if seqs, err := b.Append(t.Context(), "bay-1", stampAt(0), someEvents(1)); err != nil || seqs[0] != uint64(n+1) {
			t.Fatalf("cut at %d: numbers %v, %v; want %d", len(torn), seqs, err, n+1)
		}
		closeBook(t, b)
	}
	if !shorter {
		t.Error("no cut lost anything: the test is broken")
	}
}

func fill(t *testing.T, b *Book, n int) {
	t.Helper()
	for i := range n {
		if _, err := b.Append(t.Context(), "bay-1", stampAt(i), someEvents(1)); err != nil {
			t.Fatal(err)
		}
	}
}

func fileBytes(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// raw runs a statement on a file as another program would.
func raw(t *testing.T, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(t.Context(), statement); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}
