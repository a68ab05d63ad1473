package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/lease"
)

// report gives the median and the 99th percentile in ms.
func report(b *testing.B, took []time.Duration) {
	slices.Sort(took)
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(took[len(took)/2].Seconds()*1000, "ms-median")
	b.ReportMetric(took[len(took)*99/100].Seconds()*1000, "ms-p99")
}

// program builds what is shipped.
func program(b *testing.B) string {
	path := filepath.Join(b.TempDir(), "bayward-keeper")
	out, err := exec.CommandContext(b.Context(), "go", "build", "-trimpath", "-ldflags=-s -w", "-o", path, ".").CombinedOutput()
	require.NoError(b, err, "%s", out)
	return path
}

// BenchmarkStart is from exec to the end of "low": the start of the program, its list,
// the search for the lines and, where there are any, the orders to them. For the
// priority that the unit gives, run the test's program by chrt -f 20.
func BenchmarkStart(b *testing.B) {
	path, list := program(b), filepath.Join(b.TempDir(), "lines")
	require.NoError(b, os.WriteFile(list, []byte(eightBays), 0o600))
	var took []time.Duration
	for b.Loop() {
		start := time.Now()
		_ = exec.CommandContext(b.Context(), path, "low", list).Run() // fails where there are no lines
		took = append(took, time.Since(start))
	}
	report(b, took)
}

const eightBays = `user 0
bay-1 GPIO9 GPIO10
bay-2 GPIO11 GPIO12
bay-3 GPIO13 GPIO16
bay-4 GPIO17 GPIO18
bay-5 GPIO19 GPIO20
bay-6 GPIO21 GPIO22
bay-7 GPIO23 GPIO24
bay-8 GPIO25 GPIO26
`

// BenchmarkMemory is the memory (PSS) of the program that is shipped, without lines,
// after a thousand frames.
func BenchmarkMemory(b *testing.B) {
	path, dir := program(b), b.TempDir()
	list, socket := filepath.Join(dir, "lines"), filepath.Join(dir, "s")
	require.NoError(b, os.WriteFile(list, []byte("user 0\n"), 0o600))
	manager := listenAsManager(b, filepath.Join(dir, "n"))
	cmd := exec.CommandContext(b.Context(), path, "-socket", socket, list)
	cmd.Env = append(os.Environ(), "NOTIFY_SOCKET="+filepath.Join(dir, "n"))
	require.NoError(b, cmd.Start())
	b.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	p := &process{t: b, socket: socket, manager: manager}
	require.Equal(b, "READY=1", p.heard())
	c := p.connect()
	for range 1000 {
		c.send(bootTime(), lease.Longest, 0)
		require.Equal(b, byte(4), c.receive().fault, "it has no such bay")
	}
	rollup, err := os.ReadFile(fmt.Sprintf("/proc/%d/smaps_rollup", cmd.Process.Pid))
	require.NoError(b, err)
	for b.Loop() { // one number, measured once
		_, after, _ := strings.Cut(string(rollup), "\nPss:")
		kB, err := strconv.Atoi(strings.Fields(after)[0])
		require.NoError(b, err)
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(float64(kB)/1024, "MiB")
	}
}

// BenchmarkCPU is the share of a core for eight bays at one tick a second, with one
// system call for each order to a line, as the kernel's lines need.
func BenchmarkCPU(b *testing.B) {
	p := startWith(b, oneBay, func(cmd *exec.Cmd) { cmd.Env = append(cmd.Env, plainLines+"=1") })
	require.Equal(b, "READY=1", p.heard())
	c := p.connect()
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	start, used := time.Now(), p.used()
	for b.Loop() {
		<-tick.C
		at := bootTime()
		for range 8 { // frames for eight bays; it is one here, which makes no difference
			c.send(at, lease.Longest, 0)
			require.True(b, c.receive().closed)
		}
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(100*(p.used()-used).Seconds()/time.Since(start).Seconds(), "%CPU")
}

// used is the CPU time of all threads of the keeper.
func (p *process) used() (sum time.Duration) {
	files, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", p.cmd.Process.Pid))
	require.NoError(p.t, err)
	require.NotEmpty(p.t, files)
	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(p.t, err)
		ns, err := strconv.ParseInt(strings.Fields(string(text))[0], 10, 64)
		require.NoError(p.t, err)
		sum += time.Duration(ns)
	}
	return sum
}

// BenchmarkEnd is from the end of a lease to the order to the line, at the priority
// that the unit gives (root) and with more busy processes than processors.
func BenchmarkEnd(b *testing.B) {
	for range 2 * runtime.NumCPU() {
		busy := exec.CommandContext(b.Context(), "sh", "-c", "while :; do :; done")
		require.NoError(b, busy.Start())
		b.Cleanup(func() { _ = busy.Process.Kill(); _ = busy.Wait() })
	}
	p := startWith(b, oneBay, func(cmd *exec.Cmd) {
		chrt, err := exec.LookPath("chrt")
		require.NoError(b, err)
		cmd.Path, cmd.Args = chrt, append([]string{"chrt", "-f", "20"}, cmd.Args...)
	})
	require.Equal(b, "READY=1", p.heard())
	p.until("GPIO17", "Low")
	c := p.connect()
	const span = 20 * time.Millisecond
	var took []time.Duration
	trips := uint32(0)
	for b.Loop() {
		at := bootTime()
		c.send(at, span, trips)
		if a := c.receive(); !a.closed { // it came too late from here
			trips = a.trips
			continue
		}
		trips++
		p.until("GPIO17", "High")
		took = append(took, p.until("GPIO17", "Low").at-at-span)
	}
	report(b, took)
}
