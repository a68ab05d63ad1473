//go:build linux

package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	unitfile "github.com/coreos/go-systemd/v22/unit"
)

// service is the part of a packaged unit in deploy/package that the init uses. The
// hardening is not part of it.
type service struct {
	startPre, start, stopPost []string
	environment               []string
	runtimeFolder             string        // below /run
	priority                  uint32        // in real time; 0 for an ordinary process
	watchdog                  time.Duration // WatchdogSec=
	startTimeout              time.Duration
	stopTimeout               time.Duration
	abortTimeout              time.Duration // from SIGABRT to SIGKILL; 0 for SIGKILL at once
	restartPause              time.Duration
	notRestarted              []string // exit codes
}

// section is the [Service] section of a unit, with the first error found.
type section struct {
	lines map[string][]string
	err   error
}

func (s *section) fail(format string, a ...any) {
	if s.err == nil {
		s.err = fmt.Errorf("the unit "+format, a...)
	}
}

// one returns the value of a key that must occur once.
func (s *section) one(key string) string {
	values := s.lines[key]
	if len(values) != 1 || values[0] == "" {
		s.fail("has %q for %s=, want one value", values, key)
		return ""
	}
	return values[0]
}

// most returns the value of a key that may occur once.
func (s *section) most(key string) string {
	if len(s.lines[key]) == 0 {
		return ""
	}
	return s.one(key)
}

// command returns a command whose failure does not keep the program from starting.
func (s *section) command(key string) []string {
	text, ignored := strings.CutPrefix(s.most(key), "-")
	if text != "" && !ignored {
		s.fail("has %s=%s; the init supports only a command whose failure is ignored, with a - before it", key, text)
	}
	return strings.Fields(text)
}

func (s *section) span(key string) time.Duration {
	d, err := seconds(s.one(key))
	if err != nil {
		s.fail("has no valid time in %s=: %w", key, err)
	}
	return d
}

func (s *section) number(key string) uint32 {
	n, err := strconv.ParseUint(s.one(key), 10, 32)
	if err != nil {
		s.fail("has no valid number in %s=: %w", key, err)
	}
	return uint32(n)
}

// only checks that a key has the one value that this init supports.
func (s *section) only(key, value string) {
	if got := s.one(key); got != value {
		s.fail("has %s=%s; the init supports only %s", key, got, value)
	}
}

// readService reads a unit. The error names what the init would do differently from
// systemd.
func readService(r io.Reader) (service, error) {
	options, err := unitfile.DeserializeOptions(r)
	if err != nil {
		return service{}, fmt.Errorf("read the unit: %w", err)
	}
	u := section{lines: map[string][]string{}}
	for _, o := range options {
		if o.Section == "Service" {
			u.lines[o.Name] = append(u.lines[o.Name], o.Value)
		}
	}
	u.only("Type", "notify")
	u.only("Restart", "always")
	s := service{
		startPre: u.command("ExecStartPre"), start: strings.Fields(u.one("ExecStart")), stopPost: strings.Fields(u.most("ExecStopPost")),
		environment: u.lines["Environment"], notRestarted: u.lines["RestartPreventExitStatus"], runtimeFolder: u.most("RuntimeDirectory"),
		watchdog: u.span("WatchdogSec"), startTimeout: u.span("TimeoutStartSec"), stopTimeout: u.span("TimeoutStopSec"),
		restartPause: u.span("RestartSec"),
	}
	if u.most("CPUSchedulingPolicy") != "" {
		u.only("CPUSchedulingPolicy", "fifo")
		s.priority = u.number("CPUSchedulingPriority")
	}
	if u.most("WatchdogSignal") == "" {
		s.abortTimeout = u.span("TimeoutAbortSec")
	} else {
		u.only("WatchdogSignal", "SIGKILL")
	}
	return s, u.err
}

// seconds parses a time in systemd's notation: a plain number is in seconds.
func seconds(text string) (time.Duration, error) {
	if n, err := strconv.Atoi(text); err == nil {
		return time.Duration(n) * time.Second, nil
	}
	return time.ParseDuration(text)
}

// restarts reports whether the service is started again after an exit code; -1
// means a signal.
func (s *service) restarts(code int) bool {
	return !slices.Contains(s.notRestarted, strconv.Itoa(code))
}
