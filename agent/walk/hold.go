package walk

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/lease"
)

const (
	holdMost  = 8 * time.Second        // in all
	holdWord  = "hold"                 // the parent's word
	holdQuiet = 500 * time.Millisecond // without a word for this long the relay opens
	holdEvery = 100 * time.Millisecond
	holdLease = time.Second
)

// Hold is the process that the walk kills while it holds the relay of a bay. It
// closes the relay only while its parent keeps sending the word on in, and for no
// more than holdMost. On its own it does nothing. socket is the keeper's.
func Hold(ctx context.Context, cfg *config.Config, bayName, socket string, in io.Reader, out io.Writer) error {
	ctx, stop := context.WithTimeoutCause(ctx, holdMost, errors.New("held for as long as it may be"))
	defer stop()
	words := typedLines(ctx, in)
	if err := hear(ctx, words); err != nil {
		return err
	}
	hold, done, err := holder(ctx, cfg, bayName, socket)
	if err != nil {
		return err
	}
	defer done()
	for {
		if err := hold(); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(out, holdWord); err != nil {
			return err
		}
		if err := hear(ctx, words); err != nil {
			return err
		}
	}
}

// hear waits for the parent's word.
func hear(ctx context.Context, words <-chan string) error {
	t := time.NewTimer(holdQuiet)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
	case word := <-words:
		if word == holdWord {
			return nil
		}
	}
	return errors.New("this is a part of bayward wiring, which alone may start it")
}

// holder connects to the keeper and returns how to keep the relay closed. With
// simulated sensors the keeper is in the parent, which holds the relay as long as this
// process writes.
func holder(ctx context.Context, cfg *config.Config, bayName, socket string) (hold func() error, done func(), err error) {
	if cfg.Sensors == "simulated" {
		return func() error { return nil }, func() {}, nil
	}
	keeper, relay, err := joinKeeper(ctx, cfg, bayName, func() (*hardware.Keeper, error) {
		return hardware.OpenKeeper(cfg, nil, nil, socket)
	})
	if err != nil {
		return nil, nil, err
	}
	return holding(keeper, relay), func() { _ = keeper.Close() }, nil
}

func holding(k *hardware.Keeper, r *lease.Relay) func() error {
	return func() error { return r.Lease(k.Now(), holdLease, true) }
}

// joinWithin is how long a keeper may take to see that its last peer is gone, and the
// link to try again.
const joinWithin = 5 * time.Second

// joinKeeper connects to the keeper and opens the relay of a bay. It waits until the
// keeper answers.
func joinKeeper(ctx context.Context, cfg *config.Config, bayName string, connect func() (*hardware.Keeper, error)) (*hardware.Keeper, *lease.Relay, error) {
	k, err := connect()
	if err != nil {
		return nil, nil, err
	}
	relay := k.Relay(bayOf(cfg, bayName))
	ctx, stop := context.WithTimeout(ctx, joinWithin)
	defer stop()
	again := time.NewTicker(holdEvery)
	defer again.Stop()
	for err = relay.Lease(k.Now(), 0, false); errors.Is(err, lease.ErrSilent); err = relay.Lease(k.Now(), 0, false) {
		select {
		case <-ctx.Done():
			return nil, nil, errors.Join(err, k.Close())
		case <-again.C:
		}
	}
	if err != nil && !errors.Is(err, lease.ErrTripped) {
		return nil, nil, errors.Join(err, k.Close())
	}
	return k, relay, nil
}

// bayOf returns a bay of the configuration, which has it.
func bayOf(cfg *config.Config, name string) *config.Bay {
	for i := range cfg.Bays {
		if cfg.Bays[i].Name == name {
			return &cfg.Bays[i]
		}
	}
	return &config.Bay{Name: name} // which no keeper knows
}

// HoldAndDie lets a separate process close the relay.
func (r *rig) HoldAndDie(ctx context.Context) (kill, reclaim func() error, err error) {
	if err := r.keeper.Close(); err != nil { // it has one peer at a time
		return nil, nil, err
	}
	reclaim = func() error { return r.reclaim(context.WithoutCancel(ctx)) }
	h, err := startHolder(ctx, r.configPath, r.bay, r.socket)
	if err != nil {
		return nil, nil, errors.Join(err, reclaim())
	}
	if r.bench == nil {
		go func() { _, _ = io.Copy(io.Discard, h.out) }()
	} else if err := h.bridge(r); err != nil {
		return nil, nil, errors.Join(err, h.kill(), reclaim())
	}
	return h.kill, reclaim, nil
}

// childHolder is the process that holds the relay.
type childHolder struct {
	cmd  *exec.Cmd
	out  *bufio.Reader
	stop context.CancelFunc
	once sync.Once
	gone chan struct{} // closed when the bridge has ended; nil without a bridge
	err  error
}

// startHolder starts the process and waits for its first word. The relay is closed
// after that.
func startHolder(ctx context.Context, path, bayName, socket string) (*childHolder, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("find our own program: %w", err)
	}
	ctx, stop := context.WithCancel(ctx)
	cmd := exec.CommandContext(ctx, program, "wiring-hold", "--config", path, "--bay", bayName, "--keeper", socket) //nolint:gosec // our own program and the person's own file
	cmd.WaitDelay = time.Second
	var complaint strings.Builder
	cmd.Stderr = &complaint
	in, inErr := cmd.StdinPipe()
	out, outErr := cmd.StdoutPipe()
	if err := errors.Join(inErr, outErr); err != nil {
		stop()
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		stop()
		return nil, fmt.Errorf("start the process that is to die: %w", err)
	}
	h := &childHolder{cmd: cmd, out: bufio.NewReader(out), stop: stop}
	go func() {
		t := time.NewTicker(holdEvery)
		defer t.Stop()
		for {
			if _, err := io.WriteString(in, holdWord+"\n"); err != nil {
				return
			}
			select {
			case <-ctx.Done():
				return
			case <-t.C:
			}
		}
	}()
	if _, err := h.out.ReadString('\n'); err != nil {
		_ = h.kill() // it has ended, so its output is complete
		return nil, fmt.Errorf("the process that is to die did not take the relay: %w: %s", err, strings.TrimSpace(complaint.String()))
	}
	return h, nil
}

// bridge is the process's connection to a simulated keeper: it asks for a lease for
// each word, and ends with the process.
func (h *childHolder) bridge(r *rig) error {
	keeper, err := r.connect()
	if err != nil {
		return err
	}
	hold := holding(keeper, keeper.Relay(bayOf(r.cfg, r.bay)))
	h.gone = make(chan struct{})
	h.err = hold()
	go func() {
		defer close(h.gone)
		defer func() { _ = keeper.Close() }()
		for {
			if _, err := h.out.ReadString('\n'); err != nil {
				return
			}
			if hold() != nil {
				return
			}
		}
	}()
	return nil
}

// kill ends the process without letting it clean up.
func (h *childHolder) kill() error {
	h.once.Do(func() {
		_ = h.cmd.Process.Kill()
		if h.gone != nil {
			<-h.gone
		}
		_ = h.cmd.Wait() // the error "killed" is expected
		h.stop()
	})
	return h.err
}
