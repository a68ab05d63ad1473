package sensors

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"bayward/agent/reading"
	"bayward/sensors/ads1115"
	"bayward/sensors/level"
	"bayward/sensors/w1therm"
)

// errImplausible: a calibrated value is not a number, or is outside the range of
// its sensor.
var errImplausible = errors.New("outside the sensor's range")

// faultOf returns the fault for an error of a driver. An error that is not listed
// is still a fault: there was no usable answer.
func faultOf(err error) reading.Fault {
	if err == nil {
		return reading.None
	}
	for _, row := range [...]struct {
		err   error
		fault reading.Fault
	}{
		{ads1115.ErrNoAnswer, reading.NoAnswer},
		{ads1115.ErrBusStuck, reading.BusStuck},
		{ads1115.ErrNotReady, reading.Timeout},
		{ads1115.ErrOverRange, reading.OverRange},
		{ads1115.ErrLostConfig, reading.Contradictory},
		{ads1115.ErrForeign, reading.Contradictory},
		{w1therm.ErrBadCRC, reading.BadCRC},
		{w1therm.ErrGarbled, reading.BadCRC},
		{w1therm.ErrPowerOn, reading.PowerOn},
		{w1therm.ErrUnplugged, reading.NoAnswer},
		{w1therm.ErrShorted, reading.Short},
		{w1therm.ErrImplausible, reading.Implausible},
		{level.ErrOpen, reading.Open},
		{level.ErrShort, reading.Short},
		{level.ErrOverRange, reading.OverRange},
		{level.ErrImplausible, reading.Implausible},
		{level.ErrContradictory, reading.Contradictory},
		{errImplausible, reading.Implausible},
		{errDead, reading.Open},
		{context.DeadlineExceeded, reading.Timeout},
		{context.Canceled, reading.Timeout},
	} {
		if errors.Is(err, row.err) {
			return row.fault
		}
	}
	return reading.NoAnswer
}

// quietFor is the least time between two log lines for a sensor whose faults come
// and go.
const quietFor = time.Minute

// teller logs a line when a sensor's fault changes.
type teller struct {
	log  *slog.Logger // with bay and sensor; nil is silent
	last reading.Fault
	at   time.Duration
	said bool
}

// tell is called with the result of every reading.
func (t *teller) tell(err error, fault reading.Fault, now time.Duration) {
	switch {
	case t.log == nil || t.said && fault == t.last, !t.said && fault == reading.None:
		return
	case t.said && now-t.at < quietFor:
		return
	case fault == reading.None:
		t.log.Info("reading is good again")
	default:
		t.log.Warn("reading has a fault", "fault", fault.String(), "error", err.Error())
	}
	t.last, t.at, t.said = fault, now, true
}
