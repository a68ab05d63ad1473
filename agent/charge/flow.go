package charge

import (
	"time"

	"bayward/agent/electrolyte"
)

// Thresholds of flow. Currents are shares of the capacity, per hour.
const (
	startRate = 0.01  // charging current flows from here on, C/100
	stopRate  = 0.004 // and stops below: above the offset of usual sensors
	// A cell at heldV or above is on a charger, however small the current. A full
	// cell rests at 2.13 V (DOE-HDBK-1084-95), and 0.08 V more when the rest begins
	// (see electrolyte.StateOfChargeFromRest); float is 2.23 to 2.27 V. Not
	// referred to 25 °C, because a rest voltage hardly changes with temperature.
	heldV = 2.30
	// When hot, a charger that follows the temperature holds less: then it is
	// heldV25 referred to 25 °C.
	heldV25 = 2.36
	// Without a current sensor: no cell at rest is above onV, and when the current
	// stops the voltage falls at once by more than dropV.
	onV, offV = 2.20, 2.15
	riseV     = 0.015
	dropV     = 0.08
	// A low float ends with a smaller fall: below the voltage at which cells float
	// (2.23 to 2.27 V) no charger lets it sink by as much for ten minutes (the fall and
	// the time are the project's own).
	lowFloatV, lowDropV = 2.23, 0.04
	// A charger that steps down lets the voltage fall like one that stops. But a
	// cell at rest this high keeps sinking, by more than 3 mV in ten minutes (the
	// open 12 V 17 Ah record, Sulzer et al. 2019).
	sinkV, sinkFor = 0.003, 10 * time.Minute
	confirm        = time.Minute
	// offHold bridges the gaps of a pulsed charger. It is less than confirm, so one
	// disturbed reading makes no charge.
	offHold = 45 * time.Second
)

// flow tracks whether charging current is flowing.
type flow struct {
	on    bool
	since time.Duration // of the present state
	raw   bool          // by this tick alone
	rawAt time.Duration // when raw last changed
	peakV float64       // highest voltage while on
	lowV  float64       // lowest voltage while off
	// floatAt is when the voltage was last that of a charger that floats, or more.
	floatAt time.Duration
	refV    float64       // a voltage while off from which none sank by sinkV ...
	refAt   time.Duration // ... since then
}

// see processes one tick's verdict: on at once, off after a pause.
func (f *flow) see(raw bool, now time.Duration) {
	if raw != f.raw {
		f.raw, f.rawAt = raw, now
	}
	switch {
	case raw && !f.on:
		f.on, f.since = true, now
	case !raw && f.on && now-f.rawAt >= offHold:
		f.on, f.since = false, f.rawAt
	}
}

// lose processes a tick with unknown flow: it counts as off.
func (f *flow) lose(now time.Duration) {
	if f.on {
		f.since = now
	}
	f.on, f.raw, f.rawAt = false, false, now
}

// byCurrent has hysteresis, so a tapered current does not chatter. While a charger
// holds the voltage, a very small tail is still a charge.
func (f *flow) byCurrent(now time.Duration, currentA, capacityAh float64, held bool) {
	rate := currentA / capacityAh
	switch {
	case rate >= startRate:
		f.see(true, now)
	case rate < stopRate:
		f.see(f.on && held && rate > -stopRate, now)
	default:
		// A pack plugged in almost full never takes more than this.
		f.see(f.raw || held, now)
	}
}

// byVoltage judges by the cell voltage where no current is measured.
func (f *flow) byVoltage(now time.Duration, cellV float64) {
	if f.raw {
		f.peakV = max(f.peakV, cellV)
		off := cellV < offV || cellV < f.peakV-dropV || f.sunk(now, cellV)
		f.see(!off, now)
		if off {
			f.lowV, f.refV, f.refAt = cellV, cellV, now
		}
		return
	}
	f.lowV = min(f.lowV, cellV)
	if cellV < f.refV-sinkV {
		f.refV, f.refAt = cellV, now
	}
	stands := now-f.refAt >= sinkFor
	on := cellV >= onV && (stands || cellV >= f.lowV+riseV)
	f.see(on, now)
	if on {
		f.peakV, f.floatAt = cellV, now
	}
}

// sunk reports whether the voltage has been below a low float for long.
func (f *flow) sunk(now time.Duration, cellV float64) bool {
	if f.peakV >= lowFloatV || cellV >= min(onV, f.peakV-lowDropV) {
		f.floatAt = now
	}
	return now-f.floatAt >= sinkFor
}

// held reports whether a cell's voltage is so high that a charger must hold it.
func held(cellV, atC float64) bool {
	return cellV >= min(heldV, electrolyte.ChargeLimitAt(heldV25, atC))
}
