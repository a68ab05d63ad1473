package sim

import (
	"errors"
	"fmt"
	"time"

	"bayward/sensors/sim/pack"
	"bayward/sensors/wiring"
)

// ErrPlugged means that a plugged-in pack cannot be carried away.
var ErrPlugged = errors.New("the pack is plugged in")

// Battery is a pack that is in no bay, with the sensor that stays in it.
type Battery struct {
	pack   *pack.Battery
	opts   Opts // what belongs to the pack
	sensor *thermometer
	at     time.Duration // its physics is advanced up to here
}

// NewBattery makes a pack that is beside the bays. It uses only the options of the
// pack, without Name. The error wraps ErrTaken if the number of its sensor is in
// use.
func (b *Bench) NewBattery(o Opts) (*Battery, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	o = o.withDefaults(&wiring.Parts{})
	p, err := pack.New(o.spec())
	if err != nil {
		return nil, fmt.Errorf("pack: %w", err)
	}
	t := &Battery{pack: p, opts: o, at: b.now}
	if o.OwnSensor == "" {
		return t, nil
	}
	// Until it is first plugged in, the sensor is on no bus.
	nowhere := &Stand{bench: b, pack: p}
	t.sensor, err = b.fit(o.OwnSensor, nowhere, false)
	if err != nil {
		return nil, err
	}
	t.sensor.plug(b.now-forgetAfter, false)
	return t, nil
}

// Exchange carries the bay's pack away and puts another one in its place; it is not
// plugged in until Connect. The bay's charger stays the same. The error wraps
// ErrPlugged while the pack is connected.
func (y *Stand) Exchange(in *Battery) (out *Battery, err error) {
	b := y.bench
	b.mu.Lock()
	defer b.mu.Unlock()
	if y.connected {
		return nil, fmt.Errorf("bay %q: %w", y.opts.Name, ErrPlugged)
	}
	if in.pack.Cells() != y.pack.Cells() {
		return nil, fmt.Errorf("bay %q: a pack of %d cells does not fit a charger for %d", y.opts.Name, in.pack.Cells(), y.pack.Cells())
	}
	out = &Battery{pack: y.pack, opts: y.opts, at: y.now}
	out.sensor, y.silent = y.silent, nil
	if y.ownSensor {
		out.sensor, y.packSensor, y.ownSensor = y.packSensor, nil, false
	}
	for in.at < y.now { // it has cooled and discharged itself meanwhile
		dt := min(y.now-in.at, time.Minute)
		in.pack.Step(dt.Seconds(), pack.Supply{}, 0, y.ambientC())
		in.at += dt
	}
	y.pack, y.opts.PilotCell = in.pack, in.opts.PilotCell
	y.stuckMM = y.pack.LevelMM(y.opts.PilotCell)
	switch s := in.sensor; {
	case s == nil:
	case y.packSensor != nil: // the bay's own: the pack's has no plug here
		y.silent = s
	default:
		s.bay, s.bus, s.offsetC = y, y.packBus, y.offsetC
		y.packSensor, y.ownSensor = s, true
	}
	return out, nil
}
