package logbook

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// nobody is the usual id of the user who owns nothing.
const nobody = 65534

// readAsStranger reads a logbook and prints what it found; TestMain runs it as
// another user.
func readAsStranger(ctx context.Context, path string) error {
	r, err := OpenReadOnly(ctx, path)
	if err != nil {
		return err
	}
	chain, err := r.Verify(ctx)
	if err != nil {
		return err
	}
	last := uint64(0)
	for e, err := range r.EachEvent(ctx, Query{}) {
		if err != nil {
			return err
		}
		last = e.Seq
	}
	if err := r.Close(); err != nil {
		return err
	}
	fmt.Printf("%d events, %d charges\n", last, chain.Rows)
	return nil
}

// asStranger reads a logbook as a user who can write nothing there: nobody, with
// the logbook's group, when the test runs as root, otherwise its own user in a
// folder without write bits. It returns what was found, or the error.
func asStranger(t *testing.T, path string) string {
	t.Helper()
	dir := filepath.Dir(path)
	before := namesIn(t, dir)
	cmd := exec.Command("/proc/self/exe") // whose folder no other user may enter
	cmd.Env = append(os.Environ(), "LOGBOOK_TEST_READER="+path)
	if os.Geteuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: uint32(os.Getegid())}}
	} else {
		info, err := os.Stat(dir)
		require.NoError(t, err)
		require.NoError(t, os.Chmod(dir, info.Mode().Perm()&0o555))
		defer func() { require.NoError(t, os.Chmod(dir, info.Mode().Perm())) }()
	}
	out, err := cmd.CombinedOutput()
	if err != nil {
		require.NotEmpty(t, out, err)
	}
	require.Equal(t, before, namesIn(t, dir), "a reader changes nothing")
	return strings.TrimSpace(string(out))
}

// openToRead returns a folder that its group may enter and only its owner may write
// to.
func openToRead(t *testing.T) string {
	t.Helper()
	dir := inMemory(t)
	for d := dir; strings.HasPrefix(d, os.TempDir()+"/") || d == dir; d = filepath.Dir(d) {
		require.NoError(t, os.Chmod(d, 0o750))
	}
	return dir
}

// lyingThere returns the logbook of a killed agent: with the files that it shared,
// and records in its log.
func lyingThere(t *testing.T, parts ...string) string {
	t.Helper()
	b := openBook(t, filepath.Join(t.TempDir(), "l.db"))
	twoCharges(t, b)
	path := filepath.Join(openToRead(t), "l.db")
	for _, part := range parts {
		require.NoError(t, os.WriteFile(path+part, fileBytes(t, b.path+part), 0o640))
	}
	return path
}

func twoCharges(t *testing.T, b *Book) {
	t.Helper()
	for n := range 2 {
		e := Entry{Bay: "bay-1", Stamp: minute(n), Events: someEvents(2), Rows: Rows{Charges: []Charge{someCharge(n)}}}
		require.NoError(t, b.Write(t.Context(), e))
	}
}

const allThere = "4 events, 2 charges"

// TestReadersWhoMayNotWrite: a user who may read the file reads all of it;
// otherwise the error explains why not and what to do.
func TestReadersWhoMayNotWrite(t *testing.T) {
	t.Run("beside an agent", func(t *testing.T) {
		path := filepath.Join(openToRead(t), "l.db")
		twoCharges(t, openBook(t, path))
		require.Equal(t, allThere, asStranger(t, path))
	})
	t.Run("after an agent", func(t *testing.T) {
		path := filepath.Join(openToRead(t), "l.db")
		b := openBook(t, path)
		twoCharges(t, b)
		closeBook(t, b)
		require.NoFileExists(t, path+"-wal")
		require.Equal(t, allThere, asStranger(t, path))
	})
	t.Run("after an agent that was killed", func(t *testing.T) {
		require.Equal(t, allThere, asStranger(t, lyingThere(t, "", "-wal", "-shm")))
	})
	t.Run("a copy without the shared files", func(t *testing.T) {
		path := lyingThere(t, "", "-wal")
		require.Equal(t, "logbook "+path+": its newest records are in "+path+"-wal, which cannot be read from here: "+
			"read it as the agent's user, such as by sudo -u bayward; or copy both files to a folder of your own and read them there", asStranger(t, path))
	})
	t.Run("not readable", func(t *testing.T) {
		path := lyingThere(t, "")
		require.NoError(t, os.Chmod(path, 0o000))
		if os.Geteuid() == 0 {
			require.NoError(t, os.Chmod(path, 0o600))
		}
		require.Equal(t, "logbook "+path+": open "+path+": permission denied: read it as the agent's user, such as by sudo -u bayward", asStranger(t, path))
	})
}

// TestReadAtRest: an agent that begins to write during the read is noticed.
func TestReadAtRest(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	b := openBook(t, path)
	twoCharges(t, b)
	closeBook(t, b)
	for name, write := range map[string]func(b *Book){
		"still running": func(*Book) {},
		"has ended":     func(b *Book) { closeBook(t, b) },
	} {
		t.Run(name, func(t *testing.T) {
			r, err := readAtRest(path)
			require.NoError(t, err)
			mustHold(t, r, 2)
			require.NoError(t, r.rest.moved())
			b, err := Open(t.Context(), path, slog.New(slog.DiscardHandler))
			require.NoError(t, err)
			defer b.Close()
			_, err = b.Append(t.Context(), "bay-1", minute(9), someEvents(1))
			require.NoError(t, err)
			write(b)
			require.ErrorIs(t, r.Backup(t.Context(), filepath.Join(t.TempDir(), "copy.db")), ErrMoved)
			require.ErrorIs(t, r.Close(), ErrMoved)
		})
	}
}
