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

// service is the part of the packaged unit, deploy/package/bayward.service, that the
// init uses. The hardening is not part of it.
type service struct {
	start, stopPost []string
	environment     []string
	watchdog        time.Duration // WatchdogSec=
	startTimeout    time.Duration
	stopTimeout     time.Duration
	abortTimeout    time.Duration // from SIGABRT to SIGKILL
	restartPause    time.Duration
	notRestarted    []string // exit codes
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

func (s *section) span(key string) time.Duration {
	d, err := seconds(s.one(key))
	if err != nil {
		s.fail("has no valid time in %s=: %w", key, err)
	}
	return d
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
		start: strings.Fields(u.one("ExecStart")), stopPost: strings.Fields(u.one("ExecStopPost")),
		environment: u.lines["Environment"], notRestarted: u.lines["RestartPreventExitStatus"],
		watchdog: u.span("WatchdogSec"), startTimeout: u.span("TimeoutStartSec"), stopTimeout: u.span("TimeoutStopSec"),
		abortTimeout: u.span("TimeoutAbortSec"), restartPause: u.span("RestartSec"),
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
