package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// jobTerminal is the walk at a real terminal, started by a shell that knows jobs,
// as a technician's does.
type jobTerminal struct {
	t        *testing.T
	cmd      *exec.Cmd
	keys     *os.File // the person's side
	person   *answerer
	at       string // the text at which a key is pressed, once
	key      string // "" for none
	hangUp   bool   // instead: the connection is lost
	complain string // file of what goes to standard error
}

// ends is what the shell prints when the walk has ended or was stopped.
const ends = "LEFT WITH "

// run goes through the walk until it ends, and gives its exit code, -1 after a
// lost connection.
func (w *jobTerminal) run(args ...string) (code int) {
	t := w.t
	t.Helper()
	keys, tty := openJobTerminal(t)
	w.keys = keys
	w.complain = t.TempDir() + "/stderr"
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	script := `"$@" 2>"` + w.complain + `"; echo "` + ends + `$?"`
	w.cmd = exec.CommandContext(t.Context(), "sh", append([]string{"-m", "-c", script, "sh", self, "wiring"}, args...)...)
	w.cmd.Env = append(os.Environ(), asProgram+"=1")
	w.cmd.Stdin, w.cmd.Stdout, w.cmd.Stderr = tty, tty, tty
	w.cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := w.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	_ = tty.Close() // the other processes have it
	w.live()
	_ = w.cmd.Wait() // the shell's exit says nothing
	_, left, ok := strings.Cut(w.person.said(), ends)
	if !ok {
		return -1
	}
	if _, err := fmt.Sscan(left, &code); err != nil {
		t.Fatalf("%v in %q", err, left)
	}
	return code
}

// live reads the terminal, answers, and presses the key.
func (w *jobTerminal) live() {
	w.person = newAnswerer(w.t)
	defer w.keys.Close()
	for buf := make([]byte, 1<<12); ; {
		n, err := w.keys.Read(buf)
		if err != nil {
			return // the last process has left the terminal
		}
		_, _ = w.person.Write(buf[:n])
		if w.at != "" && strings.Contains(w.person.said(), w.at) {
			w.at = ""
			if w.hangUp {
				return
			}
			_, _ = io.WriteString(w.keys, w.key)
		}
		select {
		case line := <-w.person.lines:
			_, _ = io.WriteString(w.keys, line+"\n")
		default:
		}
	}
}

// openJobTerminal opens a pseudo-terminal: the person's side and the program's.
func openJobTerminal(t *testing.T) (keys, tty *os.File) {
	t.Helper()
	keys, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = keys.Close() })
	raw, err := keys.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var number int
	var refused error
	if err := raw.Control(func(fd uintptr) {
		if refused = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0); refused == nil {
			number, refused = unix.IoctlGetInt(int(fd), unix.TIOCGPTN)
		}
	}); err != nil || refused != nil {
		t.Fatal(err, refused)
	}
	tty, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	return keys, tty
}

// TestWiringAtTerminal is one walk in three sessions. Ctrl-Z while the relay is
// closed does not freeze it; Ctrl-\ ends it in good order; so does a lost
// connection; and it is gone on with until it is signed.
func TestWiringAtTerminal(t *testing.T) {
	const closed = "The relay is closed."
	path := file(t, "c.yaml", onePack(t))
	args := []string{"--config", path, "--speed", "1000"}
	resumed := append([]string{"--resume"}, args...)

	first := &jobTerminal{t: t, at: closed, key: "\x1a"}
	if code := first.run(args...); code != exitDone || !strings.Contains(first.person.said(), "Signed by A. Person: passed.") {
		t.Fatalf("Ctrl-Z: exit code %d\n%s", code, first.person.text.String())
	}
	quit := &jobTerminal{t: t, at: closed, key: "\x1c"}
	if code := quit.run(args...); code != exitFailed || !strings.Contains(quit.errors(), "interrupted. The relay is open.") {
		t.Fatalf("Ctrl-\\: exit code %d\n%s%s", code, quit.person.text.String(), quit.errors())
	}
	gone := &jobTerminal{t: t, at: closed, hangUp: true}
	gone.run(resumed...)
	until(t, "the end of a walk whose terminal has gone", func() bool { return strings.Contains(gone.errors(), "The relay is open.") })
	last := &jobTerminal{t: t}
	var code int
	until(t, "a walk that goes on", func() bool { // the one before may not have left yet
		code = last.run(resumed...)
		return !strings.Contains(last.errors(), "another agent has it open")
	})
	if code != exitDone || !strings.Contains(last.person.said(), "Already proven") || !strings.Contains(last.person.said(), "Signed by A. Person: passed.") {
		t.Errorf("exit code %d\n%s%s", code, last.person.text.String(), last.errors())
	}
}

func (w *jobTerminal) errors() string {
	text, err := os.ReadFile(w.complain)
	if err != nil {
		w.t.Fatal(err)
	}
	return string(text)
}

// TestWiringTerminalStandsStill: somebody pressed Ctrl-S, so that nothing can be
// printed any more while the relay is closed. It opens all the same.
func TestWiringTerminalStandsStill(t *testing.T) {
	cfg := loadText(t, onePack(t))
	bench, bays, err := simulate(cfg, nil)
	if err != nil {
		t.Fatal(err)
	}
	rig := &wiringRig{cfg: cfg, bay: "bay-1", bench: bench, sims: bays}
	if err := rig.open(benchHardware(bench)); err != nil {
		t.Fatal(err)
	}
	ordered := func() bool { return bays["bay-1"].Truth().Ordered }
	if err := rig.CloseFor(time.Hour); err != nil || !ordered() {
		t.Fatalf("%v: the relay did not close", err)
	}
	if err := rig.CloseFor(time.Millisecond); err != nil {
		t.Fatal(err)
	}
	until(t, "an open relay", func() bool { return !ordered() })
}
