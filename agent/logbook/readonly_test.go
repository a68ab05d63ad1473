package logbook

import (
	"context"
	"fmt"
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

// killed returns the logbook of an agent that was killed during a commit: the file
// has it, the journal takes it back.
func killed(t *testing.T) string {
	t.Helper()
	b := openBook(t, filepath.Join(t.TempDir(), "l.db"))
	twoCharges(t, b)
	c := commitOf(t, b, Entry{Bay: "bay-1", Stamp: minute(2), Events: someEvents(2), Rows: Rows{Charges: []Charge{someCharge(2)}}})
	path := filepath.Join(openToRead(t), "l.db")
	require.NoError(t, os.WriteFile(path, c.after, 0o640))
	require.NoError(t, os.WriteFile(path+"-journal", c.synced, 0o640))
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
		require.Equal(t, allThere, asStranger(t, path))
	})
	t.Run("after an agent that was killed", func(t *testing.T) {
		path := killed(t)
		require.Equal(t, "logbook "+path+": its last commit was cut off, and "+path+"-journal is needed to take that back: "+
			"read it as the agent's user, such as by sudo -u bayward; or copy both files to a folder of your own and read them there", asStranger(t, path))
		r, err := OpenReadOnly(t.Context(), path)
		require.NoError(t, err)
		mustHold(t, r, 2)
		require.NoError(t, r.Close())
		require.Equal(t, allThere, asStranger(t, path))
	})
	t.Run("after an earlier program that was killed", func(t *testing.T) {
		main, log := withLog(t, 60)
		path := filepath.Join(openToRead(t), "l.db")
		require.NoError(t, os.WriteFile(path, main, 0o640))
		require.NoError(t, os.WriteFile(path+"-wal", log, 0o640))
		require.Equal(t, "logbook "+path+": an older bayward wrote it and left a log: start the agent once to upgrade the file", asStranger(t, path))
	})
	t.Run("not readable", func(t *testing.T) {
		path := killed(t)
		require.NoError(t, os.Chmod(path, 0o000))
		if os.Geteuid() == 0 {
			require.NoError(t, os.Chmod(path, 0o600))
		}
		require.Equal(t, "logbook "+path+": open "+path+": permission denied: read it as the agent's user, such as by sudo -u bayward", asStranger(t, path))
	})
}
