package sim

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// role is what a line is connected to.
type role uint8

const (
	relayLine role = iota
	heartbeatLine
	contactLine
)

var (
	errInputWired = errors.New("line is wired to a contact, not to a load")
	errNoPWM      = errors.New("pulse width modulation is not supported")
)

// line is one GPIO line of the Pi with what is connected to it. Outputs have a
// pull-down on their board, so that a line that is not driven is low.
type line struct {
	bay       *Stand
	name      string
	number    int
	role      role
	key       string // of a contact, in the wiring
	activeLow bool
	breaks    bool // a break contact: open while what it shows is so

	output bool
	driven gpio.Level
	pull   gpio.Pull
	edge   gpio.Edge
	last   gpio.Level
	edges  chan struct{}
}

func newLine(y *Stand, name string, r role) *line {
	number, err := strconv.Atoi(strings.TrimLeft(name, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz_"))
	if err != nil {
		number = -1
	}
	return &line{bay: y, name: name, number: number, role: r, edges: make(chan struct{}, 1)}
}

// String returns the line's name.
func (l *line) String() string { return fmt.Sprintf("%s(%d)", l.name, l.number) }

// Name returns the line's name in the wiring.
func (l *line) Name() string { return l.name }

// Number returns the digits of the name, -1 if there are none.
func (l *line) Number() int { return l.number }

// Halt does nothing, as on hardware: an output stays driven.
func (l *line) Halt() error { return nil }

// Function returns the direction. Like the hardware driver it reads the line for
// that, which turns an output into an input.
func (l *line) Function() string { return "In/" + l.Read().String() }

// In makes the line an input.
func (l *line) In(pull gpio.Pull, edge gpio.Edge) error {
	l.bay.bench.mu.Lock()
	defer l.bay.bench.mu.Unlock()
	l.input(pull, edge)
	return nil
}

func (l *line) input(pull gpio.Pull, edge gpio.Edge) {
	l.release()
	l.pull, l.edge = pull, edge
	l.last = l.level()
	select {
	case <-l.edges:
	default:
	}
}

// release stops driving the line.
func (l *line) release() {
	l.output = false
	if l.role == relayLine {
		l.bay.contactor.ordered = false
	}
}

// Read returns the level of an input. The hardware driver first makes an output an
// input with a pull-up; so does this one, and the load loses its drive.
func (l *line) Read() gpio.Level {
	l.bay.bench.mu.Lock()
	defer l.bay.bench.mu.Unlock()
	if l.output {
		l.input(gpio.PullUp, gpio.NoEdge)
	}
	return l.level()
}

// level returns the line's level when it is not driven.
func (l *line) level() gpio.Level {
	if l.role != contactLine {
		return gpio.Low
	}
	closed := l.bay.closed(l.key, l.breaks)
	if !l.activeLow {
		return gpio.Level(closed)
	}
	// An open contact to ground needs the pull-up; without it the line floats,
	// here to the level that means closed.
	return gpio.Level(!closed && l.pull == gpio.PullUp)
}

// closed reports whether the wires to the contact of that key are joined.
func (y *Stand) closed(key string, breaks bool) bool {
	if w := y.wires[key]; w != WiresSound {
		return w == WiresTouch
	}
	switch key {
	case "relay.feedback":
		return (y.contactor.auxiliary(breaks) || y.faults[FeedbackShorted]) && !y.faults[FeedbackBroken]
	case "airflow":
		return (y.fan && y.now-y.began >= y.opts.FanRunUp) != breaks
	case "charger_complete":
		return (y.charger.Complete() || y.bridged[key]) != breaks && !y.faults[CompleteBroken]
	}
	return y.bridged[key] != breaks
}

// watch remembers a requested edge.
func (l *line) watch() {
	if l.output || l.edge == gpio.NoEdge {
		return
	}
	now := l.level()
	if now == l.last {
		return
	}
	l.last = now
	if l.edge == gpio.BothEdges || (l.edge == gpio.RisingEdge) == bool(now) {
		select {
		case l.edges <- struct{}{}:
		default:
		}
	}
}

// WaitForEdge waits in real time for an edge that Advance causes; a negative timeout
// waits forever.
func (l *line) WaitForEdge(timeout time.Duration) bool {
	if timeout < 0 {
		<-l.edges
		return true
	}
	timer := time.NewTimer(timeout)
	defer timer.Stop()
	select {
	case <-l.edges:
		return true
	case <-timer.C:
		return false
	}
}

// Pull returns the pull resistor of an input.
func (l *line) Pull() gpio.Pull {
	l.bay.bench.mu.Lock()
	defer l.bay.bench.mu.Unlock()
	return l.pull
}

// DefaultPull is not known.
func (l *line) DefaultPull() gpio.Pull { return gpio.PullNoChange }

// Out drives the line. It returns an error for a line that is wired to a contact.
func (l *line) Out(level gpio.Level) error {
	l.bay.bench.mu.Lock()
	defer l.bay.bench.mu.Unlock()
	switch l.role {
	case relayLine:
		l.bay.contactor.ordered = bool(level)
	case heartbeatLine:
		if level != l.driven {
			l.bay.contactor.beat()
		}
	case contactLine:
		return fmt.Errorf("%s: %w", l.name, errInputWired)
	}
	l.output, l.driven = true, level
	return nil
}

// Close returns the line, as the hardware driver does, and the kernel when a process
// dies: nothing drives it, and the board's pull-down makes it low.
func (l *line) Close() {
	l.bay.bench.mu.Lock()
	defer l.bay.bench.mu.Unlock()
	l.release()
	l.driven = gpio.Low
}

// PWM returns an error: it is not supported.
func (l *line) PWM(gpio.Duty, physic.Frequency) error { return fmt.Errorf("%s: %w", l.name, errNoPWM) }

var _ gpio.PinIO = &line{}
