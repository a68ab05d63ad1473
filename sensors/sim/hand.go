package sim

// liftedMM is the level at a probe in the air: far below any plate.
const liftedMM = -1000

// LiftProbe takes the level probe out of its cell, or puts it back.
func (y *Stand) LiftProbe(out bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.lifted = out
}

// ReplaceProbe puts a loop calibrator, or for rods a clip, in the level probe's place
// at the measuring box, or puts the probe back.
func (y *Stand) ReplaceProbe(on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.replaced = on
}

// TouchPackSensor puts a hand on the pack's temperature sensor, which eventually
// warms it by so many kelvins; 0 removes the hand.
func (y *Stand) TouchPackSensor(k float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.packSensor.touch(k)
}

// TouchAirSensor is TouchPackSensor for the air's sensor.
func (y *Stand) TouchAirSensor(k float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.airSensor.touch(k)
}

// SetContact makes a contact show what it is there for, by hand: with a bridge at a
// make contact's terminals, or by taking a break contact's wire off; or puts it back.
// The key is the one in the wiring, such as "charger_complete".
func (y *Stand) SetContact(key string, closed bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.bridged[key] = closed
}

// GiveGas holds test gas with so many per cent of hydrogen to the gas sensor; 0
// removes it.
func (y *Stand) GiveGas(pct float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.gasPct = max(pct, 0)
}
