//go:build linux

package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

// unit is a service of type notify, restarted always, with a watchdog.
type unit struct {
	name   control.Unit
	report func(control.Event)
	file   service

	mu         sync.Mutex // guards the fields below
	cmd        *exec.Cmd  // nil when it is not running
	ended      chan struct{}
	notified   *net.UnixConn
	stopAction bool
	restart    bool
	wanted     bool
	beat       *time.Timer
}

func newUnit(name control.Unit, file service, report func(control.Event)) *unit {
	return &unit{name: name, file: file, report: report, stopAction: true, restart: true}
}

// tell reports an event of this unit.
func (u *unit) tell(e control.Event) {
	e.Unit = u.name
	u.report(e)
}

// supervise sets what follows an exit of the program.
func (u *unit) supervise(stopAction, restart bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.stopAction, u.restart = stopAction, restart
}

var errRuns = errors.New("it is already running")

func (u *unit) start() error {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.cmd != nil {
		return fmt.Errorf("start %s: %w", u.name, errRuns)
	}
	if err := u.listen(); err != nil {
		return err
	}
	u.wanted = true
	return u.launch()
}

func (u *unit) socket() string { return "/run/notify." + string(u.name) }

// listen opens the socket on which the program reports its state.
func (u *unit) listen() error {
	if u.notified != nil {
		return nil
	}
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: u.socket(), Net: "unixgram"})
	if err != nil {
		return err
	}
	u.notified = c
	go func() {
		for b := make([]byte, 4096); ; {
			n, err := c.Read(b)
			if err != nil {
				return
			}
			u.hear(string(b[:n]))
		}
	}()
	return nil
}

func (u *unit) hear(message string) {
	for line := range strings.Lines(message) {
		switch strings.TrimSpace(line) {
		case "READY=1":
			u.alive()
			u.tell(control.Event{Kind: control.Ready})
		case "WATCHDOG=1":
			u.alive()
		}
	}
}

// alive restarts the time within which the next sign of life must come.
func (u *unit) alive() {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.beat != nil {
		u.beat.Reset(u.file.watchdog)
	}
}

// launch starts the process; the caller holds the lock.
func (u *unit) launch() error {
	cmd := exec.CommandContext(context.Background(), u.file.start[0], u.file.start[1:]...)
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	cmd.Env = append([]string{
		"NOTIFY_SOCKET=" + u.socket(), "HOME=/", "PATH=/usr/bin",
		fmt.Sprintf("WATCHDOG_USEC=%d", u.file.watchdog.Microseconds()),
	}, u.file.environment...)
	if err := u.prepare(); err != nil {
		return err
	}
	if err := startAt(u.file.priority, cmd); err != nil {
		return err
	}
	u.cmd, u.ended = cmd, make(chan struct{})
	u.beat = time.AfterFunc(u.file.startTimeout, func() { u.hung(cmd) })
	u.tell(control.Event{Kind: control.Started})
	go u.follow(cmd, u.ended)
	return nil
}

// startAt starts a program with a real-time priority, which it inherits from the thread
// that starts it.
func startAt(priority uint32, cmd *exec.Cmd) error {
	if priority == 0 {
		return cmd.Start()
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	attr := unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Priority: priority}
	if err := unix.SchedSetAttr(0, &attr, 0); err != nil {
		return fmt.Errorf("real-time priority: %w", err)
	}
	ordinary := unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_NORMAL}
	return errors.Join(cmd.Start(), unix.SchedSetAttr(0, &ordinary, 0))
}

// prepare makes the runtime folder and runs the command before the program.
func (u *unit) prepare() error {
	if u.file.runtimeFolder != "" {
		if err := os.MkdirAll(filepath.Join("/run", u.file.runtimeFolder), 0o750); err != nil {
			return err
		}
	}
	if len(u.file.startPre) > 0 {
		if e := run(u.file.startPre); e.Exit != 0 || e.Error != "" {
			say("%s ended with %d: %s %s", u.file.startPre, e.Exit, e.Error, e.Text)
		}
	}
	return nil
}

// hung does what systemd does to a service that does not serve its watchdog.
func (u *unit) hung(cmd *exec.Cmd) {
	u.mu.Lock()
	still := u.cmd == cmd && u.restart
	u.mu.Unlock()
	if !still {
		return
	}
	u.tell(control.Event{Kind: control.Hung})
	if u.file.abortTimeout > 0 {
		_ = cmd.Process.Signal(unix.SIGABRT)
		time.Sleep(u.file.abortTimeout) // a stopped process does not handle SIGABRT
	}
	_ = cmd.Process.Kill()
}

// follow waits for the process to exit and then does what the unit specifies.
func (u *unit) follow(cmd *exec.Cmd, ended chan struct{}) {
	err := cmd.Wait()
	u.mu.Lock()
	u.beat.Stop()
	u.cmd, u.beat = nil, nil
	stopAction, again := u.stopAction && len(u.file.stopPost) > 0, u.restart && u.wanted && u.file.restarts(cmd.ProcessState.ExitCode())
	u.mu.Unlock()
	text := "exit status 0"
	if err != nil {
		text = err.Error()
	}
	u.tell(control.Event{Kind: control.Ended, Text: text})
	if stopAction {
		e := run(u.file.stopPost)
		e.Kind = control.StopActionRan
		u.tell(e)
	}
	close(ended)
	if !again {
		return
	}
	time.Sleep(u.file.restartPause)
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.wanted && u.restart && u.cmd == nil {
		if err := u.launch(); err != nil {
			u.report(control.Event{Kind: control.Trouble, Error: err.Error()})
		}
	}
}

func (u *unit) signal(s unix.Signal) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.cmd == nil {
		return fmt.Errorf("%s is not running", u.name)
	}
	return u.cmd.Process.Signal(s)
}

// stop ends the program as systemctl stop does.
func (u *unit) stop() error {
	u.mu.Lock()
	u.wanted = false
	cmd, ended := u.cmd, u.ended
	u.mu.Unlock()
	if cmd == nil {
		return nil
	}
	_ = cmd.Process.Signal(unix.SIGCONT)
	_ = cmd.Process.Signal(unix.SIGTERM)
	select {
	case <-ended:
	case <-time.After(u.file.stopTimeout):
		_ = cmd.Process.Kill()
		<-ended
	}
	return nil
}
