package main

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/lease"
)

// slack is for a busy machine, on top of what a test is about.
const slack = 2 * time.Second

func TestLowBeforeAnythingElse(t *testing.T) {
	p := ready(t, "user 4711\nbay-1 GPIO17 GPIO27\nbay-2 GPIO22 -\nold bay-1 GPIO16 GPIO17\n")
	for _, want := range []order{
		{line: "GPIO17", level: "Low"}, {line: "GPIO27", level: "Low"}, {line: "GPIO22", level: "Low"},
		{line: "GPIO16", level: "Low"}, {line: "GPIO16", level: "closed"}, // and GPIO17 stays, for it is in use
	} {
		got := p.next()
		got.at = 0
		require.Equal(t, want, got)
	}
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	code, left := p.end()
	require.Zero(t, code)
	require.Empty(t, strings.TrimSpace(withoutMemory(p.said.String())))
	require.Equal(t, map[string]string{"GPIO17": "Low", "GPIO27": "Low", "GPIO22": "Low"}, last(left))
}

// withoutMemory drops the one message that depends on the limits of who runs the test.
func withoutMemory(said string) string {
	if strings.Contains(said, "memory is not locked") {
		return ""
	}
	return said
}

// TestEnds: whatever ends the keeper, the relay opens first.
func TestEnds(t *testing.T) {
	for _, sig := range []syscall.Signal{syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP, syscall.SIGQUIT} {
		p := ready(t, oneBay)
		c := p.connect()
		c.send(bootTime(), lease.Longest, 0)
		require.Equal(t, answer{1, 0, true, 0}, c.receive())
		require.NoError(t, p.cmd.Process.Signal(sig))
		code, left := p.end()
		require.Zero(t, code, p.said)
		require.Equal(t, map[string]string{"GPIO17": "Low", "GPIO27": "Low"}, last(left))
	}
	p := ready(t, "user 1\nbay-1 GPIO17 GPIO27\nbay-2 GPIO22 GPIO13\n") // GPIO13 panics
	c := p.connect()
	c.send(bootTime(), lease.Longest, 0)
	require.True(t, c.receive().closed)
	link := lease.Row{Bay: "bay-2", Charge: "GPIO22", Heartbeat: "GPIO13"}
	b := frame(2, bootTime(), lease.Longest, 0)
	copy(b[4:], crc(link.String()))
	_, err := c.Write(b)
	require.NoError(t, err)
	code, left := p.end()
	require.Equal(t, exitFailed, code)
	require.Contains(t, p.said.String(), "bug: line 13")
	require.Equal(t, map[string]string{"GPIO17": "Low", "GPIO27": "Low", "GPIO22": "Low", "GPIO13": "Low"}, last(left))
}

// startAgent starts an agent for oneBay and returns the times of its leases.
func startAgent(t *testing.T, p *process) (*exec.Cmd, chan time.Duration) {
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), asAgent+"="+p.socket)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	leases := make(chan time.Duration, 10000)
	go func() {
		for lines := bufio.NewScanner(out); lines.Scan(); {
			at, err := strconv.ParseInt(lines.Text(), 10, 64)
			if err != nil {
				panic(err)
			}
			leases <- time.Duration(at)
		}
		close(leases)
	}()
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return cmd, leases
}

// TestAgentKilled: the relay opens at once, before the lease has ended.
func TestAgentKilled(t *testing.T) {
	p := ready(t, oneBay)
	agent, leases := startAgent(t, p)
	p.until("GPIO17", "High")
	p.until("GPIO27", "Low") // the heart beats
	killed := bootTime()
	require.NoError(t, agent.Process.Kill())
	open := p.until("GPIO17", "Low")
	require.Less(t, open.at-killed, slack)
	for range leases { // until it is gone
	}
	again, _ := startAgent(t, p)
	p.until("GPIO17", "High")
	require.NoError(t, again.Process.Kill())
}

// TestAgentStopped: the relay opens within a lease of the last decision, and an agent
// that continues must learn of it before it closes again.
func TestAgentStopped(t *testing.T) {
	p := ready(t, oneBay)
	agent, leases := startAgent(t, p)
	decided := <-leases
	require.NoError(t, agent.Process.Signal(syscall.SIGSTOP))
	stopped := bootTime()
	p.until("GPIO17", "Low") // before the agent's first lease
	open := p.until("GPIO17", "Low")
	require.GreaterOrEqual(t, open.at, decided+lease.Longest)
	require.Less(t, open.at, stopped+lease.Longest+slack)
	require.NoError(t, agent.Process.Signal(syscall.SIGCONT))
	require.Equal(t, "Low", p.next().level, "the trip is not acknowledged yet")
	p.until("GPIO17", "High")
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	_, _ = p.end()
	require.Contains(t, p.said.String(), "leases have ended without the agent: 1 since the start")
}

// TestBrokenFrames: the relay opens, and the connection ends.
func TestBrokenFrames(t *testing.T) {
	p := ready(t, oneBay)
	now := bootTime()
	change := func(at int, to byte) []byte {
		b := frame(9, now, lease.Longest, 0)
		b[at] = to
		return b
	}
	for name, broken := range map[string][]byte{
		"short":                   frame(9, now, lease.Longest, 0)[:31],
		"long":                    append(frame(9, now, lease.Longest, 0), 0),
		"very long":               make([]byte, 5000),
		"empty":                   {},
		"another word":            change(0, 'x'),
		"another version":         change(2, 2),
		"another kind":            change(3, 'S'),
		"half a beat":             change(26, 2),
		"something more":          change(27, 1),
		"longer than the longest": frame(9, now, lease.Longest+time.Millisecond, 0),
		"from the future":         frame(9, now+time.Hour, lease.Longest, 0),
		"from before the start":   change(23, 0x80),
		"the same again":          frame(1, now, lease.Longest, 0),
	} {
		t.Run(name, func(t *testing.T) {
			c := p.connect()
			c.send(bootTime(), lease.Longest, 0)
			require.Equal(t, answer{1, 0, true, 0}, c.receive())
			p.until("GPIO17", "High")
			_, err := c.Write(broken)
			require.NoError(t, err)
			c.hungUp()
			require.Equal(t, "Low", p.until("GPIO17", "Low").level)
		})
	}
}

// TestSecondPeer: only an agent that has been silent for a lease loses its place.
func TestSecondPeer(t *testing.T) {
	p := ready(t, oneBay)
	first := p.connect()
	first.send(bootTime(), lease.Longest, 0)
	require.True(t, first.receive().closed)
	p.connect().hungUp()
	first.send(bootTime(), lease.Longest, 0)
	require.Equal(t, answer{2, 0, true, 0}, first.receive(), "and is not disturbed")
	require.NoError(t, first.Close())
	second, asked := p.connect(), bootTime()
	second.send(asked, lease.Longest, 0)
	require.Equal(t, answer{1, 0, true, 0}, second.receive(), "there was no trip")
	for p.until("GPIO17", "High").at < asked { // of the first; on a slow machine its lease may have ended in between
	}
	p.until("GPIO17", "Low") // the lease of a silent agent ends
	third := p.connect()
	second.hungUp()
	third.send(bootTime(), lease.Longest, 1)
	require.Equal(t, answer{1, 1, true, 0}, third.receive())
}

// TestKeeperStopped: frames that have waited while the keeper was stopped close
// nothing.
func TestKeeperStopped(t *testing.T) {
	p := ready(t, oneBay)
	c := p.connect()
	const span = 200 * time.Millisecond
	c.send(bootTime(), span, 0)
	require.Equal(t, answer{1, 0, true, 0}, c.receive())
	p.until("GPIO17", "High")
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGSTOP))
	c.send(bootTime(), span, 0)
	c.send(bootTime(), span, 0)
	require.NoError(t, c.SetReadDeadline(time.Now().Add(2*span)))
	_, err := c.Read(make([]byte, 100))
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	c.send(bootTime(), lease.Longest, 0) // even a fresh one, because the trip is not known
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGCONT))
	require.Equal(t, answer{2, 1, false, 1}, c.receive())
	require.Equal(t, answer{3, 1, false, 1}, c.receive())
	require.Equal(t, answer{4, 1, false, 1}, c.receive())
	c.send(bootTime()-span, span, 1)
	require.Equal(t, answer{5, 1, false, 2}, c.receive(), "too late")
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	_, left := p.end()
	for _, o := range left {
		require.NotEqual(t, "GPIO17 High", o.line+" "+o.level)
	}
}

// TestKeeperStoppedAndLeft: the frames of an agent that has gone meanwhile are not even
// read, and the keeper is free for the next.
func TestKeeperStoppedAndLeft(t *testing.T) {
	p := ready(t, oneBay)
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGSTOP))
	for range 3 {
		c := p.connect()
		c.send(bootTime(), lease.Longest, 0)
		require.NoError(t, c.Close())
	}
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGCONT))
	c := p.connect()
	c.send(bootTime(), 0, 0)
	require.Equal(t, answer{1, 0, false, 0}, c.receive())
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	_, left := p.end()
	require.NotEmpty(t, left)
	for _, o := range left {
		require.NotEqual(t, "GPIO17 High", o.line+" "+o.level)
	}
}

// TestOtherUser: the kernel says who connects.
func TestOtherUser(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("needs root, to be somebody else")
	}
	p := ready(t, oneBay)
	as := func(uid int) *peer {
		runtime.LockOSThread() // and never unlocked: the thread ends with the test
		set := func(uid int) {
			_, _, e := syscall.RawSyscall(syscall.SYS_SETRESUID, ^uintptr(0), uintptr(uid), ^uintptr(0))
			require.Zero(t, e)
		}
		fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_SEQPACKET, 0)
		require.NoError(t, err)
		f := os.NewFile(uintptr(fd), "peer") // closes it; closed twice, another's descriptor would go
		defer f.Close()
		set(uid)
		err = syscall.Connect(fd, &syscall.SockaddrUnix{Name: p.socket})
		set(0)
		require.NoError(t, err)
		c, err := net.FileConn(f)
		require.NoError(t, err)
		return &peer{UnixConn: c.(*net.UnixConn), t: t}
	}
	as(4712).hungUp()
	c := as(4711)
	c.send(bootTime(), lease.Longest, 0)
	require.True(t, c.receive().closed)
}

// TestManager: the service manager hears of the start, and of life if it asks for it.
// An abstract socket begins with @.
func TestManager(t *testing.T) {
	name := "@" + strings.ReplaceAll(t.TempDir(), "/", "-")
	m := listenAsManager(t, name)
	p := startWith(t, oneBay, func(cmd *exec.Cmd) {
		cmd.Env = append(cmd.Env, "NOTIFY_SOCKET="+name, "WATCHDOG_USEC=20000")
	})
	p.manager = m
	require.Equal(t, "READY=1", p.heard())
	require.NoError(t, p.connect().Close())
	for range 5 {
		require.Equal(t, "WATCHDOG=1", p.heard())
	}
}

// TestFewMessages: an agent that breaks the protocol on and on does not fill a log.
func TestFewMessages(t *testing.T) {
	p := ready(t, oneBay)
	for range 200 {
		c := p.connect()
		_, err := c.Write([]byte("nonsense"))
		require.NoError(t, err)
		c.hungUp()
	}
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	code, _ := p.end()
	require.Zero(t, code)
	require.LessOrEqual(t, strings.Count(p.said.String(), "\n"), 5, p.said)
	require.Contains(t, p.said.String(), "breaks the protocol")
}

// TestNobodyReadsTheMessages: the loop does not wait for standard error.
func TestNobodyReadsTheMessages(t *testing.T) {
	from, to, err := os.Pipe()
	require.NoError(t, err)
	defer from.Close()
	fd := int(to.Fd())
	require.NoError(t, syscall.SetNonblock(fd, true))
	for err == nil {
		_, err = syscall.Write(fd, make([]byte, 1000))
	}
	require.ErrorIs(t, err, syscall.EAGAIN)
	require.NoError(t, syscall.SetNonblock(fd, false))
	p := startWith(t, oneBay, func(cmd *exec.Cmd) { cmd.Stderr = to })
	require.NoError(t, to.Close())
	require.Equal(t, "READY=1", p.heard())
	c := p.connect()
	_, err = c.Write([]byte("nonsense"))
	require.NoError(t, err)
	c.hungUp()
	c = p.connect()
	c.send(bootTime(), 100*time.Millisecond, 0)
	require.True(t, c.receive().closed)
	p.until("GPIO17", "High")
	p.until("GPIO17", "Low")
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	code, _ := p.end()
	require.Zero(t, code)
}

// TestLow: as many lines as are known are driven low, and every error is named.
func TestLow(t *testing.T) {
	for name, row := range map[string]struct {
		list string
		code int
		low  string
		says []string
	}{
		"a good list":           {"user 1\nbay-1 GPIO17 GPIO27\nold bay-1 GPIO16 -\n", exitDone, "GPIO16 GPIO17 GPIO27", nil},
		"nothing to drive":      {"user 1\n", exitDone, "", nil},
		"a line is missing":     {"user 1\nbay-1 GPIO9 GPIO27\nbay-2 GPIO17 -\n", exitFailed, "GPIO17 GPIO27", []string{"bay-1", "no line GPIO9"}},
		"an old one is missing": {"user 1\nbay-1 GPIO17 -\nold bay-1 GPIO9 GPIO16\n", exitFailed, "GPIO16 GPIO17", []string{"bay-1", "no line GPIO9"}},
		"a list that is torn":   {"user 1\nbay-1 GPIO17 GPIO27\nbay-2 GPIO1", exitUsage, "GPIO17 GPIO27", []string{"lines:3:", "GPIO1"}},
		"no user":               {"bay-1 GPIO17 -\n", exitUsage, "GPIO17", []string{"lines:1:", "user 998"}},
	} {
		t.Run(name, func(t *testing.T) {
			p := start(t, row.list, "low")
			code, orders := p.end()
			require.Equal(t, row.code, code, p.said)
			want := map[string]string{}
			for _, line := range strings.Fields(row.low) {
				want[line] = "Low"
			}
			require.Equal(t, want, last(orders))
			for _, s := range row.says {
				require.Contains(t, p.said.String(), s)
			}
			if row.says == nil {
				require.Empty(t, p.said.String())
			}
		})
	}
}

// TestDoesNotStart: with a list that is wrong, or a line that is missing, it drives
// what it can low and never listens. A missing line of before is no reason.
func TestDoesNotStart(t *testing.T) {
	for list, want := range map[string]int{
		"user 1\nbay-1 GPIO17 GPIO9\n":             exitFailed,
		"user 1\nbay-1 GPIO17 -\nbay-2 GPIO17 -\n": exitUsage,
	} {
		p := start(t, list)
		code, orders := p.end()
		require.Equal(t, want, code)
		require.Equal(t, map[string]string{"GPIO17": "Low"}, last(orders))
		require.NoFileExists(t, p.socket)
	}
	p := ready(t, "user 1\nbay-1 GPIO17 -\nold bay-1 GPIO9 -\n")
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	code, _ := p.end()
	require.Zero(t, code)
	require.Contains(t, p.said.String(), "no line GPIO9")
}

func TestUsage(t *testing.T) {
	for args, want := range map[string]struct {
		code int
		out  string
		says string
	}{
		"--help":            {exitDone, manual, ""},
		"low -h":            {exitDone, manual, ""},
		"":                  {exitUsage, "", "needs the name of one file"},
		"a b":               {exitUsage, "", "needs the name of one file"},
		"-loud a":           {exitUsage, "", "see bayward-keeper --help"},
		"/nonexistent/file": {exitUsage, "", "/nonexistent/file"},
	} {
		var out, said strings.Builder
		code := execute(strings.Fields(args), nil, &out, &said)
		require.Equal(t, want.code, code, args)
		require.Equal(t, want.out, out.String(), args)
		require.Contains(t, said.String(), want.says, args)
	}
}

// TestSmall: what the keeper is made of.
func TestSmall(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "go", "list", "-deps", "-f", "{{if not .Standard}}{{.ImportPath}}{{end}}", ".").Output()
	require.NoError(t, err)
	for _, path := range strings.Fields(string(out)) {
		ours := path == "bayward/agent/keeper" || path == "bayward/agent/lease"
		require.True(t, ours || strings.HasPrefix(path, "periph.io/x/conn/v3") || strings.HasPrefix(path, "periph.io/x/host/v3/gpioioctl"), path)
	}
	out, err = exec.CommandContext(t.Context(), "go", "list", "-deps", ".").Output()
	require.NoError(t, err)
	require.Contains(t, strings.Fields(string(out)), "syscall")
	for _, never := range []string{"net", "net/http", "crypto/tls", "database/sql", "text/template", "log/slog"} {
		require.NotContains(t, strings.Fields(string(out)), never)
	}
}

// TestNoAllocation follows frames through the socket, the keeper and the lines.
func TestNoAllocation(t *testing.T) {
	dir := t.TempDir()
	k, err := lease.NewKeeper([]lease.Lines{{Row: lease.Row{Bay: "bay-1", Charge: "GPIO17", Heartbeat: "GPIO27"}, Charge: missing{}, Beat: missing{}}})
	require.NoError(t, err)
	s := server{keeper: k, peer: none, log: newMessages(os.Stderr)}
	require.NoError(t, s.listen(filepath.Join(dir, "s")))
	fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_SEQPACKET, 0)
	require.NoError(t, err)
	require.NoError(t, syscall.Connect(fd, &syscall.SockaddrUnix{Name: filepath.Join(dir, "s")}))
	_, err = s.turn() // accepts
	require.NoError(t, err)
	b, answer, sequence := frame(1, bootTime(), lease.Longest, 0), make([]byte, 100), byte(0)
	require.Zero(t, testing.AllocsPerRun(200, func() {
		sequence++
		b[8] = sequence
		if _, err := syscall.Write(fd, b); err != nil {
			panic(err)
		}
		if ended, err := s.turn(); ended || err != nil {
			panic(fmt.Sprint("turn: ", ended, err))
		}
		if n, err := syscall.Read(fd, answer); n != lease.AnswerSize || answer[20] != 1 {
			panic(fmt.Sprint("answer: ", n, err))
		}
	}))
}

// TestNothingToWaitFor: the program is in memory to its last page, and has no file
// open that a disk could hold up.
func TestNothingToWaitFor(t *testing.T) {
	p := ready(t, oneBay)
	dir := fmt.Sprintf("/proc/%d/", p.cmd.Process.Pid)
	files, err := os.ReadDir(dir + "fd")
	require.NoError(t, err)
	for _, f := range files {
		to, err := os.Readlink(dir + "fd/" + f.Name())
		require.NoError(t, err)
		require.Regexp(t, `^(pipe:|socket:|anon_inode:|/dev/null|/sys/fs/cgroup/)`, to) // the runtime opens the last, in memory
	}
	if os.Getuid() != 0 {
		t.Skip("needs root, to lock memory beyond the usual limit")
	}
	smaps, err := os.ReadFile(dir + "smaps")
	require.NoError(t, err)
	program, err := os.Readlink(dir + "exe")
	require.NoError(t, err)
	parts := 0
	for part := range strings.SplitSeq(string(smaps), "VmFlags:") {
		if !strings.Contains(part, program) {
			continue
		}
		parts++
		require.Equal(t, kB(t, part, "Size:"), kB(t, part, "Rss:"), part)
		require.Equal(t, kB(t, part, "Pss:"), kB(t, part, "Locked:"), part)
	}
	require.GreaterOrEqual(t, parts, 3, "code, constants and variables")
}

// kB returns a row of /proc/PID/smaps.
func kB(t *testing.T, part, row string) (n int) {
	_, after, found := strings.Cut(part, "\n"+row)
	require.True(t, found, row)
	_, err := fmt.Sscan(after, &n)
	require.NoError(t, err)
	return n
}
