package sim

import (
	"errors"
	"math"
	"math/rand/v2"
	"time"

	"bayward/sensors/level"
	"bayward/sensors/sim/electrode"
)

// The parts beside a probe with test pulses, as the wiring guide gives them.
const (
	pulseSupplyV = 3.3
	driveOhm     = 10e3   // in front of the capacitor
	couplingF    = 2.2e-6 // in series with the probe
	pinOhm       = 60.0   // of a driven pin (from memory)
	inputOhm     = 6e6    // of an ADS1115 against ground (SBAS444E, common-mode input impedance)
	filterTau    = 100 * time.Microsecond
	touchingOhm  = 1.0
	pulseS       = 0.008  // of each polarity, for the assumptions alone
	crustOhm     = 6000.0 // of the fault, on each rod
	driftLeakS   = 7200.0 // after which a drifting loop leaks as much as its end resistor conducts
)

// pins are two pins of an expander.
type pins struct{ high, driven byte }

func (p pins) drives(pin int) bool { return p.driven>>pin&1 != 0 }

func (p pins) volts(pin int) float64 {
	if p.drives(pin) && p.high>>pin&1 != 0 {
		return pulseSupplyV
	}
	return 0
}

// smoothed is the input filter in front of the converter: after a change of the pins
// the inputs follow within its time constant.
type smoothed struct {
	before  map[signal]float64
	changed time.Duration
}

func (f *smoothed) of(at signal, now time.Duration, volts float64) float64 {
	was, ok := f.before[at]
	if !ok {
		return volts
	}
	return volts + (was-volts)*math.Exp(-float64(now-f.changed)/float64(filterTau))
}

// rodLoop is one rod or several in a supervised loop with test pulses.
type rodLoop struct {
	endOhm, referenceOhm float64
	bridgeOhm            float64 // of a splinter between the lowest rod and the common electrode
	offsetMM             float64
	probe                *electrode.Probe
	src                  electrode.Source
	pins                 pins
	filter               smoothed
	at                   time.Duration // the electrodes are advanced up to here
}

// newRodLoop gives each resistor its tolerance.
func newRodLoop(s *level.Settings, rng *rand.Rand) (circuit, error) {
	l := &rodLoop{
		endOhm: actual(s.EndOhm, rng), referenceOhm: actual(s.ReferenceOhm, rng), offsetMM: s.OffsetMM,
		src: electrode.Source{Ohm: math.Inf(1), Farad: couplingF},
	}
	errs := []error{
		above0("reference ohm", s.ReferenceOhm), above0("end ohm", s.EndOhm), above0("number of rods", float64(len(s.Rods))),
	}
	rods := make([]electrode.Rod, len(s.Rods))
	for i, rod := range s.Rods {
		rods[i] = electrode.Rod{HeightMM: rod.HeightMM, SeriesOhm: actual(rod.SeriesOhm, rng)}
		errs = append(errs, above0("series ohm", rod.SeriesOhm))
	}
	if len(rods) > 0 {
		l.bridgeOhm = rods[0].SeriesOhm
	}
	l.probe = electrode.NewProbe(l.endOhm, rods...)
	return l, errors.Join(errs...)
}

// scene is what surrounds the rods; their heights have no offset.
func (l *rodLoop) scene(p *plight) *electrode.Scene {
	sc := p.scene
	sc.LevelMM -= l.offsetMM
	sc.LeakSiemens = p.driftS / driftLeakS / l.endOhm
	if p.bridged {
		sc.LeakSiemens += 1 / l.bridgeOhm
	}
	return &sc
}

// advance lets the electrodes and the capacitor follow the pins up to now.
func (l *rodLoop) advance(p *plight) {
	s := (p.at - l.at).Seconds()
	l.at = p.at
	if s <= 0 {
		return
	}
	sc := l.scene(p)
	switch {
	case p.short || p.replaced:
		l.src.OnFaradV += (l.src.Volts - l.src.OnFaradV) * -math.Expm1(-s/(l.src.Ohm*l.src.Farad))
		l.probe.Step(s, sc, &electrode.Source{Ohm: touchingOhm})
	case p.open:
		l.probe.Step(s, sc, &electrode.Source{Ohm: math.Inf(1)})
	default:
		l.probe.Step(s, sc, &l.src)
	}
}

func (l *rodLoop) drive(high, driven byte, p plight) {
	l.advance(&p)
	before := map[signal]float64{}
	for _, at := range []signal{levelProbe, levelReturn, levelDrive} {
		before[at] = l.volts(at, p)
	}
	l.filter = smoothed{before, p.at}
	l.pins = pins{high, driven}
	l.src.Ohm = math.Inf(1)
	if l.src.Volts = 0; l.pins.drives(0) && l.pins.drives(1) {
		l.src.Ohm = driveOhm + l.referenceOhm + 2*pinOhm
		l.src.Volts = l.pins.volts(0) - l.pins.volts(1)
	}
}

func (l *rodLoop) volts(at signal, p plight) float64 {
	l.advance(&p)
	probeV, amps := 0.0, 0.0
	switch drives := l.src.Volts - l.src.OnFaradV; {
	case p.short || p.replaced:
		amps = drives / (l.src.Ohm + touchingOhm)
		probeV = amps * touchingOhm
	case p.open && !math.IsInf(l.src.Ohm, 1):
		probeV = drives
	case p.open:
	default:
		probeV = l.probe.Volts(l.scene(&p), &l.src)
		amps = (drives - probeV) / l.src.Ohm
		// The converter's input loads the first wire, which the probe holds to the second.
		first := l.pins.volts(1) + amps*l.referenceOhm + probeV
		probeV -= first / inputOhm / (1/l.probe.Ohm(l.scene(&p)) + 1/l.src.Ohm)
	}
	v := l.pins.volts(1)
	switch at {
	case levelProbe:
		v += amps*(pinOhm+l.referenceOhm) + probeV
	case levelReturn:
		v += amps * (pinOhm + l.referenceOhm)
	default:
		v += amps * pinOhm
	}
	return l.filter.of(at, p.at, v)
}

// potential is one rod against the pack's minus, with a test pulse.
type potential struct {
	rod              *electrode.Single
	pulseOhm, endOhm float64
	offsetMM         float64
	pins             pins
	filter           smoothed
	at               time.Duration
}

func newPotential(s *level.Settings, rng *rand.Rand) (circuit, error) {
	errs := []error{
		above0("pulse ohm", s.PulseOhm), above0("end ohm", s.EndOhm), above0("number of rods", float64(len(s.Rods))),
	}
	if len(s.Rods) == 0 {
		return nil, errors.Join(errs...)
	}
	rod := electrode.Rod{HeightMM: s.Rods[0].HeightMM, SeriesOhm: actual(s.Rods[0].SeriesOhm, rng)}
	return &potential{
		rod: electrode.NewSingle(rod), pulseOhm: actual(s.PulseOhm, rng), endOhm: actual(s.EndOhm, rng), offsetMM: s.OffsetMM,
	}, errors.Join(append(errs, above0("series ohm", rod.SeriesOhm))...)
}

// source is what loads the wire: the pin through its resistor, and the end resistor.
func (l *potential) source(p *plight) *electrode.Source {
	pin, end := 0.0, 0.0
	if l.pins.drives(0) {
		pin = 1 / (l.pulseOhm + pinOhm)
	}
	if !p.open {
		end = 1 / l.endOhm
	}
	if p.short || p.replaced {
		end += 1 / touchingOhm
	}
	end += 1e-9 // the converter's input
	return &electrode.Source{Volts: l.pins.volts(0) * pin / (pin + end), Ohm: 1 / (pin + end)}
}

func (l *potential) scene(p *plight) (sc *electrode.Scene, cellsV float64) {
	at := p.scene
	at.LevelMM -= l.offsetMM
	if p.open {
		at.LevelMM = liftedMM
	}
	return &at, p.cellsV
}

func (l *potential) advance(p *plight) {
	s := (p.at - l.at).Seconds()
	l.at = p.at
	if sc, cellsV := l.scene(p); s > 0 {
		l.rod.Step(s, sc, cellsV, l.source(p))
	}
}

func (l *potential) drive(high, driven byte, p plight) {
	l.filter = smoothed{map[signal]float64{levelProbe: l.volts(levelProbe, p)}, p.at}
	l.pins = pins{high, driven}
}

func (l *potential) volts(at signal, p plight) float64 {
	l.advance(&p)
	src := l.source(&p)
	v := src.Volts
	if !p.open {
		sc, cellsV := l.scene(&p)
		v, _ = l.rod.Volts(sc, cellsV, src)
	}
	return l.filter.of(at, p.at, v)
}

func (l *rodLoop) form(on bool) { l.probe.Form(on) }

func (l *potential) form(on bool) { l.rod.Form(on) }
