package sim

import "math"

// AddWater pours water into a cell, numbered from 1 at the positive end. Liquid
// above the bottom of the vent well runs over. The error names an unknown cell or
// an invalid amount.
func (y *Stand) AddWater(cell int, ml float64) error {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.followProbe()
	return y.pack.AddWater(cell, ml)
}

// Leak lets electrolyte out of a cell, numbered from 1 at the positive end, as
// a cracked jar does. The error is as for AddWater.
func (y *Stand) Leak(cell int, ml float64) error {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.followProbe()
	return y.pack.Leak(cell, ml)
}

// Connect plugs the pack in; its liquid sloshes for a minute or two.
func (y *Stand) Connect() { y.plug(true) }

// Unplug disconnects the pack and its sensors.
func (y *Stand) Unplug() { y.plug(false) }

func (y *Stand) plug(connected bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	if y.connected == connected {
		return
	}
	y.followProbe()
	y.connected = connected
	y.pack.Move()
	y.packSensor.plug(y.now, y.sensorPlugged())
	if !connected {
		// The charger notices at once that the plug is out, however long the
		// next step takes.
		y.charger.Supply(y.contactor.closedNow, y.mains, false)
	}
}

// Discharge takes out ampere-hours at once, like a shift's work, and returns how
// many there were.
func (y *Stand) Discharge(ah float64) float64 {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	return y.pack.Discharge(ah)
}

// SetLoad makes the machine draw a current from now on, in A; 0 or less means none.
// The machine switches off by itself when the pack is empty.
func (y *Stand) SetLoad(amps float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.loadA = 0
	if amps > 0 && !math.IsInf(amps, 1) {
		y.loadA = amps
	}
}

// SetAirflow switches the fan, and with it its airflow switch, on or off.
func (y *Stand) SetAirflow(on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.fan = on
}

// SetMains switches the charger's mains on or off.
func (y *Stand) SetMains(on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.mains = on
}
