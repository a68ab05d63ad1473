package sensors

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"syscall"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/host/v3/gpioioctl" // GPIO through the kernel's character device
)

// lines finds lines of the kernel's character devices, each only once, because
// bays may share the fan's contact.
type lines struct {
	mu    sync.Mutex // guards found
	found map[string]gpio.PinIn
}

func newLines() *lines { return &lines{found: map[string]gpio.PinIn{}} }

func (l *lines) pin(name string) (gpio.PinIn, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if pin, ok := l.found[name]; ok {
		return pin, nil
	}
	pin, err := kernelPin(gpioreg.ByName(name))
	if err != nil {
		return nil, err
	}
	l.found[name] = pin
	return pin, nil
}

var (
	errNoLine = errors.New("no GPIO line has this name (see gpioinfo; is the user in group gpio?)")
	// errNoFaults: any other pin of periph reads low when it cannot be read, and low can
	// mean closed.
	errNoFaults = errors.New("the line is not one of the kernel's character devices, so a failed read could not be told from a contact")
)

// kernelPin returns the line of a character device behind a pin, which may be an alias.
func kernelPin(pin gpio.PinIn) (gpio.PinIn, error) {
	if pin == nil {
		return nil, errNoLine
	}
	if alias, ok := pin.(gpio.RealPin); ok {
		pin = alias.Real()
	}
	for _, chip := range gpioioctl.Chips {
		if line := chip.ByName(pin.Name()); line != nil && gpio.PinIn(line) == pin {
			return &kernelLine{PinIn: line, request: func(pull gpio.Pull) (lineSet, error) {
				return chip.LineSet(gpioioctl.LineInput, gpio.NoEdge, pull, line.Name())
			}}, nil
		}
	}
	return nil, errNoFaults
}

// lineSet is what an input needs of gpioioctl.LineSet.
type lineSet interface {
	Read(mask gpio.GPIOValue) (gpio.GPIOValue, error)
}

// errNotInput: the line was not made an input.
var errNotInput = errors.New("the line is not an input")

// errEdges: contacts are read at each tick instead.
var errEdges = errors.New("edges are not watched")

// kernelLine is a line of a character device, as an input only: a line set with one
// line. A set reports a failed read, whereas periph's line returns a low level, which
// can mean a closed contact.
type kernelLine struct {
	gpio.PinIn
	request func(gpio.Pull) (lineSet, error)
	input   lineSet // nil until it is an input
	pull    gpio.Pull
}

// In makes the line an input. It may be called again with the same pull resistor,
// by bays that share a contact.
func (l *kernelLine) In(pull gpio.Pull, edge gpio.Edge) error {
	switch {
	case edge != gpio.NoEdge:
		return errEdges
	case l.input != nil && l.pull == pull:
		return nil
	}
	set, err := l.request(pull)
	if err != nil {
		return err
	}
	l.input, l.pull = set, pull
	return nil
}

// Level reads an input.
func (l *kernelLine) Level() (gpio.Level, error) {
	if l.input == nil {
		return gpio.Low, errNotInput
	}
	bits, err := l.input.Read(1)
	return gpio.Level(bits&1 == 1), err
}

// Read is Level without the error: it also returns low if the line could not be
// read.
func (l *kernelLine) Read() gpio.Level {
	level, _ := l.Level()
	return level
}

// taken adds what to do when another program has a line: the kernel gives it to one
// program only. periph passes on the text of the kernel's error and drops the
// number (gpioioctl/ioctl.go), so errors.Is would find nothing.
func taken(err error) error {
	if strings.Contains(err.Error(), syscall.EBUSY.Error()) {
		return fmt.Errorf("%w. Another program has this line: stop the agent (systemctl stop bayward) or the walk; gpioinfo names who has it", err)
	}
	return err
}
