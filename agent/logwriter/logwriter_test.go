package logwriter

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"
)

// TestStuckReader: a stuck reader delays no caller. When it reads again, it gets the
// number of lines that it lost.
func TestStuckReader(t *testing.T) {
	r, w := io.Pipe()
	l := New(w)
	for i := range 3 * maxLines {
		if n, err := fmt.Fprintf(l, "line %d\n", i); n == 0 || err != nil {
			t.Fatal(n, err)
		}
	}
	var got bytes.Buffer
	read := make(chan struct{})
	go func() { _, _ = io.Copy(&got, r); close(read) }()
	l.Close()
	_ = w.Close()
	<-read
	all := strings.Split(strings.TrimSpace(got.String()), "\n")
	if len(all) < maxLines || len(all) > maxLines+3 || all[0] != "line 0" || !strings.Contains(got.String(), "were lost") {
		t.Errorf("%d lines, first %q, last %q", len(all), all[0], all[len(all)-1])
	}
}
