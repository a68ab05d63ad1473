package terminal

import (
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// progressEvery is how often the line is drawn. A replay that finishes sooner shows
// none.
const progressEvery = 500 * time.Millisecond

// Progress shows on a terminal how much of the files has been read. Elsewhere it
// prints nothing.
type Progress struct {
	w       io.Writer
	files   int
	total   int64 // bytes; 0 if a size is unknown
	read    atomic.Int64
	through atomic.Int64 // files
	stop    chan struct{}
	shown   sync.WaitGroup
}

// NewProgress starts the display, which End must stop.
func NewProgress(w io.Writer, files []string) *Progress {
	p := &Progress{w: w, files: len(files), stop: make(chan struct{})}
	for _, name := range files {
		info, err := os.Stat(name)
		if err != nil || !info.Mode().IsRegular() {
			p.total = 0
			break
		}
		p.total += info.Size()
	}
	if Is(w) {
		p.shown.Go(p.show)
	}
	return p
}

func (p *Progress) show() {
	began := time.Now()
	t := time.NewTicker(progressEvery)
	defer t.Stop()
	for {
		select {
		case <-p.stop:
			_, _ = fmt.Fprint(p.w, "\r\x1b[K")
			return
		case <-t.C:
			_, _ = fmt.Fprint(p.w, "\r\x1b[K"+p.line(time.Since(began)))
		}
	}
}

// line returns the text to show after the given time.
func (p *Progress) line(after time.Duration) string {
	read := p.read.Load()
	text := fmt.Sprintf("%d of %d traces, %.1f MB read", p.through.Load(), p.files, float64(read)/1e6)
	if p.total == 0 || read == 0 {
		return text
	}
	left := time.Duration(float64(after) * float64(p.total-read) / float64(read))
	return fmt.Sprintf("%3d %%, %s, %s left", 100*read/p.total, text, max(left, 0).Round(time.Second))
}

// Reader counts the bytes that are read from r.
func (p *Progress) Reader(r io.Reader) io.Reader { return &counted{r, &p.read} }

// Done counts a file as read.
func (p *Progress) Done() { p.through.Add(1) }

// End removes the line.
func (p *Progress) End() {
	close(p.stop)
	p.shown.Wait()
}

type counted struct {
	io.Reader
	n *atomic.Int64
}

// Read reads from the source and counts the bytes.
func (c *counted) Read(b []byte) (int, error) {
	n, err := c.Reader.Read(b)
	c.n.Add(int64(n))
	return n, err
}
