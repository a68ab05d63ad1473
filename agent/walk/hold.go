package walk

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/sensors"
)

const (
	holdMost  = 8 * time.Second        // from the first word to the end
	holdWord  = "hold"                 // the parent's word
	holdQuiet = 500 * time.Millisecond // without a word for this long the relay opens
	holdEvery = 100 * time.Millisecond
)

// Hold is the process that the walk kills while it holds the relay of a bay. It
// closes the relay only while its parent keeps sending the word on in, and for no
// more than holdMost. On its own it does nothing.
func Hold(ctx context.Context, cfg *config.Config, bayName string, in io.Reader, out io.Writer) error {
	words := typedLines(ctx, in)
	if err := hear(ctx, words); err != nil {
		return err
	}
	drive, done, err := holder(cfg, bayName, out)
	if err != nil {
		return err
	}
	defer done()
	for end := time.Now().Add(holdMost); time.Now().Before(end); {
		if err := drive(); err != nil {
			return err
		}
		if err := hear(ctx, words); err != nil {
			return err
		}
	}
	return errors.New("held for as long as it may be")
}

// hear waits for the parent's word.
func hear(ctx context.Context, words <-chan string) error {
	t := time.NewTimer(holdQuiet)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
	case word := <-words:
		if word == holdWord {
			return nil
		}
	}
	return errors.New("this is a part of bayward wiring, which alone may start it")
}

// holder drives the line. With simulated sensors the line is in the parent, which
// keeps it driven as long as this process writes.
func holder(cfg *config.Config, bayName string, out io.Writer) (drive func() error, done func(), err error) {
	if cfg.Sensors == "simulated" {
		return func() error { _, err := fmt.Fprintln(out, holdWord); return err }, func() {}, nil
	}
	hw, _, err := hardware.Open(cfg, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, nil, err
	}
	relay, err := sensors.OpenRelay(cfg, bayName, hw)
	if err != nil {
		return nil, nil, err
	}
	drive = func() error {
		if err := errors.Join(relay.Beat(), relay.Set(true)); err != nil {
			return err
		}
		_, err := fmt.Fprintln(out, holdWord)
		return err
	}
	return drive, func() { _ = relay.Halt() }, nil
}

// HoldAndDie hands the relay to a separate process.
func (r *rig) HoldAndDie(ctx context.Context) (kill, reclaim func() error, err error) {
	if err := r.relay().Release(); err != nil {
		return nil, nil, err
	}
	h, err := startHolder(ctx, r.configPath, r.bay)
	if err != nil {
		return nil, nil, errors.Join(err, r.Open())
	}
	if r.bench != nil {
		h.bridge(r.relay())
	} else {
		go func() { _, _ = io.Copy(io.Discard, h.out) }()
	}
	return h.kill, r.Open, nil
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
func startHolder(ctx context.Context, path, bayName string) (*childHolder, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("find our own program: %w", err)
	}
	ctx, stop := context.WithCancel(ctx)
	cmd := exec.CommandContext(ctx, program, "wiring-hold", "--config", path, "--bay", bayName) //nolint:gosec // our own program and the person's own file
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

// bridge drives a simulated line while the process runs and releases it when the
// process is gone, as the kernel does.
func (h *childHolder) bridge(relay *sensors.Relay) {
	h.gone = make(chan struct{})
	hold := func() error { return errors.Join(relay.Beat(), relay.Set(true)) }
	h.err = hold()
	go func() {
		defer close(h.gone)
		defer func() { _ = relay.Release() }()
		for {
			if _, err := h.out.ReadString('\n'); err != nil {
				return
			}
			if hold() != nil {
				return
			}
		}
	}()
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
