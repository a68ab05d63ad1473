package sensors

import (
	"errors"
	"fmt"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/sensors/wiring"
)

// A gas sensor has a live zero: in clean air it sends a voltage, zero_v. Less than this
// share of it is no air at all but a sensor without supply or an input with a broken
// wire, which the pull-down of deploy/wiring.md holds at 0 V.
const deadGas = 0.5

// minHydrogenPct allows for the drift of the zero of a sensor that lives.
const minHydrogenPct, maxHydrogenPct = -0.25, 100

// gas is a hydrogen sensor.
type gas struct {
	linear
	deadV float64 // below: no sensor
}

// errDead: less voltage than the sensor sends in clean air.
var errDead = errors.New("the sensor sends nothing: broken wire or no supply")

func newGas(h *wiring.Analog) *gas {
	return &gas{linear{h.ZeroV, h.PerVolt, minHydrogenPct, maxHydrogenPct, reading.Hydrogen}, deadGas * h.ZeroV}
}

func (g *gas) put(out *bay.Readings, volts float64, at time.Duration, err error) (reading.Fault, error) {
	if err == nil && volts < g.deadV {
		err = fmt.Errorf("%w: %.4g V, at least %.4g V in clean air", errDead, volts, g.deadV)
	}
	return g.linear.put(out, volts, at, err)
}
