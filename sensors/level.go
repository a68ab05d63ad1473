package sensors

import (
	"fmt"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
	"bayward/sensors/level"
)

// prober is a level probe's circuit.
type prober interface {
	Read(volts float64) (level.Span, error)
}

// level is the level probe's input.
type levelSense struct {
	probe prober
}

func newLevelSense(l *config.Level) (*levelSense, error) {
	if l.Kind == "4-20ma" {
		probe, err := level.NewTransmitter(level.Transmitter{
			ShuntOhm: l.ShuntOhm, LowMM: l.LowMM + l.OffsetMM, HighMM: l.HighMM + l.OffsetMM,
		})
		return &levelSense{probe: probe}, err
	}
	tolerance := level.RodTolerance
	switch l.Kind {
	case "rod":
	case "ladder":
		tolerance = level.LadderTolerance
	default:
		return nil, fmt.Errorf("kind %q is not one of rod, ladder, 4-20ma", l.Kind)
	}
	o := level.LoopOpts{ExcitationV: l.ExcitationV, PullOhm: l.PullOhm, EndOhm: l.EndOhm, Tolerance: tolerance}
	for _, rod := range l.Rods {
		o.Rods = append(o.Rods, level.Rod{HeightMM: rod.HeightMM + l.OffsetMM, SeriesOhm: rod.SeriesOhm})
	}
	probe, err := level.NewLoop(o)
	return &levelSense{probe: probe}, err
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
