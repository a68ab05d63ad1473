package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/commission"
	"bayward/agent/config/configtest"
	"bayward/agent/walk"
	"bayward/agent/walk/walktest"
	"bayward/agent/words"
)

// screen is a pseudo-terminal with a program in it, as a person has who comes
// by ssh: what is typed is echoed, and keys make signals.
type screen struct {
	master *os.File
	cmd    *exec.Cmd
}

// onTerminal starts bayward in a terminal of its own.
func onTerminal(t *testing.T, args ...string) *screen {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return inTerminal(t, exec.Command(self, args...))
}

// inTerminal starts a program, which may be a shell that starts bayward.
func inTerminal(t *testing.T, cmd *exec.Cmd) *screen {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	number, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	slave, err := os.OpenFile(fmt.Sprint("/dev/pts/", number), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer slave.Close()
	keepOutput(t, slave)
	cmd.Env = append(os.Environ(), asProgram+"=1")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = slave, slave, slave
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()
		_ = master.Close()
	})
	return &screen{master, cmd}
}

// keepOutput keeps the kernel from dropping what the program has written, which it
// does after the signal of a key: by then a fast program has said its last words.
func keepOutput(t *testing.T, tty *os.File) {
	t.Helper()
	mode, err := unix.IoctlGetTermios(int(tty.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	mode.Lflag |= unix.NOFLSH
	if err := unix.IoctlSetTermios(int(tty.Fd()), unix.TCSETS, mode); err != nil {
		t.Fatal(err)
	}
}

// converse lets a person read until the program ends, and gives its exit code.
// press is called with all that is shown so far; what it gives is typed as it is.
func (c *screen) converse(t *testing.T, person *walktest.Person, press func(shown string) string) int {
	t.Helper()
	ended := time.AfterFunc(assemblytest.Bound, func() { _ = c.cmd.Process.Kill() })
	defer ended.Stop()
	var shown strings.Builder
	buf := make([]byte, 4096)
	for {
		n, err := c.master.Read(buf)
		shown.Write(buf[:n])
		keys := press(shown.String())
		if keys == "" {
			keys = person.Types(buf[:n])
		}
		if keys != "" {
			if _, err := io.WriteString(c.master, keys); err != nil {
				break
			}
		}
		if err != nil {
			break // EIO: nobody has the other side open any more
		}
	}
	_ = c.cmd.Wait() // tells the exit code as well
	if !ended.Stop() {
		t.Fatalf("it does not end:\n%s", shown.String())
	}
	return c.cmd.ProcessState.ExitCode()
}

// TestWiringOnTerminal walks through the simulated bay on a terminal, from the
// start to the signed record; and ends it there in each way that a terminal has:
// the relay is open, what was proven is kept, and it says how to go on.
func TestWiringOnTerminal(t *testing.T) {
	for name, row := range map[string]struct {
		at, keys string
		code     int
		hangUp   bool
	}{
		"to the end":                       {code: exitDone},
		"interrupt while relay is closed":  {at: "The relay is closed.", keys: "\x03", code: exitFailed},
		"interrupt while another holds it": {at: "When the program dies", keys: "\x03", code: exitFailed},
		"end of input":                     {at: "Switch the fan off", keys: "\x04", code: exitFailed},
		"the terminal goes":                {at: "The relay is closed.", hangUp: true, code: exitFailed},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path := configtest.File(t, "c.yaml", configtest.OneBay(t))
			term := onTerminal(t, "wiring", "--config", path, "--speed", "1000", "--fragment", filepath.Join(t.TempDir(), "f.yaml"))
			person, pressed := walktest.NewPerson(t), false
			code := term.converse(t, person, func(shown string) string {
				if row.at == "" || pressed || !strings.Contains(strings.ReplaceAll(shown, "\r\n", " "), row.at) {
					return ""
				}
				pressed = true
				if row.hangUp {
					_ = term.master.Close()
				}
				return row.keys
			})
			said := person.Said()
			if code != row.code || row.at != "" && !pressed {
				t.Fatalf("exit code %d, want %d; pressed %v\n%s", code, row.code, pressed, said)
			}
			rec := keptRecord(t, path)
			if rec.Signed != (row.code == exitDone) {
				t.Errorf("signed: %v", rec.Signed)
			}
			if row.code != exitDone && !row.hangUp && (!strings.Contains(said, "The relay is open.") || !strings.Contains(said, "--resume")) {
				t.Errorf("it does not say how to go on: %s", said)
			}
		})
	}
}

// TestWiringKeys presses the keys by which a shell that knows jobs stops or quits
// what it has started, while the relay is closed: the walk is not frozen, and
// ends in good order.
func TestWiringKeys(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for name, row := range map[string]struct {
		key, says string
		code      int
	}{
		"Ctrl-Z":  {"\x1a", "Signed by A. Person: passed.", exitDone},
		"Ctrl-\\": {"\x1c", "interrupted. The relay is open.", exitFailed},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path := configtest.File(t, "c.yaml", configtest.OneBay(t))
			shell := exec.Command("sh", "-m", "-c", `"$@"; exit $?`, "sh", self, "wiring", "--config", path, "--speed", "1000")
			person, pressed := walktest.NewPerson(t), false
			code := inTerminal(t, shell).converse(t, person, func(shown string) string {
				if pressed || !strings.Contains(shown, "The relay is closed.") {
					return ""
				}
				pressed = true
				return row.key
			})
			if said := person.Said(); code != row.code || !strings.Contains(said, row.says) {
				t.Errorf("exit code %d, want %d and %q\n%s", code, row.code, row.says, said)
			}
		})
	}
}

// keptRecord is the newest commissioning record of the configuration's logbook.
func keptRecord(t *testing.T, path string) *commission.Record {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := walk.WriteLast(t.Context(), &out, configtest.Parse(t, string(text)).Logbook.Path, "bay-1", words.EnglishSI(), true); err != nil {
		t.Fatal(err)
	}
	rec := &commission.Record{}
	if err := json.Unmarshal(out.Bytes(), rec); err != nil {
		t.Fatal(err)
	}
	return rec
}
