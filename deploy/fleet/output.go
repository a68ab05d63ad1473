package main

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// listFile names every file of an output with its hash, so that a later run knows what
// it may replace, and whoever copies the files sees whether they arrived.
const listFile = "SHA256SUMS"

// output is what a run makes: a folder that replaces that of the last run as a whole.
type output struct {
	folder    string
	now       time.Time
	renewDays int
	files     map[string]file
	news      []string // what was made that was not there
}

type file struct {
	data []byte
	mode fs.FileMode
}

func newOutput(folder string, now time.Time) (*output, error) {
	folder, err := filepath.Abs(folder)
	return &output{folder: folder, now: now, files: map[string]file{}}, err
}

// add places a file that anyone may read.
func (o *output) add(path string, data []byte) { o.files[path] = file{data, 0o644} }

// secret places a file that only its owner may read.
func (o *output) secret(path string, data []byte) { o.files[path] = file{data, 0o600} }

// kept returns a file of the last run, nil if there is none.
func (o *output) kept(path string) []byte {
	data, err := os.ReadFile(filepath.Join(o.folder, filepath.FromSlash(path)))
	if err != nil {
		return nil
	}
	return data
}

// lock keeps a second run away from the folder until the returned function is called.
// It also finishes what a run that was killed had begun.
func (o *output) lock() (release func(), err error) {
	parent := filepath.Dir(o.folder)
	if err := os.MkdirAll(parent, 0o700); err != nil {
		return nil, err
	}
	dir, err := os.Open(parent)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		_ = dir.Close()
		return nil, fmt.Errorf("%s: another run is writing there", o.folder)
	}
	if err := o.finishLast(); err != nil {
		_ = dir.Close()
		return nil, err
	}
	return func() { _ = dir.Close() }, nil
}

// Beside the folder: what is being written, and what it replaces.
func (o *output) next() string { return o.folder + ".new" }
func (o *output) last() string { return o.folder + ".old" }

func (o *output) finishLast() error {
	if _, err := os.Lstat(o.folder); errors.Is(err, fs.ErrNotExist) {
		if err := os.Rename(o.last(), o.folder); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	for _, dir := range []string{o.next(), o.last()} {
		if _, err := os.Lstat(dir); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err := ours(dir); err != nil {
			return err
		}
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	}
	return ours(o.folder)
}

// ours refuses a folder with files that no run has made: they would be lost. A
// run that was killed has written its list first.
func ours(folder string) error {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(entries) == 0 {
		return nil
	}
	if err != nil {
		return err
	}
	list, err := os.ReadFile(filepath.Join(folder, listFile))
	if err != nil {
		return fmt.Errorf("%s is not empty and has no %s, so no run has made it: name another folder", folder, listFile)
	}
	known := map[string]bool{listFile: true}
	for line := range bytes.Lines(list) {
		if _, name, ok := strings.Cut(strings.TrimSpace(string(line)), "  "); ok {
			known[name] = true
		}
	}
	return filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		name, err := filepath.Rel(folder, path)
		if err == nil && !known[filepath.ToSlash(name)] {
			return fmt.Errorf("%s was not made by a run and would be lost: move it away", path)
		}
		return err
	})
}

// write replaces the folder. Whenever it is interrupted, the next run finds the old
// folder or the new one, and no mixture.
func (o *output) write() error {
	o.list()
	if err := os.Mkdir(o.next(), 0o700); err != nil {
		return err
	}
	// The list comes first: by it a later run knows that the rest may be removed.
	for _, name := range append([]string{listFile}, slices.Sorted(maps.Keys(o.files))...) {
		if err := o.writeFile(name); err != nil {
			return err
		}
	}
	if err := syncAll(o.next()); err != nil {
		return err
	}
	if err := os.Rename(o.folder, o.last()); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(o.next(), o.folder); err != nil {
		return err
	}
	if err := syncAll(filepath.Dir(o.folder)); err != nil {
		return err
	}
	return os.RemoveAll(o.last())
}

func (o *output) list() {
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(o.files)) {
		fmt.Fprintf(&b, "%x  %s\n", sha256.Sum256(o.files[name].data), name)
	}
	o.add(listFile, []byte(b.String()))
}

func (o *output) writeFile(name string) error {
	path, f := filepath.Join(o.next(), filepath.FromSlash(name)), o.files[name]
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	if err := os.WriteFile(path, f.data, f.mode); err != nil {
		return err
	}
	return os.Chmod(path, f.mode) // whatever the umask is
}

// syncAll waits until everything on the path's disk is on it.
func syncAll(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(unix.Syncfs(int(f.Fd())), f.Close())
}
