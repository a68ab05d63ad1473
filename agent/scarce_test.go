package main

import (
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/config/configtest"

	"golang.org/x/sys/unix"
)

var ticked = regexp.MustCompile(`(?m)^bayward_tick_duration_seconds_count (\S+)$`)

// ticks is how many ticks the agent has made.
func (p *process) ticks() float64 {
	p.t.Helper()
	m := ticked.FindStringSubmatch(assemblytest.Get(p.t, p.page+"/metrics"))
	if m == nil {
		p.t.Fatal("no count of ticks")
	}
	n, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		p.t.Fatal(err)
	}
	return n
}

// granted waits for a closed relay.
func (p *process) granted() {
	p.t.Helper()
	p.stepped()
	assemblytest.Until(p.t, "the permit", func() bool { return p.metric(relayClosed) })
}

// TestOutOfFileHandles: with no handle left the page cannot be opened and the
// ticks go on; nothing is said of the bay that is not so.
func TestOutOfFileHandles(t *testing.T) {
	t.Parallel()
	p := start(t, nil, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t, "LOGBOOK", t.TempDir()+"/logbook.db")))
	p.granted()
	before, at := p.ticks(), time.Now()
	var old unix.Rlimit
	if err := unix.Prlimit(p.cmd.Process.Pid, unix.RLIMIT_NOFILE, nil, &old); err != nil {
		t.Fatal(err)
	}
	none := unix.Rlimit{Max: old.Max}
	if err := unix.Prlimit(p.cmd.Process.Pid, unix.RLIMIT_NOFILE, &none, nil); err != nil {
		t.Fatal(err)
	}
	if answer, err := (&http.Client{Timeout: 3 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}).Get(p.page + "/healthz"); err == nil {
		_ = answer.Body.Close()
		t.Error("the page was opened with no handle left")
	}
	if err := unix.Prlimit(p.cmd.Process.Pid, unix.RLIMIT_NOFILE, &old, nil); err != nil {
		t.Fatal(err)
	}
	assemblytest.Until(t, "ticks that went on", func() bool { return p.ticks()-before >= 3 })
	if got, most := p.ticks()-before, time.Since(at).Seconds()+2; got > most {
		t.Errorf("%v ticks in %.0f s", got, most)
	}
	if !p.metric(relayClosed) {
		t.Error("the relay opened although no reading was missing")
	}
	if code := p.end(syscall.SIGTERM); code != exitDone {
		t.Errorf("exit code %d:\n%s", code, p.log())
	}
}

// TestOutOfMemory: an agent that gets no more memory ends; it does not hang
// with a closed relay. What lets go of the contactor then is the heartbeat,
// see deploy/emulated.
func TestOutOfMemory(t *testing.T) {
	t.Parallel()
	p := start(t, nil, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t, "LOGBOOK", t.TempDir()+"/logbook.db")))
	p.granted()
	none := unix.Rlimit{Cur: 0, Max: 0}
	for _, resource := range []int{unix.RLIMIT_AS, unix.RLIMIT_DATA} {
		if err := unix.Prlimit(p.cmd.Process.Pid, resource, &none, nil); err != nil {
			t.Fatal(err)
		}
	}
	// Requests make it ask for memory until it gets none. It may live as long
	// as what it has is enough; then its ticks must be on time.
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); {
		answer, err := assemblytest.Client().Get(p.page + "/bays/bay-1")
		if err == nil {
			_ = answer.Body.Close()
			continue
		}
		select {
		case <-p.done:
		case <-time.After(assemblytest.Bound):
			t.Fatalf("it answers nothing and does not end:\n%s", p.log())
		}
		_ = p.cmd.Wait()
		if code := p.cmd.ProcessState.ExitCode(); code == exitDone {
			t.Errorf("it ended with %d", code)
		}
		return
	}
	if !strings.Contains(assemblytest.Get(t, p.page+"/healthz"), "ok") {
		t.Error("it lives, and its ticks are late")
	}
}

// TestFullDisk: a disk that fills up costs the record, says so, and neither
// the charge nor the ticks; when there is room again the finding goes.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	disk := t.TempDir()
	if err := unix.Mount("tmpfs", disk, "tmpfs", 0, "size=8m"); err != nil {
		if errors.Is(err, unix.EPERM) || errors.Is(err, unix.EACCES) {
			t.Skipf("a disk of its own needs the right to mount: %v", err)
		}
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unix.Unmount(disk, unix.MNT_DETACH) })
	p := start(t, nil, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t, "LOGBOOK", disk+"/logbook.db")))
	p.granted()
	ballast := filepath.Join(disk, "ballast")
	failing := func() bool {
		if err := fillUp(ballast); err != nil { // what the logbook has found meanwhile, too
			t.Fatal(err)
		}
		p.order("hold", `{"action":"hold","by":"Ann"}`, http.StatusAccepted) // something to record
		return p.metric(`bayward_finding{bay="bay-1",code="record-failing"} 1`)
	}
	assemblytest.Until(t, "the finding about the record", failing)
	if text := assemblytest.Get(t, p.page+"/healthz"); !strings.Contains(text, "ok") {
		t.Errorf("with a full disk the ticks are late: %s", text)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	assemblytest.Until(t, "a record that works again", func() bool { return !p.metric(`bayward_finding{bay="bay-1",code="record-failing"} 1`) })
	if code := p.end(syscall.SIGTERM); code != exitDone {
		t.Errorf("exit code %d:\n%s", code, p.log())
	}
}

// fillUp writes until the disk has no room.
func fillUp(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	for {
		if _, err := f.Write(make([]byte, 4096)); err != nil {
			if errors.Is(err, unix.ENOSPC) {
				return nil
			}
			return err
		}
	}
}
