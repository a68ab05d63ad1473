package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"
)

// usage is what the kernel reports of a process.
type usage struct {
	pssKB, peakKB int // proportional share now; highest resident set
	threads       int
	files         int
	cpu           time.Duration
}

func usageOf(pid int) (u usage, err error) {
	dir := fmt.Sprintf("/proc/%d/", pid)
	u.pssKB, err = field(dir+"smaps_rollup", "Pss:")
	if err != nil {
		return u, err
	}
	if u.peakKB, err = field(dir+"status", "VmHWM:"); err != nil {
		return u, err
	}
	if u.threads, err = field(dir+"status", "Threads:"); err != nil {
		return u, err
	}
	files, err := os.ReadDir(dir + "fd")
	if err != nil {
		return u, fmt.Errorf("open files: %w", err)
	}
	u.files = len(files)
	u.cpu, err = cpuOf(pid)
	return u, err
}

// field reads one number of a file of lines "Name: number".
func field(file, name string) (int, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return 0, fmt.Errorf("usage: %w", err)
	}
	for line := range strings.Lines(string(text)) {
		if f := strings.Fields(line); len(f) > 1 && f[0] == name {
			n, err := strconv.Atoi(f[1])
			if err != nil {
				return 0, fmt.Errorf("%s %s: %w", file, name, err)
			}
			return n, nil
		}
	}
	return 0, fmt.Errorf("%s has no %s", file, name)
}

// cpuOf returns the processor time of all threads, from the scheduler's count in
// nanoseconds: the ticks of stat are too coarse for an agent that works a
// millisecond in every second.
func cpuOf(pid int) (time.Duration, error) {
	dir := fmt.Sprintf("/proc/%d/task", pid)
	tasks, err := os.ReadDir(dir)
	if err != nil {
		return 0, fmt.Errorf("threads: %w", err)
	}
	var sum time.Duration
	for _, t := range tasks {
		text, err := os.ReadFile(dir + "/" + t.Name() + "/schedstat")
		if err != nil {
			continue // the thread has ended
		}
		ns, _ := strconv.ParseInt(strings.Fields(string(text))[0], 10, 64)
		sum += time.Duration(ns)
	}
	return sum, nil
}
