package reading

import (
	"fmt"
	"strings"
	"time"
)

// Sensor is one thing that is measured in a bay. The zero value is none.
type Sensor uint8

// The sensors, in the order in which they are listed everywhere.
const (
	NoSensor Sensor = iota
	PackVoltage
	PackCurrent
	PackTemperature
	AmbientTemperature
	ElectrolyteLevel
	Hydrogen
	Airflow           // the fan's proof
	ContactorFeedback // the contactor's own contact
	ChargerComplete   // the charger's contact
	NumSensors
)

// rows has what is the same of a sensor wherever it is fitted.
var rows = [NumSensors]struct {
	name   string
	column string // of a trace; "" where it is the name with underscores
	every  time.Duration
	well   float64 // see Well
}{
	PackVoltage:        {name: "pack-voltage", column: "pack_v"},
	PackCurrent:        {name: "pack-current", column: "current_a"},
	PackTemperature:    {name: "pack-temperature", column: "pack_c", every: oneWireEvery},
	AmbientTemperature: {name: "ambient-temperature", column: "ambient_c", every: oneWireEvery},
	ElectrolyteLevel:   {name: "level", column: "level_mm"},
	Hydrogen:           {name: "hydrogen", column: "hydrogen_pct"},
	Airflow:            {name: "airflow", well: 1},
	ContactorFeedback:  {name: "contactor-feedback", column: "contactor_closed"},
	ChargerComplete:    {name: "charger-complete"},
}

// oneWireEvery spares a 1-wire bus that several bays share: one ambient sensor for
// eight bays is not read eight times. It covers the time of one conversion.
const oneWireEvery = 2 * time.Second

// String is the sensor's name in metrics and messages, such as "pack-voltage".
func (s Sensor) String() string {
	if s == NoSensor || s >= NumSensors {
		return fmt.Sprintf("sensor-%d", uint8(s))
	}
	return rows[s].name
}

// Column is the sensor's column in a trace, such as "pack_v".
func (s Sensor) Column() string {
	if s < NumSensors && rows[s].column != "" {
		return rows[s].column
	}
	return strings.ReplaceAll(s.String(), "-", "_")
}

// Every is the sampling interval: a reading is used again until it is that old. With
// 0 the sensor is read in each tick.
func (s Sensor) Every() time.Duration {
	if s >= NumSensors {
		return 0
	}
	return rows[s].every
}

// Well is what a sensor that watches for trouble shows while there is none: 1 for a
// contact that is closed then, otherwise 0.
func (s Sensor) Well() float64 {
	if s >= NumSensors {
		return 0
	}
	return rows[s].well
}

// Due reports whether a sensor must be read again, which it always must after a
// fault.
func (s Sensor) Due(last Reading, now time.Duration) bool {
	every := s.Every()
	return every == 0 || !last.OK() || now-last.At >= every
}

// Sensors is a set of sensors. The zero value is empty.
type Sensors uint16

// SensorsOf is the set of some sensors.
func SensorsOf(all ...Sensor) (set Sensors) {
	for _, s := range all {
		set |= 1 << s
	}
	return set
}

// Has reports whether a sensor is in the set.
func (set Sensors) Has(s Sensor) bool { return set>>s&1 != 0 }

// With is the set with a sensor added when it is there.
func (set Sensors) With(s Sensor, there bool) Sensors {
	if there {
		return set | 1<<s
	}
	return set
}

// Without is the set without some sensors.
func (set Sensors) Without(some ...Sensor) Sensors { return set &^ SensorsOf(some...) }
