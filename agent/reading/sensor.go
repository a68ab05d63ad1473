package reading

import "fmt"

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

var sensors = [NumSensors]string{
	PackVoltage:        "pack-voltage",
	PackCurrent:        "pack-current",
	PackTemperature:    "pack-temperature",
	AmbientTemperature: "ambient-temperature",
	ElectrolyteLevel:   "level",
	Hydrogen:           "hydrogen",
	Airflow:            "airflow",
	ContactorFeedback:  "contactor-feedback",
	ChargerComplete:    "charger-complete",
}

// String is the sensor's name in metrics and messages, such as "pack-voltage".
func (s Sensor) String() string {
	if s == NoSensor || s >= NumSensors {
		return fmt.Sprintf("sensor-%d", uint8(s))
	}
	return sensors[s]
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
