package sensors

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// levelSense is the level probe's input.
type levelSense struct {
	probe level.Probe
}

func newLevelSense(l *wiring.Level) (*levelSense, error) {
	probe, err := level.New(l.Kind, l.Settings)
	return &levelSense{probe}, err
}

func (c *levelSense) put(out *bay.Readings, volts float64, at time.Duration, err error) (reading.Fault, error) {
	var span level.Span
	if err == nil {
		span, err = c.probe.Read(volts)
	}
	if err != nil {
		fault := faultOf(err)
		out.Level = reading.Level{At: at, Fault: fault}
		return fault, err
	}
	out.Level = reading.LevelBetween(span.LowMM, span.HighMM, at)
	return reading.None, nil
}
