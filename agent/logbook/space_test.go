package logbook

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// hours returns thinned readings, one for each hour from n on.
func hours(n, count int) (out []Series) {
	for i := range count {
		s := someSeries(1)
		s.Start.Wall = s.Start.Wall.Add(time.Duration(n+i) * time.Hour)
		out = append(out, s)
	}
	return out
}

// Writers that never rest give another one its turn: no more writes come before its own
// than were waiting before it.
func TestNoWriterIsStarved(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := openBook(t, filepath.Join(inMemory(t), "l.db"))
		const writers = 3
		stop := make(chan struct{})
		var others, ours sync.WaitGroup
		require.NoError(t, b.takeTurn(t.Context()))
		for range writers {
			others.Go(func() { writeUntil(t, b, stop) })
		}
		synctest.Wait() // all of them wait for their turn
		var number uint64
		ours.Go(func() { number = write(t, b) })
		synctest.Wait() // and this one behind them
		b.giveTurn()
		ours.Wait()
		close(stop)
		others.Wait()
		require.Equal(t, uint64(writers+1), number)
	})
}

// writeUntil writes without a rest.
func writeUntil(t *testing.T, b *Book, stop <-chan struct{}) {
	for {
		select {
		case <-stop:
			return
		default:
			write(t, b)
		}
	}
}

// write writes an event and returns its number.
func write(t *testing.T, b *Book) uint64 {
	numbers, err := b.Append(t.Context(), "bay-1", stampAt(0), someEvents(1))
	if !assert.NoError(t, err) {
		return 0
	}
	return numbers[0]
}

// fillUp writes events until the disk takes no more, and thinned readings before.
// It checks that each event is there whole.
func fillUp(t *testing.T, b *Book, most int) (stored int, failed error) {
	t.Helper()
	writeRows(t, b, Rows{Charges: []Charge{someCharge(1)}, Visits: []Visit{someVisit(30)}, Series: hours(0, 3000)})
	text := strings.Repeat("x", 1500)
	for stored < most {
		_, failed = b.Append(t.Context(), "bay-1", stampAt(stored), []bay.Event{{Kind: bay.FindingRaised, Code: interlock.PackHot, By: text}})
		if failed != nil {
			return stored, failed
		}
		stored++
	}
	return stored, nil
}

// fullDiskKeeps checks what a full disk must leave whole: everything but the
// readings.
func fullDiskKeeps(t *testing.T, b *Book, stored int, failed error) {
	t.Helper()
	require.True(t, diskFull(failed), "the disk must get full: %v", failed)
	require.Zero(t, len(allOf(t, b.Series(t.Context(), Query{}))), "readings are dropped before anything else is refused") //nolint:testifylint // thousands of rows are no message
	require.Equal(t, 3000, b.Shed())
	require.True(t, b.ShortOfSpace())
	mustCount(t, b, "bay-1", stored)
	require.Len(t, allOf(t, b.Charges(t.Context(), Query{})), 1)
	require.Len(t, allOf(t, b.Visits(t.Context(), Query{})), 1)
	mustHold(t, b.Reader, 2)
	require.NoError(t, check(t.Context(), b.durable))
}

func TestFullFileShedsReadingsFirst(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	_, err := b.durable.ExecContext(t.Context(), "PRAGMA max_page_count = 2400")
	require.NoError(t, err)
	stored, failed := fillUp(t, b, 100_000)
	require.Greater(t, stored, 400)
	fullDiskKeeps(t, b, stored, failed)
	_, err = b.durable.ExecContext(t.Context(), "PRAGMA max_page_count = 4000000")
	require.NoError(t, err)
	b.shedAt = time.Time{} // ten minutes later
	_, err = b.Append(t.Context(), "bay-1", stampAt(0), someEvents(1))
	require.NoError(t, err)
	require.False(t, b.ShortOfSpace(), "there is room again")
}

// smallDisk mounts an ext4 file system of its own.
func smallDisk(t *testing.T, mib int) (dir string) {
	t.Helper()
	image := filepath.Join(t.TempDir(), "disk.img")
	require.NoError(t, os.WriteFile(image, nil, 0o600))
	require.NoError(t, os.Truncate(image, int64(mib)<<20))
	run := func(name string, args ...string) (string, error) {
		out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
		if err != nil {
			return "", fmt.Errorf("%s %v: %w: %s", name, args, err, out)
		}
		return strings.TrimSpace(string(out)), nil
	}
	dir = filepath.Join(t.TempDir(), "mounted")
	require.NoError(t, os.Mkdir(dir, 0o750))
	device := ""
	_, err := run("mkfs.ext4", "-q", "-F", "-m", "0", image)
	if err == nil {
		device, err = run("losetup", "--find", "--show", image)
	}
	if err == nil {
		_, err = run("mount", device, dir)
	}
	t.Cleanup(func() { // the test's own context has ended
		_ = exec.Command("umount", dir).Run()
		if device != "" {
			_ = exec.Command("losetup", "--detach", device).Run()
		}
	})
	if err != nil && os.Getenv("BAYWARD_REQUIRE_TOOLS") == "" {
		t.Skipf("needs a loop device and the right to mount: %v", err)
	}
	require.NoError(t, err)
	return dir
}

// TestFullDiskShedsReadingsFirst fills a real file system to its last block.
func TestFullDiskShedsReadingsFirst(t *testing.T) {
	dir := smallDisk(t, 8)
	b := openBook(t, filepath.Join(dir, "l.db"))
	stored, failed := fillUp(t, b, 100_000)
	t.Logf("%d events were stored before the disk was full", stored)
	require.Greater(t, stored, 500)
	fullDiskKeeps(t, b, stored, failed)
	closeBook(t, b)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "crumbs"), nil, 0o600))
	b = openBook(t, filepath.Join(dir, "l.db")) // opens on a full disk
	mustCount(t, b, "bay-1", stored)
	closeBook(t, b)
}

// fillDisk takes every block of a disk.
func fillDisk(t *testing.T, dir string) (junk string) {
	t.Helper()
	f, err := os.Create(filepath.Join(dir, "junk"))
	require.NoError(t, err)
	for block := make([]byte, 1<<16); len(block) > 0; {
		if _, err := f.Write(block); err != nil {
			require.ErrorIs(t, err, syscall.ENOSPC)
			block = block[:len(block)/2]
		}
	}
	require.NoError(t, errors.Join(f.Sync(), f.Close()))
	return f.Name()
}

// TestOpenWithoutABlock: every block was taken while the agent was off. The record
// continues in the room that its journal and old readings have.
func TestOpenWithoutABlock(t *testing.T) {
	dir := smallDisk(t, 8)
	path := filepath.Join(dir, "l.db")
	b := openBook(t, path)
	writeRows(t, b, Rows{Series: hours(0, 300)})
	fill(t, b, 20)
	closeBook(t, b)
	fillDisk(t, dir)
	b = openBook(t, path)
	fill(t, b, 20)
	mustCount(t, b, "bay-1", 40)
	require.Equal(t, 300, len(allOf(t, b.Series(t.Context(), Query{})))+b.Shed()) //nolint:testifylint // hundreds of rows are no message
}

// The same for the file of an earlier program, whose log must be written back: it
// gives up what was set aside for that.
func TestUpgradeWithoutABlock(t *testing.T) {
	dir := smallDisk(t, 8)
	path := filepath.Join(dir, "l.db")
	main, log := withLog(t, 500)
	closeBook(t, openBook(t, path))
	require.NoError(t, os.WriteFile(path, main, 0o600))
	require.NoError(t, os.WriteFile(path+"-wal", log, 0o600))
	fillDisk(t, dir)
	b := openBook(t, path)
	fill(t, b, 20)
	mustCount(t, b, "bay-1", 520)
}

// Another program fills the disk: the record continues in the room that old
// readings leave.
func TestDiskFilledByOthers(t *testing.T) {
	dir := smallDisk(t, 16)
	b := openBook(t, filepath.Join(dir, "l.db"))
	writeRows(t, b, Rows{Series: hours(0, 3000)})
	junk := fillDisk(t, dir)
	for n := range 300 {
		_, err := b.Append(t.Context(), "bay-1", stampAt(n), []bay.Event{{Kind: bay.ChargeFull, By: strings.Repeat("x", 1500)}})
		require.NoError(t, err, "event %d", n)
	}
	mustCount(t, b, "bay-1", 300)
	require.True(t, b.ShortOfSpace())
	left := len(allOf(t, b.Series(t.Context(), Query{})))
	require.Equal(t, 3000, left+b.Shed())
	require.NoError(t, os.Remove(junk))
	b.shedAt = time.Time{} // ten minutes later
	_, err := b.Append(t.Context(), "bay-1", stampAt(0), someEvents(1))
	require.NoError(t, err)
	require.False(t, b.ShortOfSpace())
}

// Only old readings are deleted; a row of a time without a trusted clock goes with
// its neighbours, and an untrusted clock deletes nothing.
func TestRetention(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	const day = 24
	old, past := hours(0, 10*day), hours(0, 1)
	past[0].Start = Stamp{Wall: time.UnixMilli(0).UTC(), BootID: "x"}
	writeRows(t, b, Rows{Series: past})
	writeRows(t, b, Rows{Series: old, Charges: []Charge{someCharge(1)}, Visits: []Visit{someVisit(1)}})
	b.Keep(5 * 24 * time.Hour)
	now := old[len(old)-1].Start
	wrong := now
	wrong.Trusted, wrong.Wall = false, now.Wall.AddDate(50, 0, 0)
	add := func(s Stamp) []Series {
		require.NoError(t, b.Write(t.Context(), Entry{Bay: "bay-1", Pack: "lift-24v", Stamp: s, Events: someEvents(1), Rows: Rows{Series: hours(10*day, 1)}}))
		return allOf(t, b.Series(t.Context(), Query{}))
	}
	require.Len(t, add(wrong), 10*day+2)
	left := add(now)
	require.Len(t, left, 5*day+3)
	require.Equal(t, now.Wall.Add(-5*24*time.Hour), left[0].Start.Wall)
	require.Len(t, allOf(t, b.Charges(t.Context(), Query{})), 1)
	require.Len(t, allOf(t, b.Visits(t.Context(), Query{})), 1)
	mustCount(t, b, "bay-1", 2)
}
