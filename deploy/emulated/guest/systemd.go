//go:build linux

package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

// On a board with a Debian root the init loads the drivers and hands over to
// systemd. It continues as a service beside those of keeper and agent, which plugs the
// adapters in before the agent may start and carries out the bench's orders with
// systemctl and dpkg. The two units are the packaged ones, with their hardening.

const (
	underSystemd = "under-systemd" // the argument of that service
	benchDir     = "/run/bench"
	stickDir     = benchDir + "/stick"
)

// benchUnit is that service; %s is replaced by its Environment= lines.
const benchUnit = `[Unit]
Description=the wires of the emulated board
Before=bayward.service bayward-keeper.service
[Service]
Type=notify
NotifyAccess=main
ExecStart=` + benchDir + `/guest ` + underSystemd + `
TimeoutStartSec=300
StandardOutput=tty
TTYPath=/dev/console
%s`

// managerConf gives Debian's own services time on an emulated processor.
const managerConf = "[Manager]\nDefaultTimeoutStartSec=300\n"

// handOver makes systemd process 1. It returns only with an error.
func handOver() error {
	if err := mountKernel(); err != nil {
		return err
	}
	if err := loadModules(); err != nil {
		return err
	}
	if err := waitFor("/dev/vdb"); err != nil {
		return err
	}
	if err := unix.Mount("/dev/vdb", "/newroot", "ext4", 0, ""); err != nil {
		return fmt.Errorf("mount the root: %w", err)
	}
	if err := layService(); err != nil {
		return err
	}
	for _, m := range []string{"/proc", "/sys", "/dev", "/run"} {
		if err := unix.Mount(m, "/newroot"+m, "", unix.MS_MOVE, ""); err != nil {
			return fmt.Errorf("move %s: %w", m, err)
		}
	}
	err := errors.Join(os.Chdir("/newroot"), unix.Mount(".", "/", "", unix.MS_MOVE, ""), unix.Chroot("."), os.Chdir("/"))
	if err != nil {
		return err
	}
	return unix.Exec("/sbin/init", []string{"/sbin/init"}, []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin"})
}

// layService puts the service into /run, which systemd keeps.
func layService() error {
	var env strings.Builder
	for _, v := range os.Environ() {
		if strings.HasPrefix(v, "BENCH_") {
			fmt.Fprintf(&env, "Environment=%s\n", v)
		}
	}
	program, err := os.ReadFile("/init")
	if err != nil {
		return err
	}
	const units = "/run/systemd/system/"
	for path, text := range map[string]string{
		benchDir + "/guest":                     string(program),
		units + "bench.service":                 fmt.Sprintf(benchUnit, env.String()),
		"/run/systemd/system.conf.d/bench.conf": managerConf,
	} {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, []byte(text), 0o755); err != nil {
			return err
		}
	}
	const wants = units + "multi-user.target.wants"
	return errors.Join(os.MkdirAll(wants, 0o755), os.Symlink("../bench.service", wants+"/bench.service"))
}

// serveUnderSystemd runs the service.
func serveUnderSystemd() error {
	g, err := callBench()
	if err != nil {
		return err
	}
	m := &systemd{report: g.report}
	g.units = m
	err = errors.Join(os.MkdirAll(stickDir, 0o755), unix.Mount("/dev/vda", stickDir, "ext4", unix.MS_RDONLY, ""))
	if err == nil {
		err = plugAdapters()
	}
	if err != nil {
		g.report(control.Event{Kind: control.Trouble, Error: err.Error()})
		return err
	}
	g.up()
	if _, err := daemon.SdNotify(false, daemon.SdNotifyReady); err != nil {
		return err
	}
	go m.follow(control.Agent)
	go m.follow(control.Keeper)
	g.serve()
	return nil
}

// install runs dpkg on a package of the stick. When the configuration was changed,
// dpkg asks which one to keep; the how-to's option answers.
func install(name string) control.Event {
	if err := os.Setenv("DEBIAN_FRONTEND", "noninteractive"); err != nil {
		return done(err)
	}
	return run([]string{"dpkg", "--force-confold", "--install", filepath.Join(stickDir, filepath.Base(name))})
}

// systemd runs the packaged units with the board's own manager.
type systemd struct{ report func(control.Event) }

var _ manager = (*systemd)(nil)

func systemctl(args ...string) error {
	out, err := exec.Command("systemctl", args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("systemctl %s: %w: %s", strings.Join(args, " "), err, out)
	}
	return nil
}

// start writes the configuration and starts the agent. An agent that already runs
// with it, as after a boot, is left alone.
func (s *systemd) start(config string) error {
	was, err := os.ReadFile(control.ConfigPath)
	if err != nil {
		return fmt.Errorf("the package is not installed: %w", err)
	}
	if string(was) == config {
		if now := look(control.Agent); now.ready() {
			s.report(control.Event{Kind: control.Ready, Unit: control.Agent})
			return nil
		}
		return systemctl("start", "--no-block", string(control.Agent))
	}
	if err := os.WriteFile(control.ConfigPath, []byte(config), 0o600); err != nil { // owner and mode stay
		return err
	}
	unix.Sync()
	return systemctl("restart", "--no-block", string(control.Agent))
}

func (s *systemd) stop() error { return systemctl("stop", string(control.Agent)) }

func (s *systemd) signal(u control.Unit, sig unix.Signal) error {
	return systemctl("kill", "--kill-whom=main", "--signal="+strconv.Itoa(int(sig)), string(u))
}

func (s *systemd) runStopAction() control.Event {
	return control.Event{Error: "systemd runs it"}
}

func (s *systemd) supervise(_ control.Unit, stopAction, restart bool) error {
	if !stopAction || !restart {
		return errors.New("systemd supervises only as the packaged unit specifies")
	}
	return nil
}

// state is what systemd reports of a service.
type state struct {
	pid, active, sub, result string
	stopPid, stopExit        string // of a stop action that has ended, otherwise ""
}

func (s state) runs() bool  { return s.pid != "" && s.pid != "0" }
func (s state) hung() bool  { return s.sub == "stop-watchdog" || s.result == "watchdog" }
func (s state) ready() bool { return s.runs() && s.active == "active" && s.sub == "running" }

func look(u control.Unit) (s state) {
	out, err := exec.Command("systemctl", "show", string(u),
		"--property=MainPID,ActiveState,SubState,Result,ExecStopPost").Output()
	if err != nil {
		return state{}
	}
	return readState(string(out))
}

// readState parses the lines of systemctl show.
func readState(text string) (s state) {
	for line := range strings.Lines(text) {
		key, value, _ := strings.Cut(strings.TrimSpace(line), "=")
		switch key {
		case "MainPID":
			s.pid = value
		case "ActiveState":
			s.active = value
		case "SubState":
			s.sub = value
		case "Result":
			s.result = value
		case "ExecStopPost":
			s.stopPid, s.stopExit = readStopPost(value)
		}
	}
	return s
}

// readStopPost parses { path=… ; … ; stop_time=[…] ; pid=N ; code=exited ; status=N }.
func readStopPost(text string) (pid, exit string) {
	parts := map[string]string{}
	for part := range strings.SplitSeq(strings.Trim(text, "{} "), ";") {
		key, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		parts[key] = value
	}
	if parts["pid"] == "0" || parts["stop_time"] == "[n/a]" || parts["stop_time"] == "" {
		return "", ""
	}
	if exit = parts["status"]; parts["code"] != "exited" {
		exit = parts["code"] + " " + exit
	}
	return parts["pid"], exit
}

// follow reports a service's changes of state to the bench. It misses states shorter
// than its interval; a restart comes a second or two after an exit.
func (s *systemd) follow(u control.Unit) {
	for was := (state{}); ; time.Sleep(250 * time.Millisecond) {
		now := look(u)
		if now.active == "" {
			continue // systemd is busy
		}
		for _, e := range changes(was, now) {
			e.Unit = u
			s.report(e)
		}
		was = now
	}
}

// changes returns the events between two looks.
func changes(was, now state) (out []control.Event) {
	other := now.pid != was.pid
	if now.hung() && !was.hung() {
		out = append(out, control.Event{Kind: control.Hung})
	}
	if was.runs() && other {
		out = append(out, control.Event{Kind: control.Ended, Text: now.result})
	}
	if now.stopPid != "" && now.stopPid != was.stopPid {
		exit, err := strconv.Atoi(now.stopExit)
		e := done(err)
		e.Kind, e.Exit = control.StopActionRan, exit
		out = append(out, e)
	}
	if now.runs() && other {
		out = append(out, control.Event{Kind: control.Started})
	}
	if now.ready() && (other || !was.ready()) {
		out = append(out, control.Event{Kind: control.Ready})
	}
	return out
}
