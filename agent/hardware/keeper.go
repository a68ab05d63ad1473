package hardware

import (
	"cmp"
	"errors"
	"fmt"
	"time"

	"bayward/agent/bootclock"
	"bayward/agent/config"
	"bayward/agent/lease"
	"bayward/agent/lease/dial"
	"bayward/sensors/sim"
)

// Keeper is the way to whatever drives the relays.
type Keeper struct {
	Now    func() time.Duration // the keeper's clock, which stamps leases
	client *lease.Client
	link   interface {
		lease.Link
		Close() error
	}
}

// OpenKeeper returns the way to the keeper of the machine, a program that listens at
// a socket, "" for its usual one; or, with simulated hardware, a keeper within this program that works by
// the clock now. A program that is not there, or comes later, is not an error: leases
// fail until it is connected.
func OpenKeeper(cfg *config.Config, bench *sim.Bench, now func() time.Duration, socket string) (*Keeper, error) {
	if bench != nil {
		return KeepHere(cfg, bench, now)
	}
	link := dial.New(cmp.Or(socket, dial.Socket))
	return &Keeper{Now: bootclock.Clock{}.Now, client: lease.NewClient(link), link: link}, nil
}

// errNoRelay: a bay without a relay could not block anything.
var errNoRelay = errors.New("no relay is configured, so nothing could block the charge")

// KeepHere starts a keeper of a bench's lines within this program. All relays are open
// when it returns, also with an error.
func KeepHere(cfg *config.Config, bench *sim.Bench, now func() time.Duration) (*Keeper, error) {
	var lines []lease.Lines
	var errs []error
	for i := range cfg.Bays {
		l, err := linesOf(&cfg.Bays[i], bench)
		if err != nil {
			errs = append(errs, fmt.Errorf("bay %s: wiring.relay: %w", cfg.Bays[i].Name, err))
			continue
		}
		lines = append(lines, l)
	}
	keeper, err := lease.NewKeeper(lines)
	if err := errors.Join(append(errs, err)...); err != nil {
		return nil, err
	}
	link := lease.NewLocal(keeper, now)
	return &Keeper{Now: now, client: lease.NewClient(link), link: link}, nil
}

func linesOf(b *config.Bay, bench *sim.Bench) (l lease.Lines, err error) {
	if b.Wiring.Relay == nil {
		return l, errNoRelay
	}
	l.Row = rowOf(b)
	if l.Charge, err = bench.Pin(l.Row.Charge); err != nil || l.Row.Heartbeat == "" {
		return l, err
	}
	l.Beat, err = bench.Pin(l.Row.Heartbeat)
	return l, err
}

// rowOf returns a bay's row in the keeper's list of lines.
func rowOf(b *config.Bay) lease.Row {
	row := lease.Row{Bay: b.Name}
	if r := b.Wiring.Relay; r != nil {
		row.Charge, row.Heartbeat = r.Pin, r.Heartbeat
	}
	return row
}

// Relay returns the relay of a bay. A bay must have only one.
func (k *Keeper) Relay(b *config.Bay) *lease.Relay { return k.client.Relay(rowOf(b)) }

// Close ends the connection, so that the keeper opens every relay.
func (k *Keeper) Close() error { return k.link.Close() }
