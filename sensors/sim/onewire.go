package sim

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"sort"
	"strings"
	"time"
)

// busMaster is the folder of the first 1-wire bus.
const busMaster = "w1_bus_master1"

func isMaster(name string) bool {
	number, ok := strings.CutPrefix(name, "w1_bus_master")
	return ok && number != "" && strings.Trim(number, "0123456789") == ""
}

// masters are the folders of all buses, in order.
func (w wireFS) masters() []string {
	all := []string{busMaster}
	for _, y := range w.bench.bays {
		if !slices.Contains(all, y.packBus) {
			all = append(all, y.packBus)
		}
	}
	sort.Strings(all)
	return all
}

// errIO is the error of reading a damaged temperature.
var errIO = errors.New("input/output error")

// wireFS is the tree of 1-wire files. A file's text is made when it is opened.
type wireFS struct{ bench *Bench }

// triesFor is how long the kernel retries a sensor whose answer is damaged or
// missing, before it gives up: from one second to more than ten were seen on the
// emulated board (deploy/emulated, Linux 6.1).
const triesFor = 4 * time.Second

// SilentWire makes the 1-wire files like those of w1_therm in Linux 6.1: a damaged
// or missing answer shows as an empty file without an error, after seconds. By
// default the file shows NO, as in older kernels. To block the reader, block is
// called with that time; nil does not block.
func (b *Bench) SilentWire(block func(time.Duration)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.silent, b.block = true, block
}

// Open implements fs.FS.
func (w wireFS) Open(name string) (fs.File, error) {
	f, err := w.open(name)
	if t, ok := f.(*text); ok && t.block != nil {
		t.block(triesFor) // without the lock: it may advance the bench
	}
	return f, err
}

func (w wireFS) open(name string) (fs.File, error) {
	w.bench.mu.Lock()
	defer w.bench.mu.Unlock()
	refuse := func(err error) (fs.File, error) { return nil, &fs.PathError{Op: "open", Path: name, Err: err} }
	if !fs.ValidPath(name) {
		return refuse(fs.ErrInvalid)
	}
	if name == "." {
		return w.folder(".", append(w.ids(""), w.masters()...)...), nil
	}
	folder, file, inside := strings.Cut(name, "/")
	bus := ""
	if slices.Contains(w.masters(), folder) {
		if !inside || file == slavesFile {
			return w.openMaster(name, folder, inside), nil
		}
		bus = folder
		folder, file, inside = strings.Cut(file, "/")
	}
	s := w.find(folder, bus)
	switch {
	case s == nil:
		return refuse(fs.ErrNotExist)
	case !inside:
		return w.folder(name, "temperature", "w1_slave"), nil
	case file != "w1_slave" && file != "temperature":
		return refuse(fs.ErrNotExist)
	}
	pad, good := s.answer()
	switch {
	case !good && w.bench.silent:
		t := newText(name, "")
		t.block = w.bench.block
		return t, nil
	case file == "w1_slave":
		return newText(name, s.slaveText(pad, good)), nil
	case !good:
		t := newText(name, "")
		t.err = &fs.PathError{Op: "read", Path: name, Err: errIO}
		return t, nil
	}
	return newText(name, fmt.Sprintf("%d\n", pad.milliC())), nil
}

func (w wireFS) openMaster(name, bus string, inside bool) fs.File {
	ids := w.ids(bus)
	if !inside {
		return w.folder(name, append(ids, slavesFile)...)
	}
	if len(ids) == 0 {
		ids = []string{"not found."}
	}
	return newText(name, strings.Join(ids, "\n")+"\n")
}

// slavesFile returns the file that lists the sensors of a bus.
const slavesFile = "w1_master_slaves"

// ids returns the sensors that the kernel knows, sorted: of one bus, or of all for
// "".
func (w wireFS) ids(bus string) []string {
	var ids []string
	for _, s := range w.bench.sensors {
		if s.known() && (bus == "" || s.bus == bus) {
			ids = append(ids, s.id)
		}
	}
	sort.Strings(ids)
	return ids
}

func (w wireFS) find(id, bus string) *thermometer {
	for _, s := range w.bench.sensors {
		if s.id == id && s.known() && (bus == "" || s.bus == bus) {
			return s
		}
	}
	return nil
}

// text is an open file.
type text struct {
	content *strings.Reader
	name    string
	err     error               // of a read
	block   func(time.Duration) // called with how long the kernel has retried; may be nil
}

func newText(name, content string) *text {
	return &text{content: strings.NewReader(content), name: name}
}

// Read implements fs.File.
func (t *text) Read(p []byte) (int, error) {
	if t.err != nil {
		return 0, t.err
	}
	return t.content.Read(p)
}

// Stat implements fs.File.
func (t *text) Stat() (fs.FileInfo, error) {
	return info{name: base(t.name)}, nil
}

// Close implements fs.File.
func (t *text) Close() error { return nil }

// folder is an open folder.
type folder struct {
	name    string
	entries []fs.DirEntry
}

func (w wireFS) folder(name string, entries ...string) *folder {
	f := &folder{name: name}
	sort.Strings(entries)
	for _, entry := range entries {
		file := entry == slavesFile || entry == "temperature" || entry == "w1_slave"
		f.entries = append(f.entries, fs.FileInfoToDirEntry(info{name: entry, dir: !file}))
	}
	return f
}

// Read implements fs.File.
func (f *folder) Read([]byte) (int, error) {
	return 0, &fs.PathError{Op: "read", Path: f.name, Err: errors.New("is a directory")}
}

// Stat implements fs.File.
func (f *folder) Stat() (fs.FileInfo, error) { return info{name: base(f.name), dir: true}, nil }

// Close implements fs.File.
func (f *folder) Close() error { return nil }

// ReadDir implements fs.ReadDirFile.
func (f *folder) ReadDir(n int) ([]fs.DirEntry, error) {
	if n <= 0 {
		all := f.entries
		f.entries = nil
		return all, nil
	}
	if len(f.entries) == 0 {
		return nil, io.EOF
	}
	n = min(n, len(f.entries))
	some := f.entries[:n]
	f.entries = f.entries[n:]
	return some, nil
}

func base(path string) string { return path[strings.LastIndexByte(path, '/')+1:] }

// info describes a file or folder.
type info struct {
	name string
	dir  bool
}

// fileSize is the size that the kernel reports for a file, whatever is in it.
const fileSize = 4096

// Name implements fs.FileInfo.
func (i info) Name() string { return i.name }

// Size implements fs.FileInfo.
func (i info) Size() int64 {
	if i.dir {
		return 0
	}
	return fileSize
}

// Mode implements fs.FileInfo.
func (i info) Mode() fs.FileMode {
	if i.dir {
		return fs.ModeDir | 0o555
	}
	return 0o444
}

// ModTime implements fs.FileInfo; it is not known.
func (i info) ModTime() time.Time { return time.Time{} }

// IsDir implements fs.FileInfo.
func (i info) IsDir() bool { return i.dir }

// Sys implements fs.FileInfo.
func (i info) Sys() any { return nil }

var _ fs.ReadDirFile = &folder{}
