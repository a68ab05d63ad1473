package sim

import (
	"time"

	"bayward/sensors/sim/electrode"
	"bayward/sensors/wiring"
)

// Assumed is what the simulator assumes of a bay's parts, and a real bay may
// contradict.
type Assumed struct {
	// Noise is the standard deviation of one reading, by the part's name in the
	// wiring and in the unit of the reading.
	Noise          map[string]float64
	ContactorOpens time.Duration
	WatchdogHolds  time.Duration
	// PulseLeavesMV is what a test pulse leaves on the electrodes of a probe of rods.
	PulseLeavesMV float64
}

// AssumedOf returns the assumptions for a bay's wiring.
func AssumedOf(w *wiring.Parts) Assumed {
	a := Assumed{Noise: map[string]float64{}, ContactorOpens: dropOut, WatchdogHolds: defaultHold}
	noiseV := func(in *wiring.Input) float64 { return noiseLSB * in.StepV() }
	if v := w.Voltage; v != nil {
		a.Noise["voltage"] = noiseV(&v.Input) * v.Ratio
	}
	if c := w.Current; c != nil {
		a.Noise["current"] = noiseV(&c.Input) * max(c.AmperesPerVolt, -c.AmperesPerVolt)
	}
	if l := w.Level; l != nil && l.ShuntOhm > 0 {
		a.Noise["level"] = noiseV(&l.Input) / l.ShuntOhm / 0.016 * (l.HighMM - l.LowMM)
	}
	if l := w.Level; l != nil && l.ReferenceOhm > 0 {
		a.PulseLeavesMV = 1000 * electrode.LeavesV(pulseSupplyV/(driveOhm+l.ReferenceOhm)*pulseS)
	}
	if h := w.Hydrogen; h != nil {
		a.Noise["hydrogen"] = noiseV(&h.Input) * h.PerVolt
	}
	return a
}
