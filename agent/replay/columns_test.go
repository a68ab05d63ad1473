package replay_test

import (
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/reading"
	"bayward/agent/replay"
)

// readAll returns the readings of every row as the core gets them.
func readAll(t *testing.T, s bay.Setup, text string) (all []bay.Readings) {
	t.Helper()
	tr, err := replay.Open("t.csv", strings.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, tr.Fit(&s))
	for {
		_, r, err := tr.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		all = append(all, *r)
	}
}

// TestColumns: every reading of the core has a column, a fault counts until the next
// value, and an empty field holds what was there.
func TestColumns(t *testing.T) {
	const text = "time_s,pack_v,current_a,pack_c,ambient_c,level_mm,level_high_mm,hydrogen_pct,airflow,contactor_closed,charger_complete\n" +
		"100,1,2,3,4,5,6,7,8,9,10\n" +
		"101,open,short,bad-crc,power-on,stale,6,timeout,no-answer,bus-stuck,over-range\n" +
		"102,,,,,,,,,,\n" +
		"103,1,,,,5,4,,,,\n" +
		"104,,,,,5,,,,,\n" +
		"105,,,,,,9,,,,\n"
	want := map[reading.Sensor]reading.Fault{
		reading.PackVoltage: reading.Open, reading.PackCurrent: reading.Short, reading.PackTemperature: reading.BadCRC,
		reading.AmbientTemperature: reading.PowerOn, reading.ElectrolyteLevel: reading.Stale, reading.Hydrogen: reading.Timeout,
		reading.Airflow: reading.NoAnswer, reading.ContactorFeedback: reading.BusStuck, reading.ChargerComplete: reading.OverRange,
	}
	lines, values := strings.Split(text, "\n"), []float64{1, 2, 3, 4, 7, 8, 9, 10}
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if _, written := want[s]; written {
			continue
		}
		want[s], values = reading.NotMoving, append(values, 11)
		for i, field := range []string{s.Column(), "11", reading.NotMoving.String(), "", "", "", ""} {
			lines[i] += "," + field
		}
	}
	got := readAll(t, pack(12, 225, 1.277), strings.Join(lines, "\n"))
	for i, place := range baytest.Places(&got[0]) {
		require.Equal(t, reading.Good(values[i], 0), *place)
	}
	require.Equal(t, reading.LevelBetween(5, 6, 0), got[0].Level)
	for s, fault := range want {
		require.Equal(t, fault, got[1].Of(s).Fault, s)
		require.Equal(t, got[1].Of(s), got[2].Of(s), s)
	}
	require.Equal(t, reading.Contradictory, got[3].Level.Fault)
	require.Equal(t, reading.LevelBetween(5, 5, 4*time.Second), got[4].Level)
	require.Equal(t, got[4].Level, got[5].Level, "an upper bound alone is no level")
}

// TestColumnsAreSensors: a bay has the optional sensors that its trace has columns for.
func TestColumnsAreSensors(t *testing.T) {
	for column, sensor := range map[string]reading.Sensor{
		"current_a": reading.PackCurrent, "ambient_c": reading.AmbientTemperature, "hydrogen_pct": reading.Hydrogen,
		"airflow": reading.Airflow, "contactor_closed": reading.ContactorFeedback, "charger_complete": reading.ChargerComplete,
	} {
		tr, err := replay.Open("t.csv", strings.NewReader("time_s,pack_v,"+column+"\n"))
		require.NoError(t, err)
		s := baytest.Every(baytest.Setup("bay-1"))
		require.NoError(t, tr.Fit(&s))
		require.Equal(t, reading.SensorsOf(sensor), s.Fitted, column)
	}
}

// TestPackColumn: of a bay that recognises its packs the trace names the one whose
// sensor answers.
func TestPackColumn(t *testing.T) {
	s := bay.Setup{Name: "bay-1", Packs: baytest.Packs("lift-a", "open"), Recognises: true, Limits: bay.DefaultLimits()}
	got := readAll(t, s, "time_s,pack\n0,lift-a\n1,\n2,contradictory\n3,open\n4,no-answer\n")
	for i, want := range []bay.PackSeen{
		{Name: "lift-a", Fault: reading.None}, {Name: "lift-a", Fault: reading.None}, {Fault: reading.Contradictory, At: 2 * time.Second},
		{Name: "open", Fault: reading.None, At: 3 * time.Second}, {Fault: reading.NoAnswer, At: 4 * time.Second},
	} {
		require.Equal(t, want, got[i].Pack)
	}
	tr, err := replay.Open("t.csv", strings.NewReader("time_s,pack\n0,lift-c\n"))
	require.NoError(t, err)
	require.NoError(t, tr.Fit(&s))
	_, _, err = tr.Next()
	require.EqualError(t, err, `t.csv:2: field pack: value "lift-c" is not accepted: a pack of the bay, nothing for no reading, or a fault: no-answer when no pack's sensor answers, contradictory when several do`)
	tr, err = replay.Open("t.csv", strings.NewReader("time_s\n"))
	require.NoError(t, err)
	require.EqualError(t, tr.Fit(&s), "t.csv:1: field header: a value is missing: a column pack with the pack whose sensor answers is required, or name the only pack with --pack")
}
