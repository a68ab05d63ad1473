package level

import "math"

// Signal is what a driver measured at a probe. Which fields it has follows from the
// kind's Pulses.
type Signal struct {
	Volts   float64 // at the input, without a test pulse
	Forward Pulse
	Reverse Pulse // of BothPulses only
}

// Pulse is what was measured during a test pulse, in V. Of a kind with one pulse only
// ProbeV is.
type Pulse struct {
	ProbeV     float64 // between the probe's wires
	ReferenceV float64 // across reference_ohm: the current of the pulse
	RestV      float64 // between the wires after the pulse, with no current
}

// Pulses says which test pulses a kind of probe needs.
type Pulses uint8

// The ways to excite a probe.
const (
	NoPulses   Pulses = iota // it has a voltage of its own
	OnePulse                 // one polarity, against ground
	BothPulses               // both polarities in turn, in two wires
)

// Mean returns the mean of some signals, voltage by voltage.
func Mean(all []Signal) (mean Signal) {
	for i := range all {
		of := all[i].voltages()
		for j, v := range mean.voltages() {
			*v += *of[j] / float64(len(all))
		}
	}
	return mean
}

func (s *Signal) voltages() [7]*float64 {
	f, r := &s.Forward, &s.Reverse
	return [...]*float64{&s.Volts, &f.ProbeV, &f.ReferenceV, &f.RestV, &r.ProbeV, &r.ReferenceV, &r.RestV}
}

// finite reports whether every voltage is a number.
func (s *Signal) finite() bool {
	sum := 0.0
	for _, v := range s.voltages() {
		sum += *v
	}
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}
