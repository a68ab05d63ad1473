package charge

import "time"

// Thresholds of flow. Currents are in parts of the capacity, per hour.
const (
	startRate = 0.01  // charging current flows from here on, C/100
	stopRate  = 0.004 // and stops below: above the offset of usual sensors
	// Without a current sensor: no cell at rest stands above onV (the rest
	// voltage of a full one is 2.13, DOE-HDBK-1084-95), and when the current
	// stops the voltage falls at once by more than dropV.
	onV, offV = 2.20, 2.15
	riseV     = 0.03
	dropV     = 0.08
	confirm   = time.Minute
)

// flow tells whether charging current flows now.
type flow struct {
	on    bool
	since time.Duration // of the present state
	peakV float64       // highest voltage while on, slowly forgotten
	lowV  float64       // lowest voltage while off
	armed bool          // the voltage was low enough to see a rise
}

func (f *flow) set(on bool, now time.Duration) {
	if on != f.on {
		f.on, f.since = on, now
	}
}

// byCurrent has hysteresis, so that a tapered current does not chatter.
func (f *flow) byCurrent(now time.Duration, currentA, capacityAh float64) {
	switch {
	case currentA >= startRate*capacityAh:
		f.set(true, now)
	case currentA < stopRate*capacityAh:
		f.set(false, now)
	}
}

// byVoltage judges by the voltage of one cell where no current is measured.
func (f *flow) byVoltage(now time.Duration, cellV float64) {
	if f.on {
		f.peakV = max(f.peakV, cellV)
		if cellV < offV || cellV < f.peakV-dropV {
			f.set(false, now)
			f.lowV = cellV
		}
		return
	}
	if cellV < onV-riseV {
		f.armed = true
	}
	f.lowV = min(f.lowV, cellV)
	if cellV >= onV && (f.armed || cellV >= f.lowV+riseV) {
		f.set(true, now)
		f.peakV = cellV
	}
}
