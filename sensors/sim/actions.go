package sim

import "math"

// AddWater pours water into a cell, numbered from 1 at the positive end. What
// does not fit under the bottom of the vent well runs over. The error names a cell that is
// not there or an amount that is none.
func (y *Bay) AddWater(cell int, ml float64) error {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	return y.pack.AddWater(cell, ml)
}

// Leak lets electrolyte out of a cell, numbered from 1 at the positive end, as
// a cracked jar does. The error is as for AddWater.
func (y *Bay) Leak(cell int, ml float64) error {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	return y.pack.Leak(cell, ml)
}

// Connect plugs the pack in; its liquid sloshes for a minute or two.
func (y *Bay) Connect() { y.plug(true) }

// Unplug takes the pack away, and its sensors with it.
func (y *Bay) Unplug() { y.plug(false) }

func (y *Bay) plug(connected bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	if y.connected == connected {
		return
	}
	y.connected = connected
	y.pack.Move()
	y.packSensor.plug(y.now, y.sensorPlugged())
	if !connected {
		// The charger sees the plug go at once, however long the next
		// step takes.
		y.charger.Supply(y.contactor.closedNow, y.mains, false)
	}
}

// Discharge takes ampere-hours out at once, as a shift's work does, and returns
// what there was to take.
func (y *Bay) Discharge(ah float64) float64 {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	return y.pack.Discharge(ah)
}

// SetLoad lets the machine draw a current from now on, in A; 0 or less is none.
// The machine switches off by itself when the pack is empty.
func (y *Bay) SetLoad(amps float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.loadA = 0
	if amps > 0 && !math.IsInf(amps, 1) {
		y.loadA = amps
	}
}

// SetAirflow turns the fan, and with it the proof that air moves, on or off.
func (y *Bay) SetAirflow(on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.fan = on
}

// SetMains gives the charger its mains, or takes it away.
func (y *Bay) SetMains(on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.mains = on
}
