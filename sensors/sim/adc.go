package sim

import (
	"math"
	"math/rand/v2"
	"time"
)

// The registers of an ADS1115, data sheet SBAS444E section 8.6.
const (
	regConversion = iota
	regConfig
	regLow
	regHigh
	numRegs
)

const (
	configReset   = 0x8583
	lowReset      = 0x8000
	highReset     = 0x7fff
	bitStart      = 1 << 15
	bitSingle     = 1 << 8
	wakeUp        = 25 * time.Microsecond
	noiseLSB      = 1.5
	noisyFactor   = 100
	spikeOneIn    = 8
	spikeLSB      = 20000
	oscillatorOff = 0.08
	clampV        = 0.3 // of the input's protection diodes beyond its supply
)

// signal is what an input is connected to.
type signal uint8

const (
	floating signal = iota
	packVoltage
	packCurrent
	shuntReturn
	levelProbe
	hydrogenSensor
)

// source is one input's wire.
type source struct {
	bay  *Stand
	what signal
}

// adc is one ADS1115 at register level.
type adc struct {
	bench   *Bench
	bays    []*Stand
	in      [4]source
	regs    [numRegs]uint16
	pointer uint8
	rng     *rand.Rand
	slow    float64 // the oscillator's period over the nominal one

	converting bool
	doneAt     time.Duration
	pending    uint16 // the result of the running conversion
}

func newADC(b *Bench, seed uint64, addr uint16) *adc {
	d := &adc{bench: b, rng: rand.New(rand.NewPCG(seed, uint64(addr)))}
	d.slow = 1 + oscillatorOff*(2*d.rng.Float64()-1)
	d.reset()
	return d
}

// reset is the power-up state.
func (d *adc) reset() {
	d.regs = [numRegs]uint16{0, configReset, lowReset, highReset}
	d.pointer, d.converting = 0, false
}

// faulty reports whether any bay on the converter has a fault.
func (d *adc) faulty(f FaultKind) bool {
	for _, y := range d.bays {
		if y.faults[f] {
			return true
		}
	}
	return false
}

// write handles the bytes that the bus writes after the address.
func (d *adc) write(w []byte) {
	if len(w) == 0 {
		return
	}
	d.pointer = w[0] & 3
	if len(w) < 3 {
		return
	}
	value := uint16(w[1])<<8 | uint16(w[2])
	switch d.pointer {
	case regConfig:
		d.configure(value)
	case regLow, regHigh:
		d.regs[d.pointer] = value
	}
}

// configure stores a new configuration and starts a conversion if it requests one.
func (d *adc) configure(value uint16) {
	d.update()
	d.regs[regConfig] = value
	single := value&bitSingle != 0
	switch {
	case d.converting: // the running one keeps its settings
	case single && value&bitStart == 0:
	default:
		d.start(d.bench.clock())
	}
	if d.faulty(ConfigReset) {
		d.reset()
	}
}

// start begins a conversion at a time.
func (d *adc) start(at time.Duration) {
	d.converting = true
	d.pending = d.sample()
	d.doneAt = at + wakeUp + d.period()
}

// period returns the time of one conversion by the converter's own clock.
func (d *adc) period() time.Duration {
	rates := [8]float64{8, 16, 32, 64, 128, 250, 475, 860}
	return time.Duration(float64(time.Second) / rates[d.regs[regConfig]>>5&7] * d.slow)
}

// update advances the converter's time.
func (d *adc) update() {
	now := d.bench.clock()
	if !d.converting || now < d.doneAt || d.faulty(ConversionStuck) {
		return
	}
	d.regs[regConversion] = d.pending
	if d.regs[regConfig]&bitSingle != 0 {
		d.converting = false
		return
	}
	period := d.period()
	if late := now - d.doneAt; late >= period {
		d.doneAt += late - late%period
		d.regs[regConversion] = d.sample()
	}
	d.pending = d.sample()
	d.doneAt += period
}

// read fills r with the register that the pointer selects, repeatedly.
func (d *adc) read(r []byte) {
	d.update()
	value := d.regs[d.pointer]
	if d.pointer == regConfig {
		value |= bitStart
		if d.converting {
			value &^= bitStart
		}
	}
	for i := range r {
		r[i] = byte(value >> (8 * (1 - i&1)))
	}
}

// sample returns one conversion of the inputs' voltages.
func (d *adc) sample() uint16 {
	config := d.regs[regConfig]
	ranges := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}
	lsb := ranges[config>>9&7] / 32768
	sigma := noiseLSB
	if d.faulty(Noise) {
		sigma *= noisyFactor
	}
	code := d.differential(config>>12&7)/lsb + sigma*d.rng.NormFloat64()
	if d.faulty(Spikes) && d.rng.IntN(spikeOneIn) == 0 {
		code += spikeLSB * (2*d.rng.Float64() - 1)
	}
	return uint16(int16(math.Round(min(max(code, math.MinInt16), math.MaxInt16))))
}

// differential returns the voltage between the inputs that a multiplexer setting
// selects.
func (d *adc) differential(mux uint16) float64 {
	switch mux {
	case 0:
		return d.volts(0) - d.volts(1)
	case 1:
		return d.volts(0) - d.volts(3)
	case 2:
		return d.volts(1) - d.volts(3)
	case 3:
		return d.volts(2) - d.volts(3)
	}
	return d.volts(int(mux - 4))
}

// volts returns the voltage at an input, limited by its protection diodes.
func (d *adc) volts(channel int) float64 {
	s := d.in[channel]
	const floatV = 0.12 // an open input rests somewhere above ground
	v := floatV
	if s.bay != nil {
		v = s.bay.signalV(s.what)
		s.bay.inputMaxV = max(s.bay.inputMaxV, v)
	}
	return min(max(v, -clampV), supplyV+clampV)
}
