package lockout

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// Suffix is what the file's name has after the name of its logbook.
const Suffix = ".lockout"

// ErrDamaged means that there is a file and neither slot can be believed.
var ErrDamaged = errors.New("neither half of it can be read")

// Disk is an open file.
type Disk interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
	// Sync returns once what was written is on the disk, or why it is not.
	Sync() error
}

// File is the file of one logbook. It belongs to one goroutine at a time.
type File struct {
	path       string
	disk       Disk // nil before the first write to a new file
	state      State
	found      error // see State
	generation uint64
	next       int64 // slot that is written next: a bad one, or the older one
}

// Open opens the file at path and reads it. There need not be one: the first Write
// then creates it. Only an error of the disk is returned.
func Open(path string) (*File, error) {
	disk, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return &File{path: path, found: fs.ErrNotExist}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("lockout: %w", err)
	}
	f, err := On(osDisk{disk})
	if err != nil {
		return nil, errors.Join(err, disk.Close())
	}
	f.path = path
	return f, nil
}

// On reads a file that is open.
func On(disk Disk) (*File, error) {
	f := &File{disk: disk, found: ErrDamaged}
	if err := disk.Sync(); err != nil { // a killed program may have left a slot that a power cut would take away
		return nil, fmt.Errorf("lockout: %w", err)
	}
	for slot := range int64(2) {
		raw := make([]byte, slotBytes)
		n, err := disk.ReadAt(raw, slot*slotBytes)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("lockout: read slot %d: %w", slot, err)
		}
		s, generation, err := decode(raw[:n])
		switch {
		case err != nil:
			f.next = slot
		case generation > f.generation:
			f.state, f.generation, f.found, f.next = s, generation, nil, 1-slot
		case generation < f.generation:
			f.next = slot
		case !s.Equal(&f.state): // no write makes that, so neither counts
			f.found = ErrDamaged
		}
	}
	if f.found != nil {
		f.state = State{}
	}
	return f, nil
}

// State returns what the file has: as of the last Write, or as it was found. The
// error is fs.ErrNotExist for no file and ErrDamaged for one that cannot be used.
func (f *File) State() (State, error) { return f.state, f.found }

// Write replaces the state. If it returns no error the state is on the disk; with
// an error the file has the earlier state or the new one.
func (f *File) Write(s State) error {
	slot, err := encode(&s, f.generation+1)
	if err != nil {
		return err
	}
	f.generation++ // also after an error: some of it may have arrived
	if err := f.put(slot); err != nil {
		return fmt.Errorf("lockout: write: %w", err)
	}
	f.state, f.found = s, nil
	return nil
}

func (f *File) put(slot []byte) (err error) {
	if f.disk == nil {
		f.disk, err = create(f.path, slot)
		return err
	}
	for range 2 {
		if _, err := f.disk.WriteAt(slot, f.next*slotBytes); err != nil {
			return err
		}
		if err := f.disk.Sync(); err != nil {
			return err
		}
		f.next = 1 - f.next // this one is good, so the next write spares it
	}
	return nil
}

// Close closes the file. What was written is safe without it.
func (f *File) Close() error {
	if f.disk == nil {
		return nil
	}
	return f.disk.Close()
}

// create makes a file whose slots are good before the file gets its name, so that a
// power cut leaves no file without a good slot.
func create(path string, slot []byte) (Disk, error) {
	part, err := os.OpenFile(path+".new", os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o640) //nolint:gosec // readable by the group, as the logbook is
	if err != nil {
		return nil, err
	}
	all := make([]byte, 2*slotBytes)
	copy(all, slot)
	copy(all[slotBytes:], slot)
	_, err = part.WriteAt(all, 0)
	if err == nil {
		err = part.Sync()
	}
	if err == nil {
		err = os.Rename(part.Name(), path)
	}
	if err == nil {
		err = syncFolder(path)
	}
	if err != nil {
		return nil, errors.Join(err, part.Close())
	}
	return osDisk{part}, nil
}

// syncFolder makes a new name survive a power cut.
func syncFolder(path string) error {
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// osDisk syncs the data and the size of a file, which is all that reading it needs.
type osDisk struct{ *os.File }

// Sync implements Disk.
func (d osDisk) Sync() error {
	for {
		err := unix.Fdatasync(int(d.Fd()))
		if !errors.Is(err, unix.EINTR) {
			return err
		}
	}
}

var _ Disk = osDisk{}
