package main

import (
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"
	"unsafe"
)

// bootTime returns CLOCK_BOOTTIME, which leases are stamped with.
func bootTime() time.Duration {
	const clockBoottime = 7
	var t syscall.Timespec
	_, _, e := syscall.RawSyscall(syscall.SYS_CLOCK_GETTIME, clockBoottime, uintptr(unsafe.Pointer(&t)), 0) //nolint:gosec // there is no safe call for it in the standard library
	if e != 0 {
		panic("the kernel has no CLOCK_BOOTTIME: " + e.Error())
	}
	return time.Duration(t.Nano())
}

// lockMemory keeps what the program uses in memory, its own code with it: a page that
// would have to be read again from a dead disk would stop it for good.
func lockMemory() error {
	const onFault = 4 // MCL_ONFAULT: the runtime reserves far more than it uses
	if err := syscall.Mlockall(syscall.MCL_CURRENT | syscall.MCL_FUTURE | onFault); err != nil {
		return fmt.Errorf("the memory is not locked, so a dead disk could delay a relay (the unit needs LimitMEMLOCK=infinity): %w", err)
	}
	maps, err := os.ReadFile("/proc/self/maps")
	if err != nil {
		return err
	}
	for m := range strings.Lines(string(maps)) {
		f := strings.Fields(m) // addresses, rights, offset, device, inode, path
		if len(f) < 6 || f[4] == "0" || f[1][0] != 'r' {
			continue
		}
		var from, to uintptr
		if _, err := fmt.Sscanf(f[0], "%x-%x", &from, &to); err != nil {
			return err
		}
		if _, _, e := syscall.Syscall(syscall.SYS_MLOCK, from, to-from, 0); e != 0 { // reads it in
			return e
		}
	}
	return nil
}

// manager is systemd, or nothing.
type manager struct {
	fd    int
	every time.Duration // between two pings, 0 for none
	next  time.Duration
}

// newManager reports that the keeper is ready.
func newManager() (m manager) {
	path := os.Getenv("NOTIFY_SOCKET")
	if path == "" {
		return m
	}
	fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_DGRAM|syscall.SOCK_CLOEXEC|syscall.SOCK_NONBLOCK, 0)
	if err != nil || syscall.Connect(fd, &syscall.SockaddrUnix{Name: path}) != nil {
		return m
	}
	_, _ = syscall.Write(fd, []byte("READY=1"))
	us, _ := strconv.Atoi(os.Getenv("WATCHDOG_USEC"))
	return manager{fd: fd, every: time.Duration(us) * time.Microsecond / 2}
}

var alive = []byte("WATCHDOG=1")

// ping reports that the loop runs, and returns when to come again, negative for never.
func (m *manager) ping(now time.Duration) time.Duration {
	if m.every == 0 {
		return -1
	}
	if now >= m.next {
		_, _ = syscall.Write(m.fd, alive)
		m.next = now + m.every
	}
	return m.next - now
}

// Kinds of messages.
const (
	starting = iota
	tripped
	refused
	stuck
	kinds
)

// messages go to standard error from a goroutine of their own, because who reads there
// may hang. Of each kind, and of those that nobody reads, most are left out.
type messages struct {
	lines chan string
	next  [kinds]time.Duration
}

func newMessages(w io.Writer) *messages {
	m := &messages{lines: make(chan string, kinds)}
	go func() {
		for l := range m.lines {
			_, _ = io.WriteString(w, l)
		}
	}()
	return m
}

// say writes a message, unless there was one of its kind in the last ten seconds.
func (m *messages) say(now time.Duration, kind int, format string, args ...any) {
	if now < m.next[kind] {
		return
	}
	m.next[kind] = now + 10*time.Second
	select {
	case m.lines <- fmt.Sprintf(name+format+"\n", args...):
	default:
	}
}
