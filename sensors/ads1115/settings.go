package ads1115

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
)

// Mux is the input pair of a conversion; its value is the MUX field of the
// config register (data sheet 9.6.3, table "Config Register Field
// Descriptions").
type Mux uint8

// The inputs: four differential pairs and each pin against ground.
const (
	Diff01  Mux = iota // AIN0 − AIN1
	Diff03             // AIN0 − AIN3
	Diff13             // AIN1 − AIN3
	Diff23             // AIN2 − AIN3
	Single0            // AIN0 against ground
	Single1
	Single2
	Single3
	numMux
)

// Ground means ground as the second input of MuxFor.
const Ground = -1

var muxPins = [numMux]struct{ plus, minus int }{
	{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, Ground}, {1, Ground}, {2, Ground}, {3, Ground},
}

// MuxFor returns the setting that measures pin plus (0 to 3) against pin minus
// (1, 3 or Ground), and false for a pair that the chip does not have.
func MuxFor(plus, minus int) (Mux, bool) {
	for m, pins := range muxPins {
		if pins.plus == plus && pins.minus == minus {
			return Mux(m), true
		}
	}
	return 0, false
}

// String returns the pins, such as "AIN0-AIN1" or "AIN2".
func (m Mux) String() string {
	switch {
	case m >= numMux:
		return fmt.Sprintf("mux-%d", uint8(m))
	case muxPins[m].minus == Ground:
		return fmt.Sprintf("AIN%d", muxPins[m].plus)
	default:
		return fmt.Sprintf("AIN%d-AIN%d", muxPins[m].plus, muxPins[m].minus)
	}
}

// Gain is the range of the amplifier; its value is the PGA field of the config
// register.
type Gain uint8

// The ranges, by full scale in millivolts: a range of 2048 measures −2.048 V
// to +2.048 V.
const (
	FS6144 Gain = iota
	FS4096
	FS2048
	FS1024
	FS512
	FS256
	numGains
)

var fullScales = [numGains]physic.ElectricPotential{
	6144 * physic.MilliVolt, 4096 * physic.MilliVolt, 2048 * physic.MilliVolt,
	1024 * physic.MilliVolt, 512 * physic.MilliVolt, 256 * physic.MilliVolt,
}

// GainFor returns the range with this full scale, and false for one that the chip
// does not have.
func GainFor(fullScale physic.ElectricPotential) (Gain, bool) {
	for g, fs := range fullScales {
		if fs == fullScale {
			return Gain(g), true
		}
	}
	return 0, false
}

// FullScale returns the largest voltage of the range, 0 for a gain that the chip
// does not have.
func (g Gain) FullScale() physic.ElectricPotential {
	if g >= numGains {
		return 0
	}
	return fullScales[g]
}

// String returns the range, such as "±4.096V".
func (g Gain) String() string {
	if g >= numGains {
		return fmt.Sprintf("gain-%d", uint8(g))
	}
	return "±" + fullScales[g].String()
}

// Rate is the data rate; its value is the DR field of the config register.
type Rate uint8

// The data rates, in samples a second.
const (
	SPS8 Rate = iota
	SPS16
	SPS32
	SPS64
	SPS128
	SPS250
	SPS475
	SPS860
	numRates
)

var samplesPerSecond = [numRates]int{8, 16, 32, 64, 128, 250, 475, 860}

// RateFor returns the rate with this many samples a second, and false for one that
// the chip does not have.
func RateFor(sps int) (Rate, bool) {
	for r, n := range samplesPerSecond {
		if n == sps {
			return Rate(r), true
		}
	}
	return 0, false
}

// Period returns the nominal time of one conversion: 1/rate, which the chip's own
// oscillator keeps to ±10 % (data sheet 7.5, "Data rate variation"). It returns 0
// for a rate that the chip does not have.
func (r Rate) Period() time.Duration {
	if r >= numRates {
		return 0
	}
	return time.Second / time.Duration(samplesPerSecond[r])
}

// String returns the rate, such as "128SPS".
func (r Rate) String() string {
	if r >= numRates {
		return fmt.Sprintf("rate-%d", uint8(r))
	}
	return fmt.Sprintf("%dSPS", samplesPerSecond[r])
}
