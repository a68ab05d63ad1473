package sensors

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"bayward/agent/reading"
	"bayward/sensors/converter"
	"bayward/sensors/level"
	"bayward/sensors/max31865"
	"bayward/sensors/modbus"
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
		{converter.ErrNoAnswer, reading.NoAnswer},
		{converter.ErrBusStuck, reading.BusStuck},
		{converter.ErrNotReady, reading.Timeout},
		{converter.ErrOverRange, reading.OverRange},
		{converter.ErrLostConfig, reading.Contradictory},
		{converter.ErrForeign, reading.Contradictory},
		{converter.ErrCorrupted, reading.BadCRC},
		{w1therm.ErrBadCRC, reading.BadCRC},
		{w1therm.ErrGarbled, reading.BadCRC},
		{w1therm.ErrPowerOn, reading.PowerOn},
		{w1therm.ErrUnplugged, reading.NoAnswer},
		{w1therm.ErrShorted, reading.Short},
		{w1therm.ErrImplausible, reading.Implausible},
		{max31865.ErrOpen, reading.Open},
		{max31865.ErrShort, reading.Short},
		{max31865.ErrImplausible, reading.Implausible},
		{modbus.ErrNoAnswer, reading.NoAnswer},
		{modbus.ErrLine, reading.BusStuck},
		{modbus.ErrCorrupted, reading.BadCRC},
		{modbus.ErrOther, reading.Exchanged},
		{modbus.ErrRefused, reading.Contradictory},
		{modbus.ErrBusy, reading.Timeout},
		{modbus.ErrDevice, reading.Open},
		{modbus.ErrFrozen, reading.NotMoving},
		{modbus.ErrImplausible, reading.Implausible},
		{level.ErrOpen, reading.Open},
		{level.ErrShort, reading.Short},
		{level.ErrOverRange, reading.OverRange},
		{level.ErrImplausible, reading.Implausible},
		{level.ErrFilm, reading.Film},
		{level.ErrCrust, reading.Crust},
		{level.ErrCorroded, reading.Corroded},
		{level.ErrNoPulse, reading.NoPulse},
		{level.ErrForeign, reading.Leaking},
		{level.ErrBackVoltage, reading.TwoMetals},
		{level.ErrNoBackVoltage, reading.Bridged},
		{errLate, reading.Timeout},
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
