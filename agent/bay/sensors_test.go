package bay_test

import (
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// TestEverySensor: each sensor has its own field in the readings, a picture lists
// it where it is fitted, and Merge copies a source's reading of it.
func TestEverySensor(t *testing.T) {
	places := 0
	for f := range reflect.TypeFor[bay.Readings]().NumField() {
		if reflect.TypeFor[bay.Readings]().Field(f).Type == reflect.TypeFor[reading.Reading]() {
			places++
		}
	}
	require.Equal(t, int(reading.NumSensors)-2, places, "sensors and readings differ in number; the level is no plain reading")
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		t.Run(s.String(), func(t *testing.T) {
			var from, into bay.Readings
			put(t, &from, s, 0.5)
			require.Equal(t, reading.None, from.Of(s).Fault)
			for o := reading.NoSensor + 1; o < reading.NumSensors; o++ {
				require.Equal(t, o != s, from.Of(o).Fault == reading.Missing, "%s has its place in common with %s", s, o)
			}
			put(t, &into, s, 7)
			into.Merge(&bay.Readings{})
			require.InDelta(t, 7, into.Of(s).Value, 0, "a missing reading was taken over")
			into.Merge(&from)
			require.InDelta(t, 0.5, into.Of(s).Value, 0)

			setup := bay.Setup{Name: "b", Pack: bay.Pack{Cells: 1}, Limits: bay.DefaultLimits(), Fitted: bay.Optional}
			require.Len(t, seen(setup, &from), int(reading.NumSensors)-1)
			require.InDelta(t, 0.5, seen(setup, &from)[s.String()].Value, 0)
			setup.Fitted = 0
			_, listed := seen(setup, &from)[s.String()]
			require.Equal(t, !bay.Optional.Has(s), listed, "without any optional sensor")
			require.Equal(t, listed, setup.Has(s))
		})
	}
}

// abbreviated are the fields that do not have the name of their sensor.
var abbreviated = map[reading.Sensor]string{
	reading.PackVoltage: "PackV", reading.PackCurrent: "CurrentA", reading.PackTemperature: "PackC",
	reading.AmbientTemperature: "AmbientC", reading.Hydrogen: "HydrogenPct", reading.ContactorFeedback: "ContactorClosed",
}

// put sets one sensor's reading. It finds the sensor's field by its name, not by the table.
func put(t *testing.T, r *bay.Readings, s reading.Sensor, v float64) {
	t.Helper()
	if s == reading.ElectrolyteLevel {
		r.Level = reading.LevelBetween(v, v, 0)
		return
	}
	name := abbreviated[s]
	if name == "" {
		for word := range strings.SplitSeq(s.String(), "-") {
			name += strings.ToUpper(word[:1]) + word[1:]
		}
	}
	field := reflect.ValueOf(r).Elem().FieldByName(name)
	require.True(t, field.IsValid(), "the readings have no field %s", name)
	field.Set(reflect.ValueOf(reading.Good(v, 0)))
}

func seen(s bay.Setup, r *bay.Readings) map[string]reading.Reading {
	pic, _ := bay.New(s).Step(r)
	out := map[string]reading.Reading{}
	for _, one := range pic.Sensors() {
		out[one.Name] = one.Reading
	}
	return out
}

var key = regexp.MustCompile(`\b[a-z]+(?:_[a-z]+)+\b`)

// TestFindingsNameWhatTheyGoBy: the limits in a finding's sentences are those of
// its row and are in the table of limits. A finding of a missing reading names
// the reading.
func TestFindingsNameWhatTheyGoBy(t *testing.T) {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		row := &interlock.Table[c]
		for _, limit := range row.Limits {
			require.NotNil(t, bay.LimitNamed(limit), "%s: %s is no limit", row.Name, limit)
		}
		for _, named := range key.FindAllString(words.EnglishSI().When(c)+" "+row.ClearWhen, -1) {
			require.Contains(t, row.Limits, named, row.Name)
		}
		require.True(t, row.Unread == interlock.UnreadElsewhere || row.Reads != reading.NoSensor, row.Name)
	}
}
