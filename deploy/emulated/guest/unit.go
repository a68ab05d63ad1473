//go:build linux

package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

const notifySocket = "/run/notify"

// unit is the agent's service: type notify, restarted always, with a watchdog
// and a stop action.
type unit struct {
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

func newUnit(file service, report func(control.Event)) *unit {
	return &unit{file: file, report: report, stopAction: true, restart: true}
}

// supervise sets what follows an exit of the agent.
func (u *unit) supervise(stopAction, restart bool) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.stopAction, u.restart = stopAction, restart
	return nil
}

func (u *unit) start(config string) error {
	if err := os.WriteFile(control.ConfigPath, []byte(config), 0o600); err != nil {
		return err
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.cmd != nil {
		return errors.New("the agent is already running")
	}
	if err := u.listen(); err != nil {
		return err
	}
	u.wanted = true
	return u.launch()
}

// listen opens the socket on which the agent reports its state.
func (u *unit) listen() error {
	if u.notified != nil {
		return nil
	}
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: notifySocket, Net: "unixgram"})
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
			u.report(control.Event{Kind: control.AgentReady})
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
		"NOTIFY_SOCKET=" + notifySocket, "HOME=/", "PATH=/usr/bin",
		fmt.Sprintf("WATCHDOG_USEC=%d", u.file.watchdog.Microseconds()),
	}, u.file.environment...)
	if err := cmd.Start(); err != nil {
		return err
	}
	u.cmd, u.ended = cmd, make(chan struct{})
	u.beat = time.AfterFunc(u.file.startTimeout, func() { u.hung(cmd) })
	u.report(control.Event{Kind: control.AgentStarted})
	go u.follow(cmd, u.ended)
	return nil
}

// hung does what systemd does to a service that does not serve its watchdog.
func (u *unit) hung(cmd *exec.Cmd) {
	u.mu.Lock()
	still := u.cmd == cmd && u.restart
	u.mu.Unlock()
	if still {
		u.report(control.Event{Kind: control.AgentHung})
		_ = cmd.Process.Signal(unix.SIGABRT)
		time.Sleep(u.file.abortTimeout) // a stopped process does not handle SIGABRT
		_ = cmd.Process.Kill()
	}
}

// follow waits for the process to exit and then does what the unit specifies.
func (u *unit) follow(cmd *exec.Cmd, ended chan struct{}) {
	err := cmd.Wait()
	u.mu.Lock()
	u.beat.Stop()
	u.cmd, u.beat = nil, nil
	stopAction, again := u.stopAction, u.restart && u.wanted && u.file.restarts(cmd.ProcessState.ExitCode())
	u.mu.Unlock()
	text := "exit status 0"
	if err != nil {
		text = err.Error()
	}
	u.report(control.Event{Kind: control.AgentEnded, Text: text})
	if stopAction {
		e := run(u.file.stopPost)
		e.Kind = control.StopActionRan
		u.report(e)
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
		return errors.New("the agent is not running")
	}
	return u.cmd.Process.Signal(s)
}

// stop ends the agent as systemctl stop does.
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
