package sim

// liftedMM is the level at a probe in the air: far below any plate.
const liftedMM = -1000

// LiftProbe takes the level probe out of its cell, or puts it back.
func (y *Stand) LiftProbe(out bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.followProbe()
	y.lifted = out
}

// ReplaceProbe puts a loop calibrator, or for rods a clip, in the level probe's place
// at the measuring box, or puts the probe back.
func (y *Stand) ReplaceProbe(on bool) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.followProbe()
	y.replaced = on
}

// SetInsulation sets the resistance from the pack's plus and from its minus to the
// Pi's ground, Ω.
func (y *Stand) SetInsulation(plusOhm, minusOhm float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	y.leakOhm = [2]float64{plusOhm, minusOhm}
}

// LeakV returns the voltages over a resistor between the Pi's ground and the pack's
// plus, and between it and its minus: with the leak to the other pole it divides the
// pack's voltage.
func (y *Stand) LeakV(ohm float64) (plus, minus float64) {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	parallel := func(a, b float64) float64 { return a * b / (a + b) }
	atPlus, atMinus := parallel(ohm, y.leakOhm[0]), parallel(ohm, y.leakOhm[1])
	v := y.pack.Volts()
	return v * atPlus / (atPlus + y.leakOhm[1]), v * atMinus / (atMinus + y.leakOhm[0])
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
