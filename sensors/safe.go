package sensors

import (
	"errors"
	"fmt"
	"strings"
	"syscall"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/config"
)

// errNoRelay: a bay without a relay could not block anything.
var errNoRelay = errors.New("no relay is configured, so nothing could block the charge")

// output is all that may be done with a line.
type output interface {
	Out(gpio.Level) error
}

// relayLines returns the charge-enable line and, if there is one, the heartbeat
// after it.
func relayLines(b *config.Bay, hw Hardware) ([]output, error) {
	r := b.Wiring.Relay
	if r == nil {
		return nil, partError(b, "relay", errNoRelay)
	}
	charge, err := findLine(b, hw, "relay.pin", r.Pin)
	if err != nil {
		return nil, err
	}
	if r.Heartbeat == "" {
		return []output{charge}, nil
	}
	beat, err := findLine(b, hw, "relay.heartbeat", r.Heartbeat)
	if err != nil {
		return []output{charge}, err
	}
	return []output{charge, beat}, nil
}

func findLine(b *config.Bay, hw Hardware, field, name string) (output, error) {
	pin, err := hw.Pin(name)
	if err != nil {
		return nil, partError(b, field, fmt.Errorf("pin %q: %w", name, err))
	}
	return line{pin, b, field, name}, nil
}

// line is an output that names itself in errors.
type line struct {
	pin   gpio.PinOut
	bay   *config.Bay
	field string
	name  string
}

// Out drives the line.
func (l line) Out(level gpio.Level) error {
	if err := l.pin.Out(level); err != nil {
		return fmt.Errorf("bay %s: wiring.%s: pin %q to %s: %w", l.bay.Name, l.field, l.name, level, taken(err))
	}
	return nil
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

// OutputsSafe drives every relay and every heartbeat low, as many as it can, and
// returns an error for those that it could not. It opens nothing else, so that it
// works when the rest does not: after a crash, or with a bus that is gone.
func OutputsSafe(cfg *config.Config, hw Hardware) error {
	var failed []error
	for i := range cfg.Bays {
		b := &cfg.Bays[i]
		if b.Wiring.Relay == nil {
			continue
		}
		lines, err := relayLines(b, hw)
		failed = append(failed, err)
		for _, l := range lines {
			failed = append(failed, l.Out(gpio.Low))
		}
	}
	return errors.Join(failed...)
}
