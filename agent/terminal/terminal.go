// Package terminal serves a person who sits at one.
package terminal

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// Is reports whether what is written reaches a terminal. It asks the kernel: a
// character device may be /dev/null as well.
func Is(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}
