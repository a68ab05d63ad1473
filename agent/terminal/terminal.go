// Package terminal formats output for a person at a terminal.
package terminal

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// Is reports whether w is a terminal. It asks the kernel, because a character device
// may also be /dev/null.
func Is(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}
