package sim

// liftedMM is the level that a probe feels in the air: far below any plate.
const liftedMM = -1000

// LiftProbe takes the level probe out of its cell, or puts it back.
func (y *Bay) LiftProbe(out bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.lifted = out
}

// TouchPackSensor puts a hand on the pack's temperature sensor that warms it by
// so many kelvins in the end; 0 lets go of it.
func (y *Bay) TouchPackSensor(k float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.packSensor.touch(k)
}

// TouchAirSensor is TouchPackSensor for the sensor of the air.
func (y *Bay) TouchAirSensor(k float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.airSensor.touch(k)
}

// BridgeComplete closes the charger's "complete" contact by a wire, or takes
// the wire off.
func (y *Bay) BridgeComplete(on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.bridged = on
}

// GiveGas holds test gas with so many per cent of hydrogen at the gas sensor; 0
// takes it away.
func (y *Bay) GiveGas(pct float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.gasPct = max(pct, 0)
}
