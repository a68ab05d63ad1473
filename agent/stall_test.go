package main

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
)

// TestStalledDisk hangs the disk of the logbook under a charge: its file system, or the
// device below that. Ticks, page, metrics and relay go on as if nothing had happened,
// the record is reported as failing, nothing is answered as done, and once the disk
// is back everything is on record in order. BAYWARD_STALL sets how long it hangs.
func TestStalledDisk(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes a minute")
	}
	hangs := 40 * time.Second // record-failing is raised after 20
	if text := os.Getenv("BAYWARD_STALL"); text != "" {
		var err error
		hangs, err = time.ParseDuration(text)
		require.NoError(t, err, "BAYWARD_STALL is a duration")
	}
	for name, hung := range map[string]func(*stallingDisk) string{
		"file system": func(d *stallingDisk) string { return d.inner },
		"device":      func(d *stallingDisk) string { return d.outer },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newStallingDisk(t)
			path := filepath.Join(d.inner, "logbook.db")
			s := stalled{process: start(t, nil, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t, "LOGBOOK", path)))}
			thaw := freezable(t, hung(d)) // before the process is ended, which a frozen disk would prevent
			assemblytest.Until(t, "a closed relay", func() bool { return s.metric(relayClosed) })
			s.order("visit", gravityOf("before"))
			require.NoError(t, tool("fsfreeze", "--freeze", hung(d)))
			s.underCharge(hangs)
			s.answers("hold", `{"action":"hold","by":"Ann","id":"held"}`, http.StatusAccepted)
			assemblytest.Until(t, "an open relay", func() bool { return !s.metric(relayClosed) })
			s.answers("hold", `{"action":"unhold","by":"Ann","id":"not yet"}`, http.StatusConflict)
			thaw()
			assemblytest.Until(t, "a record that works", func() bool {
				return s.answer("hold", fmt.Sprintf(`{"action":"unhold","by":"Ann","id":"free %d"}`, time.Now().UnixNano())) == http.StatusOK
			})
			if code := s.end(syscall.SIGTERM); code != exitDone {
				t.Errorf("exit code %d:\n%s", code, s.log())
			}
			onRecord(t, path)
			t.Logf("figure: the %s hung for %s: largest gap between ticks %.2f s, slowest answer of healthz and metrics %.2f s, of history %.2f s",
				name, hangs, s.gap.Seconds(), s.slowest.Seconds(), s.history.Seconds())
		})
	}
}

// gravityOf is an order that leaves the charge alone.
func gravityOf(id string) string {
	return fmt.Sprintf(`{"action":"gravity","by":"Ann","cell":2,"gravity":1.2,"at_c":25,"id":%q}`, id)
}

// stalled is a program whose logbook hangs.
type stalled struct {
	*process
	gap, slowest, history time.Duration
}

// underCharge watches the program for a time. An order at the beginning makes it write.
func (s *stalled) underCharge(hangs time.Duration) {
	s.t.Helper()
	began := time.Now()
	answered, stop, history := make(chan int, 2), make(chan struct{}), make(chan time.Duration, 1)
	go func() { // the second at once, by somebody who has just read the answer to the first
		answered <- s.answer("visit", gravityOf("during"))
		answered <- s.answer("visit", gravityOf("refused"))
	}()
	go func() { history <- s.readHistory(stop) }()
	s.watch(5 * time.Second)
	require.Equal(s.t, http.StatusAccepted, <-answered, "in force, and not on record")
	require.Equal(s.t, http.StatusConflict, <-answered, "nothing loosens while that lasts")
	s.watch(hangs - time.Since(began))
	close(stop)
	s.history = <-history
	require.Less(s.t, s.history, 3*time.Second, "history is answered, or its absence")
	require.True(s.t, s.metric(`bayward_finding{bay="bay-1",code="record-failing"} 1`), "the record fails")
}

// readHistory asks for history again and again, and returns how long the slowest
// answer took.
func (s *stalled) readHistory(stop <-chan struct{}) (slowest time.Duration) {
	for {
		select {
		case <-stop:
			return slowest
		case <-time.After(time.Second):
		}
		began := time.Now()
		res, err := assemblytest.Client().Get(s.page + "/records")
		if err == nil {
			_, err = io.Copy(io.Discard, res.Body)
			_ = res.Body.Close()
		}
		if err != nil || res.StatusCode != http.StatusOK && res.StatusCode != http.StatusServiceUnavailable {
			return time.Hour
		}
		slowest = max(slowest, time.Since(began))
	}
}

var ticksDone = regexp.MustCompile(`(?m)^bayward_tick_duration_seconds_count (\d+)`)

// watch asks again and again for health and metrics, and measures the gaps between
// ticks.
func (s *stalled) watch(lasts time.Duration) {
	s.t.Helper()
	last, at := "", time.Now()
	for began := time.Now(); time.Since(began) < lasts; {
		s.ask("/healthz")
		text := s.ask("/metrics")
		if found := ticksDone.FindStringSubmatch(text); found[1] != last {
			if last != "" {
				s.gap = max(s.gap, time.Since(at))
			}
			last, at = found[1], time.Now()
		}
		require.Contains(s.t, text, relayClosed, "the charge goes on")
		<-time.After(25 * time.Millisecond) // how finely the gaps are measured
	}
	s.gap = max(s.gap, time.Since(at))
	require.Less(s.t, s.gap, 3*time.Second, "the relay's lease ends by then")
}

// ask returns a page that must be answered with 200.
func (s *stalled) ask(path string) string {
	s.t.Helper()
	began := time.Now()
	res, err := assemblytest.Client().Get(s.page + path)
	require.NoError(s.t, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	require.NoError(s.t, err)
	require.Equal(s.t, http.StatusOK, res.StatusCode, "%s: %s", path, text)
	s.slowest = max(s.slowest, time.Since(began))
	return string(text)
}

// answers gives an order that must be answered so.
func (s *stalled) answers(address, body string, status int) {
	s.t.Helper()
	require.Equal(s.t, status, s.answer(address, body), body)
}

// answer gives an order and returns the status of its answer, 0 without one.
func (s *stalled) answer(address, body string) int {
	res, err := assemblytest.Client().Post(s.page+"/api/v1/bays/bay-1/"+address, "application/json", strings.NewReader(body))
	if err != nil {
		return 0
	}
	defer res.Body.Close()
	return res.StatusCode
}

// onRecord checks that every order is on record as it was answered, in order and
// without a gap.
func onRecord(t *testing.T, path string) {
	t.Helper()
	r, err := logbook.OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	var orders []string
	seq := uint64(0)
	for e, err := range r.EachEvent(t.Context(), logbook.Query{}) {
		require.NoError(t, err)
		seq++
		require.Equal(t, seq, e.Seq)
		if e.Order != "" && !strings.HasPrefix(e.Order, "free") {
			orders = append(orders, e.Kind+" "+e.Order)
		}
	}
	require.Equal(t, []string{
		"order-taken before", "order-taken during", "order-refused refused", "order-taken held", "order-refused not yet",
	}, orders)
	chain, err := r.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, chain.Break)
}

// stallingDisk is an ext4 file system on a device that is a file on another one. To
// freeze the outer one hangs the device of the inner one.
type stallingDisk struct{ outer, inner string }

// newStallingDisk mounts the disk. A helper process thaws and removes it, also when
// the test's own process ends in any other way. It unmounts lazily: somebody else's
// copy of the mounts may keep a device busy for a while.
func newStallingDisk(t *testing.T) *stallingDisk {
	t.Helper()
	dir := t.TempDir()
	d := &stallingDisk{filepath.Join(dir, "outer"), filepath.Join(dir, "inner")}
	helper := exec.Command("sh", "-c", `read line
		for at in "$2" "$1"; do fsfreeze --unfreeze "$at"; done
		for at in "$2" "$1"; do umount --lazy "$at"; done
		true`, "sh", d.outer, d.inner)
	waits, err := helper.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, helper.Start())
	t.Cleanup(func() { _ = waits.Close(); _ = helper.Wait() })
	err = mount(filepath.Join(dir, "outer.img"), d.outer, 48)
	if err == nil {
		err = mount(filepath.Join(d.outer, "inner.img"), d.inner, 16)
	}
	if err != nil && os.Getenv("BAYWARD_REQUIRE_TOOLS") == "" {
		t.Skipf("needs loop devices, fsfreeze and the right to mount: %v", err)
	}
	require.NoError(t, err)
	return d
}

// mount makes a file system in a file. The loop device ends with the mount.
func mount(image, at string, mib int) error {
	if err := os.WriteFile(image, nil, 0o600); err != nil {
		return err
	}
	if err := os.Truncate(image, int64(mib)<<20); err != nil {
		return err
	}
	if err := os.Mkdir(at, 0o750); err != nil {
		return err
	}
	if err := tool("mkfs.ext4", "-q", "-F", image); err != nil {
		return err
	}
	return tool("mount", "-o", "loop", image, at)
}

func tool(name string, args ...string) error {
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%s %v: %w: %s", name, args, err, out)
	}
	return nil
}

// freezable returns how to thaw a file system. Its cleanup is called before that of
// anything started earlier.
func freezable(t *testing.T, at string) (thaw func()) {
	t.Helper()
	thaw = func() { _ = tool("fsfreeze", "--unfreeze", at) } // fails when it is not frozen
	t.Cleanup(thaw)
	return thaw
}
