package modbus

import (
	"context"
	"fmt"
	"time"

	"bayward/sensors/converter"
)

// The tables of a device (application protocol, section 4.3).
const (
	Holding  = "holding"
	Input    = "input"
	Coil     = "coil"
	Discrete = "discrete"
)

// Master asks the devices on an open line.
type Master interface {
	// Read reads words of a table of a device, one for each bit of coils and discrete
	// inputs. It returns within the line's time.
	Read(unit uint8, table string, address, count uint16) ([]uint16, error)
	// Close closes the line.
	Close() error
}

// LineOpts are the settings of a Line.
type LineOpts struct {
	Name string
	// Dial opens the line.
	Dial func() (Master, error)
	// Quiet is how long the line is left alone after a failure: as long as an answer
	// may take.
	Quiet time.Duration
	// Now is a monotonic clock.
	Now func() time.Duration
	// Wait returns after d, or with the context's error when that ends first. Nil waits
	// in real time.
	Wait func(ctx context.Context, d time.Duration) error
}

// Line is one serial line or connection with its devices. It is safe for use by several
// goroutines.
type Line struct {
	o    LineOpts
	busy converter.Lock // held over a transaction; guards the fields below

	master    Master // nil while the line is closed
	restUntil time.Duration
}

// NewLine returns a line, which is opened by the first reading.
func NewLine(o LineOpts) *Line {
	if o.Wait == nil {
		o.Wait = converter.RealWait
	}
	return &Line{o: o, busy: converter.NewLock()}
}

// String returns the line's name.
func (l *Line) String() string { return "modbus " + l.o.Name }

// Halt closes the line.
func (l *Line) Halt() error {
	if err := l.busy.Take(context.Background()); err != nil {
		return err
	}
	defer l.busy.Free()
	return l.close()
}

func (l *Line) close() error {
	if l.master == nil {
		return nil
	}
	err := l.master.Close()
	l.master = nil
	return err
}

// read runs one transaction.
func (l *Line) read(ctx context.Context, unit uint8, table string, address, count uint16) ([]uint16, error) {
	if err := l.busy.Take(ctx); err != nil {
		return nil, err
	}
	defer l.busy.Free()
	if rest := l.restUntil - l.o.Now(); rest > 0 {
		if err := l.o.Wait(ctx, rest); err != nil {
			return nil, fmt.Errorf("let the line rest: %w", err)
		}
	}
	if l.master == nil {
		var err error
		if l.master, err = l.o.Dial(); err != nil {
			l.master = nil
			l.restUntil = l.o.Now() + l.o.Quiet
			return nil, fmt.Errorf("%w: open it: %w", ErrLine, err)
		}
	}
	words, err := l.master.Read(unit, table, address, count)
	switch {
	case err != nil:
		err = classify(err)
	case len(words) != int(count):
		err = fmt.Errorf("%w: %d words for %d", ErrCorrupted, len(words), count)
	default:
		return words, nil
	}
	if !inStep(err) {
		_ = l.close() // the transaction's error is returned
		l.restUntil = l.o.Now() + l.o.Quiet
	}
	return nil, err
}
