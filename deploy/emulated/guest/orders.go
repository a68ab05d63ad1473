//go:build linux

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"bayward/deploy/emulated/control"
)

// guest is the init after boot.
type guest struct {
	conn  net.Conn
	out   sync.Mutex // guards writes to conn
	units manager
	dog   *watchdog // nil if systemd serves it
}

// manager runs the two services: the init itself, or the board's systemd.
type manager interface {
	start(config string) error // of both
	stop() error               // of the agent
	signal(u control.Unit, s unix.Signal) error
	// supervise sets whether the stop action and a restart follow an exit.
	supervise(u control.Unit, stopAction, restart bool) error
	runStopAction() control.Event // of the keeper
}

func newGuest(c net.Conn) *guest { return &guest{conn: c} }

func (g *guest) report(e control.Event) {
	g.out.Lock()
	defer g.out.Unlock()
	if err := json.NewEncoder(g.conn).Encode(e); err != nil {
		say("send to the bench: %v", err)
	}
}

// serve carries out orders until the bench disconnects.
func (g *guest) serve() {
	go relayPage()
	for d := json.NewDecoder(g.conn); ; {
		var o control.Order
		if err := d.Decode(&o); err != nil {
			say("the bench is gone: %v", err)
			return
		}
		go func() {
			e := g.do(&o)
			e.Kind, e.ID = control.Reply, o.ID
			g.report(e)
		}()
	}
}

func (g *guest) do(o *control.Order) control.Event {
	switch o.Do {
	case control.Start:
		return done(g.units.start(o.Config))
	case control.Stop:
		return done(g.units.stop())
	case control.Signal:
		return done(g.units.signal(o.Unit, unix.Signal(o.Signal)))
	case control.Supervise:
		return done(g.units.supervise(o.Unit, o.StopAction, o.Restart))
	case control.Hang:
		return done(g.hang())
	case control.Clock:
		return done(setClock(o.Unix, o.Trusted))
	case control.StopAction:
		return g.units.runStopAction()
	case control.Install:
		return install(o.Path)
	case control.HTTP:
		return ask(o)
	case control.Pull:
		return done(os.WriteFile(virtualUSB+"/detach", []byte("0"), 0o200))
	case control.Plug:
		return done(attach(0, os.Getenv("BENCH_I2C")))
	case control.Card:
		return done(moveToCard())
	case control.Freeze, control.Thaw:
		return done(freeze(o.Do == control.Freeze))
	case control.Eject:
		return done(eject())
	case control.Read:
		text, err := os.ReadFile(o.Path)
		e := done(err)
		e.Text = string(text)
		return e
	}
	return done(fmt.Errorf("unknown order %q", o.Do))
}

// hang stops both programs, and what serves the kernel's watchdog.
func (g *guest) hang() error {
	var errs []error
	for _, u := range []control.Unit{control.Agent, control.Keeper} {
		errs = append(errs, g.units.supervise(u, false, false), g.units.signal(u, unix.SIGSTOP))
	}
	g.dog.abandon()
	return errors.Join(errs...)
}

func done(err error) control.Event {
	if err != nil {
		return control.Event{Error: err.Error()}
	}
	return control.Event{}
}

// runTime is how long a command may take on an emulated processor.
const runTime = 5 * time.Minute

func run(command []string) control.Event {
	ctx, cancel := context.WithTimeout(context.Background(), runTime)
	defer cancel()
	out, err := exec.CommandContext(ctx, command[0], command[1:]...).CombinedOutput()
	e := control.Event{Text: string(out)}
	if exit, ok := errors.AsType[*exec.ExitError](err); ok {
		e.Exit = exit.ExitCode()
	} else if err != nil {
		e.Error = err.Error()
	}
	return e
}

func ask(o *control.Order) control.Event {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, o.Method, "http://"+control.PageAddr+o.Path, strings.NewReader(o.Body))
	if err != nil {
		return done(err)
	}
	req.Header.Set("Content-Type", "application/json")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return done(err)
	}
	defer func() { _ = resp.Body.Close() }()
	var b bytes.Buffer
	_, err = io.Copy(&b, resp.Body)
	e := done(err)
	e.Text = fmt.Sprintf("%d\n%s", resp.StatusCode, b.String())
	return e
}

// setClock sets the wall clock. The kernel treats it as unset until a time service,
// or this function with trusted, marks it as synchronized.
func setClock(seconds int64, trusted bool) error {
	tv := unix.NsecToTimeval(seconds * int64(time.Second))
	if err := unix.Settimeofday(&tv); err != nil {
		return fmt.Errorf("set the clock: %w", err)
	}
	// ADJ_MAXERROR, ADJ_ESTERROR and ADJ_STATUS of linux/timex.h: unless the
	// maximum error is lowered, the kernel treats the clock as unset again within
	// a second.
	const maxError, estError, status = 0x0004, 0x0008, 0x0010
	tx := unix.Timex{Modes: maxError | estError | status}
	if !trusted {
		tx.Status = unix.STA_UNSYNC
	}
	if _, err := unix.Adjtimex(&tx); err != nil {
		return fmt.Errorf("set the clock's status: %w", err)
	}
	return nil
}
