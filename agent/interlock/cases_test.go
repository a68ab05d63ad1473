package interlock_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// What the tests know of each finding: its condition, the values that decide it,
// and whether it latches. A new finding needs its cases here; the tests name those
// that are missing.

func bare(in *interlock.Inputs)    { in.Level = reading.LevelBetween(-1, -1, in.Now) }
func noLevel(in *interlock.Inputs) { in.Level = reading.Level{At: in.Now, Fault: reading.Open} }

// conditions creates each finding's condition, including those without a raise
// time.
var conditions = map[interlock.Code]func(*interlock.Inputs){
	interlock.PlatesBare:         bare,
	interlock.Overfilled:         func(in *interlock.Inputs) { in.Overfilled, in.OverCells = 4, 1 },
	interlock.LevelUnknown:       noLevel,
	interlock.LevelDoubted:       func(in *interlock.Inputs) { in.SurelyMM = 0 },
	interlock.PackUnknown:        func(in *interlock.Inputs) { in.Name = interlock.Unnamed },
	interlock.TemperatureUnknown: func(in *interlock.Inputs) { in.PackC = reading.Bad(reading.PowerOn, in.Now) },
	interlock.VoltageUnknown:     func(in *interlock.Inputs) { in.CellV = reading.Bad(reading.NoAnswer, in.Now) },
	interlock.CurrentUnknown:     func(in *interlock.Inputs) { in.CurrentA = reading.Bad(reading.Open, in.Now) },
	interlock.VoltageImplausible: func(in *interlock.Inputs) { in.CellV.Value = 3.15 },
	interlock.PackHot:            func(in *interlock.Inputs) { in.PackC.Value = 53 },
	interlock.PackFrozen:         func(in *interlock.Inputs) { in.PackC.Value = -11 },
	interlock.AirflowUnproven:    func(in *interlock.Inputs) { in.Airflow.Value = 0 },
	interlock.HydrogenHigh:       func(in *interlock.Inputs) { in.Hydrogen.Value = 2 },
	interlock.ChargeOverrun:      func(in *interlock.Inputs) { in.Overrun = interlock.ByAmpereHours },
	interlock.Runaway:            func(in *interlock.Inputs) { in.Runaway = true },
	interlock.ContactorOpen:      func(in *interlock.Inputs) { in.Feedback.Value = 0 },
	interlock.VisitOpen:          func(in *interlock.Inputs) { in.VisitOpen = true },
	interlock.Held:               func(in *interlock.Inputs) { in.Held = true },
	interlock.CloseDelay:         func(in *interlock.Inputs) { in.LeaveFor = time.Second },
	interlock.AgentUnready:       func(in *interlock.Inputs) { in.Ready = false },
	interlock.HydrogenWarning:    func(in *interlock.Inputs) { in.Hydrogen.Value = 1 },
	interlock.PackWarm:           func(in *interlock.Inputs) { in.PackC.Value = 43 },
	interlock.WaterBalance:       func(in *interlock.Inputs) { in.ApartMM = 4.1 },
	interlock.WaterUnrecorded:    func(in *interlock.Inputs) { in.UnrecordedMM = 5 },
	interlock.ReadingsOff:        func(in *interlock.Inputs) { in.ReadOffMM = 2 },
	interlock.CellsMiscounted:    func(in *interlock.Inputs) { in.CellsFit, in.CellsOf = 11, 12 },
	interlock.RecordFailing:      func(in *interlock.Inputs) { in.RecordFailing = true },
}

// elsewhere names the findings that no change of a granted tick raises, with the
// test that creates their condition.
var elsewhere = map[interlock.Code]func(*testing.T){
	interlock.ContactorStuck: TestContactor, // only while open is ordered
}

// The meaning of a value is written here by hand from section 5 of the design and
// the texts of the table, not computed with the rules: may a charge continue, may
// one start, and does the finding that it raised clear.
type meaning uint8

const (
	allGood meaning = iota // continues, starts, clears
	between                // continues, starts, does not clear
	noStart                // continues, does not start, does not clear
	bad                    // does not even continue
)

// choice is one value of a reading with its meaning at rest and on charge.
type choice struct {
	value           float64
	fault           reading.Fault
	atRest, charged meaning
}

func good(v float64, m meaning) choice { return choice{v, reading.None, m, m} }
func none(f reading.Fault) choice      { return choice{0, f, bad, bad} }

const freezingC = -10.0

var enumLimits = interlock.Limits{
	ChargeLevelMM: 3, ChargeMaxC: 51, ChargeResumeC: 38, HydrogenMaxPct: 2, HydrogenResumePct: 1,
	OffMin: time.Minute, Fitted: roomFitted(), StrayA: 2.25,
}

// roomReading is the reading of an optional sensor that watches the room. A sensor that
// comes with a finding of its own needs only its row here.
type roomReading struct {
	sensor reading.Sensor
	all    []choice // good first, at each boundary, bad, and without value
	few    []choice // for the product with everything that people and memory can do
	place  func(*interlock.Inputs) *reading.Reading
}

var roomReadings = [...]roomReading{
	{
		reading.Hydrogen,
		[]choice{good(0.99, allGood), good(1, noStart), good(2, bad), none(reading.OverRange)},
		[]choice{good(0.99, allGood), good(1, noStart)},
		func(in *interlock.Inputs) *reading.Reading { return &in.Hydrogen },
	},
	{
		reading.Airflow,
		[]choice{good(1, allGood), good(0, bad), good(1, bad), none(reading.Stale)},
		[]choice{good(1, allGood), good(0, bad), good(1, bad)},
		func(in *interlock.Inputs) *reading.Reading { return &in.Airflow },
	},
}

// putRoom gives the inputs the choices of the room's readings.
func putRoom(in *interlock.Inputs, of *[len(roomReadings)]*choice) {
	for i := range roomReadings {
		c := of[i]
		*roomReadings[i].place(in) = reading.Reading{Value: c.value, At: in.Now, Fault: c.fault}
		if roomReadings[i].sensor == reading.Airflow {
			in.AirNeverOff = neverOff(c)
		}
	}
}

// calmRoom has each of the room's readings good, and brokenRoom each bad.
func calmRoom() (of [len(roomReadings)]*choice) {
	for i := range roomReadings {
		of[i] = &roomReadings[i].all[0]
	}
	return of
}

func brokenRoom() (of [len(roomReadings)]*choice) {
	for i := range roomReadings {
		all := roomReadings[i].all
		of[i] = &all[slices.IndexFunc(all, func(c choice) bool { return c.atRest == bad && c.fault == reading.None })]
	}
	return of
}

func roomFitted() reading.Sensors {
	fitted := reading.SensorsOf(reading.PackCurrent, reading.ContactorFeedback)
	for i := range roomReadings {
		fitted = fitted.With(roomReadings[i].sensor, true)
	}
	return fitted
}

// space is the discretised readings.
type space struct {
	level, cellV, packC, current, feedback []choice
	room                                   [len(roomReadings)][]choice
}

// withRoom adds the room's readings to a space.
func (s space) withRoom(of func(*roomReading) []choice) space {
	for i := range roomReadings {
		s.room[i] = of(&roomReadings[i])
	}
	return s
}

// neverOff reports whether a choice of the airflow switch shows air and is bad all the
// same: the switch never showed anything else.
func neverOff(airflow *choice) bool { return airflow.value == 1 && airflow.atRest == bad }

// allReadings has each reading good, at each boundary, bad, and without value.
var allReadings = space{
	level: []choice{
		good(8, allGood), good(3, allGood), good(2.99, noStart), good(0.01, noStart), good(0, bad), good(-4, bad),
		good(math.NaN(), bad), none(reading.Missing), none(reading.Stale), none(reading.Contradictory),
	},
	cellV: []choice{
		good(2.1, allGood), good(1.75, allGood), good(1.74, between), good(1.7, between), good(1.69, bad), good(-2.1, bad),
		{2.45, reading.None, between, allGood}, {2.46, reading.None, bad, allGood}, {2.85, reading.None, bad, allGood}, {2.9, reading.None, bad, between},
		good(2.91, bad), none(reading.Missing),
	},
	packC: []choice{
		good(25, allGood), good(38, allGood), good(38.1, between), good(51, between), good(51.1, bad),
		good(freezingC, bad), good(freezingC+1, between), none(reading.PowerOn),
	},
	current:  []choice{good(0, allGood), good(30, allGood), none(reading.Missing)},
	feedback: []choice{good(0, allGood), good(1, allGood), {0, reading.Missing, allGood, allGood}},
}.withRoom(func(r *roomReading) []choice { return r.all })

// fewReadings is for the product with everything that people and memory can do.
var fewReadings = space{
	level:    []choice{good(3, allGood), good(2.99, noStart), none(reading.Stale)},
	cellV:    []choice{good(2.1, allGood), {2.46, reading.None, bad, allGood}, none(reading.Missing)},
	packC:    []choice{good(38, allGood), good(51.1, bad)},
	current:  []choice{good(0, allGood), good(30, allGood)},
	feedback: []choice{good(0, allGood), good(1, allGood)},
}.withRoom(func(r *roomReading) []choice { return r.few })

// latches are the findings that survive a restart; alarms of them cannot block.
var (
	latches = []interlock.Code{interlock.ChargeOverrun, interlock.Runaway, interlock.ContactorStuck}
	alarms  = []interlock.Code{interlock.ContactorStuck}
)
