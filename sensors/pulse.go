package sensors

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"

	"bayward/sensors/converter"
	"bayward/sensors/level"
	"bayward/sensors/tca9534"
)

// The pins of an expander and the inputs of the converter beside it, for a probe in two
// wires: driven → resistor → capacitor → input 0, the probe, input 1 → reference
// resistor → returned and input 3. Every pair that is measured is one that the
// converter has, and each is signed.
const (
	driven, returned = 1 << 0, 1 << 1 // pins, as bits

	probePlus, probeMinus, pulseReturn = 0, 1, 3 // inputs
)

// The timing of a pulse. A reading takes six conversions of at most 3.6 ms, four
// pauses and sixteen short transfers: 30 ms. Each pulse is 8 ms of that. Where the
// first reading fits no state there are three.
const (
	pulseRate = 860 // samples a second
	// pause is ten time constants of an input with 10 kΩ and 10 nF.
	pause = time.Millisecond
	// longestPulse is when a pulse is thrown away: a busy bus or a busy Pi stretched it,
	// and the capacitor in series with the probe has charged.
	longestPulse = 30 * time.Millisecond
	pulseTries   = 3
	// dischargeTime is six time constants of the capacitor through wet rods (53 ms with the
	// values of the wiring guide), two through a dry probe.
	dischargeTime = 300 * time.Millisecond
	// restRangeV resolves a tenth of a millivolt. Electrodes of lead have less than 2.1 V.
	restRangeV = 2.048
)

// errLate: each pulse took longer than longestPulse.
var errLate = errors.New("test pulses took too long: the bus or the Pi is busy")

// pulser gives a probe its test pulses and measures the answers. It leaves all pins
// open: no current flows between the readings. If this program dies in a pulse, the
// capacitor stops the current.
type pulser struct {
	expander         *tca9534.Dev
	kind             level.Pulses
	probe, reference input // of one pulse: probe alone
	own              input // the probe in the finer range of its own voltage
	wait             func(ctx context.Context, d time.Duration) error
	now              func() time.Duration
	busy             chan struct{} // one token while a reading runs: the ticks and the fast loop share the pins
	even             bool          // the last reading ended well: both pulses were short, and the capacitor has no charge
}

// measure gives the pulses of one reading. Errors wrap those of the chips, errLate or
// the context's. After a reading that failed, and after a late pulse, the capacitor is
// discharged through the probe first: that returns what the electrodes were given, at
// most 2.2 µF times the supply, and the next pulses begin from nothing.
func (p *pulser) measure(ctx context.Context) (s level.Signal, err error) {
	select {
	case p.busy <- struct{}{}:
	case <-ctx.Done():
		return s, fmt.Errorf("wait for the probe's other reading: %w", ctx.Err())
	}
	defer func() { <-p.busy }()
	defer func() {
		if halted := p.expander.Halt(); err == nil {
			err = expanderError(halted)
		}
	}()
	for range pulseTries {
		if p.kind == level.OnePulse {
			s, err = p.onePulse(ctx)
		} else if err = p.discharge(ctx); err == nil {
			s, err = p.bothPulses(ctx)
		}
		p.even = err == nil
		if !errors.Is(err, errLate) {
			break
		}
	}
	return s, err
}

// discharge holds both pins low for as long as the capacitor may need, unless the last
// reading left it without a charge. To be late here does no harm.
func (p *pulser) discharge(ctx context.Context) error {
	if p.even {
		return nil
	}
	if err := expanderError(p.expander.Set(0, driven|returned)); err != nil {
		return err
	}
	if err := p.wait(ctx, dischargeTime); err != nil {
		return fmt.Errorf("wait for the capacitor to discharge: %w", err)
	}
	return nil
}

// onePulse reads the input with the pin low, and again with it high.
func (p *pulser) onePulse(ctx context.Context) (s level.Signal, err error) {
	if s.Volts, err = p.under(ctx, 0, driven, &p.probe); err != nil {
		return s, err
	}
	began := p.now()
	if s.Forward.ProbeV, err = p.under(ctx, driven, driven, &p.probe); err != nil {
		return s, err
	}
	return s, p.inTime(began)
}

// bothPulses reads a probe in two wires. The two voltages of each polarity are read one
// after the other, and in the other order in the second: what the capacitor and the
// double layers charge meanwhile then cancels.
func (p *pulser) bothPulses(ctx context.Context) (s level.Signal, err error) {
	f, r := &s.Forward, &s.Reverse
	for _, polarity := range []struct {
		high          byte
		first, second *input
		v1, v2, rest  *float64
	}{
		{driven, &p.reference, &p.probe, &f.ReferenceV, &f.ProbeV, &f.RestV},
		{returned, &p.probe, &p.reference, &r.ProbeV, &r.ReferenceV, &r.RestV},
	} {
		began := p.now()
		if *polarity.v1, err = p.under(ctx, polarity.high, driven|returned, polarity.first); err != nil {
			return s, err
		}
		if *polarity.v2, err = voltsAt(ctx, polarity.second); err != nil {
			return s, err
		}
		if err = p.inTime(began); err != nil {
			return s, err
		}
		if *polarity.rest, err = p.rest(ctx); err != nil {
			return s, err
		}
	}
	return s, nil
}

// rest opens the driven pin and reads the voltage that the probe then has of its own.
// The other pin is low: the converter's input impedance would draw a current through
// the probe from a high one.
func (p *pulser) rest(ctx context.Context) (float64, error) {
	v, err := p.under(ctx, 0, returned, &p.own)
	if errors.Is(err, converter.ErrOverRange) {
		return restRangeV, nil
	}
	return v, err
}

// under sets the pins and reads an input once it has settled, in V.
func (p *pulser) under(ctx context.Context, high, driven byte, in *input) (float64, error) {
	if err := expanderError(p.expander.Set(high, driven)); err != nil {
		return 0, err
	}
	if err := p.wait(ctx, pause); err != nil {
		return 0, fmt.Errorf("wait for the pulse to settle: %w", err)
	}
	return voltsAt(ctx, in)
}

func voltsAt(ctx context.Context, in *input) (float64, error) {
	v, err := in.convert(ctx)
	return float64(v) / float64(physic.Volt), err
}

func (p *pulser) inTime(began time.Duration) error {
	if took := p.now() - began; took > longestPulse {
		return fmt.Errorf("%w: %v, at most %v", errLate, took, longestPulse)
	}
	return nil
}

// expanderError tells a missing expander from a failed bus, as for a converter.
func expanderError(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, tca9534.ErrLost):
		return fmt.Errorf("level probe's expander: %w: %w", converter.ErrLostConfig, err)
	default:
		return converter.TransferError("level probe's expander", err)
	}
}

// realWait returns after d or with the context's error.
func realWait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
