package bay_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// pourer is a bay whose pilot cell is cell 1: water poured into that cell shows
// at its probe, as it does in reality.
type pourer struct{ *baytest.Driver }

// newPourer returns one whose readings are already checked.
func newPourer(levelMM float64) pourer {
	y := pourer{baytest.New(baytest.Setup("bay-1"))}
	y.Values.LevelMM = levelMM
	y.Run(time.Minute)
	return y
}

func (y pourer) step(orders ...order.Order) *bay.Picture {
	for i := range orders {
		orders[i].Sure = true // these tests are about what was recorded, not about slips
	}
	p, _ := y.Ask(orders...)
	for _, o := range orders {
		if o.Kind == order.Fill && o.Cell == 1 {
			y.Values.LevelMM += o.ML / 13 // 130 cm²: 13 ml for each millimetre
		}
	}
	return p
}

// TestPouringThePilotLeavesTheOthersThirsty: water in the pilot cell is in no
// other cell.
func TestPouringThePilotLeavesTheOthersThirsty(t *testing.T) {
	y := newPourer(3)
	before := y.step(order.Order{Kind: order.VisitOpen}).Water
	require.InDelta(t, 130, before.NeedML[0], 1, "10 mm on 130 cm²")
	y.step(order.Order{Kind: order.Fill, Cell: 1, ML: 130})
	after := y.step().Water
	require.InDelta(t, 0, after.NeedML[0], 1)
	for i := 1; i < 12; i++ {
		require.InDelta(t, before.NeedML[i], after.NeedML[i], 1e-6, "cell %d", i+1)
	}
	y.step(order.Order{Kind: order.VisitClose})
	closed := y.step().Water
	require.InDelta(t, 13, closed.LevelMM[0], 0.1)
	require.InDelta(t, 3, closed.LevelMM[1], 0.1, "cell 2 was given nothing")
	require.InDelta(t, 130, closed.NeedML[1], 1)
}

// TestADipAfterPouringIsNotCountedTwice: the level rod includes the water poured
// before the reading.
func TestADipAfterPouringIsNotCountedTwice(t *testing.T) {
	y := newPourer(5)
	y.step(order.Order{Kind: order.VisitOpen})
	y.step(order.Order{Kind: order.Fill, Cell: 1, ML: 104})
	y.step(order.Order{Kind: order.Fill, Cell: 2, ML: 104})
	y.step(order.Order{Kind: order.Level, Cell: 2, LevelMM: 11}) // the level was lower than assumed
	p := y.step(order.Order{Kind: order.Fill, Cell: 2, ML: 26})
	require.InDelta(t, 13, p.Water.LevelMM[1], 0.1, "11 mm and 26 ml on 130 cm²")
	require.Equal(t, bay.CellVisit{Done: true, How: order.Measured, LevelMM: new(11.0), By: "A. Person"}, p.Visit.Cells[1])
	y.step(order.Order{Kind: order.VisitClose})
	p = y.step()
	require.InDelta(t, 13, p.Water.LevelMM[0], 0.1)
	require.InDelta(t, 13, p.Water.LevelMM[1], 0.1)
}

// TestAVisitComesBackWhole: everything done in a visit survives a restart.
func TestAVisitComesBackWhole(t *testing.T) {
	y := newPourer(5)
	y.step(order.Order{Kind: order.VisitOpen, Note: "Confirmed: face shield."}, order.Order{Kind: order.Quality, USPerCM: 4.5})
	y.step(order.Order{Kind: order.Fill, Cell: 3, ML: 10}, order.Order{Kind: order.Level, Cell: 4, LevelMM: 2})
	y.step(order.Order{Kind: order.Entry, Cells: []order.CellEntry{
		{Cell: 5, ML: new(40.0), How: order.AsProposed, DrawnML: new(5.0), LevelMM: new(8.0), Gravity: new(1.27), AtC: new(24.0)}, {Cell: 6, Dry: true},
	}})
	for range 5 { // plates-bare is raised
		y.step()
	}
	want := y.step().Visit
	raw, err := json.Marshal(y.Core.Memory())
	require.NoError(t, err)
	var m bay.Memory
	require.NoError(t, json.Unmarshal(raw, &m))
	y.Core = bay.New(baytest.Setup("bay-1"))
	require.NoError(t, y.Core.Restore(&m, y.Now, 0, true))
	got := y.step().Visit
	want.Since, got.Since = 0, 0
	require.Equal(t, want, got)
	require.True(t, got.QualityKnown && got.Cells[2].Done && got.Cells[3].LevelLast)
	require.Equal(t, bay.CellVisit{
		Done: true, How: order.AsProposed, DrawnML: 5, LevelMM: new(8.0), LevelLast: true, Gravity: new(1.27), AtC: new(24.0), By: "A. Person",
	}, got.Cells[4])
	require.Equal(t, bay.CellVisit{Dry: true, WasDry: true, By: "A. Person"}, got.Cells[5])
}

// TestNotesGoIntoTheRecord, and impossible amounts of water are refused.
func TestNotesGoIntoTheRecord(t *testing.T) {
	core := bay.New(baytest.Setup("bay-1"))
	_, events := core.Step(&bay.Readings{Now: time.Second, Orders: []order.Order{
		{ID: "1", By: "A", Kind: order.Quality, USPerCM: 4},
		{ID: "2", By: "A", Kind: order.VisitOpen, Note: "Confirmed: face shield."},
		{ID: "3", By: "A", Kind: order.Quality, USPerCM: -1},
		{ID: "4", By: "A", Kind: order.Quality, USPerCM: 4.5},
		{ID: "5", By: "A", Kind: order.Quality, Unmeasured: true},
		{ID: "6", By: "A", Kind: order.Quality, Unmeasured: true, Water: "distilled"},
		{ID: "7", By: "A", Kind: order.Gravity, Cell: 3, Gravity: 1.265, AtC: 31},
	}})
	var texts []string
	asked := map[string]order.Order{}
	for _, e := range events {
		asked[e.Asked.ID] = e.Asked
		if e.Order != "" && e.Kind != bay.OrderTaken || e.Order == "4" || e.Order == "6" {
			texts = append(texts, words.EnglishSI().Event(&e))
		}
	}
	require.Equal(t, []string{
		"Refused quality: no visit is open.",
		"A visit is open to cover the plates only: the battery is not full, rested and cool. Charging is locked out. Confirmed: face shield.",
		"Refused quality, conductivity: -1 µS/cm is not accepted: must be 0 to 50000 µS/cm.",
		"The water has 4.5 µS/cm.",
		"Refused quality, conductivity or kind of water: at least one is needed.",
		"The water was not measured. Kind: distilled.",
	}, texts)
	require.Equal(t, "distilled", asked["6"].Water)
	require.Equal(t, order.Order{ID: "7", By: "A", Kind: order.Gravity, Cell: 3, Gravity: 1.265, AtC: 31}, asked["7"])
	require.Equal(t, "Confirmed: face shield.", asked["2"].Note)
}

// TestTheLevelRodLeadsWhereTheProbeIsBroken: the visit keeps the reading, and a
// level that no cell can show is still refused.
func TestTheLevelRodLeadsWhereTheProbeIsBroken(t *testing.T) {
	y := baytest.New(baytest.Setup("bay-1"))
	y.Change = func(r *bay.Readings) { r.Level = reading.Level{At: r.Now, Fault: reading.Open} }
	y.Run(time.Minute)
	_, events := y.Ask(order.Order{Kind: order.Level, Cell: 2, LevelMM: 6})
	require.Equal(t, bay.OrderRefused, events[0].Kind, "outside of a visit it is of no use")
	y.Ask(order.Order{Kind: order.VisitOpen})
	p, _ := y.Ask(order.Order{Kind: order.Level, Cell: 2, LevelMM: 6})
	require.Equal(t, bay.CellVisit{Done: true, LevelLast: true, LevelMM: new(6.0), BeforeMM: new(6.0), By: "A. Person"}, p.Visit.Cells[1])
	p, _ = y.Ask(order.Order{Kind: order.Level, Cell: 3, LevelMM: 60})
	require.Nil(t, p.Visit.Cells[2].LevelMM)
}

// TestAVisitIsTheSameAfterARestart: its ID is that of the order that opened it, so an
// entry that waited on a phone is not given to another visit.
func TestAVisitIsTheSameAfterARestart(t *testing.T) {
	y := newPourer(6)
	first := y.step(order.Order{Kind: order.VisitOpen}).Visit.ID
	require.NotEmpty(t, first)
	m := y.Core.Memory()
	text, err := json.Marshal(m)
	require.NoError(t, err)
	var stored bay.Memory
	require.NoError(t, json.Unmarshal(text, &stored))
	y.Core = bay.New(baytest.Setup("bay-1"))
	require.NoError(t, y.Core.Restore(&stored, y.Now, 0, true))
	require.Equal(t, first, y.Run(time.Minute).Visit.ID)
	require.Empty(t, y.step(order.Order{Kind: order.VisitClose}).Visit.ID)
	require.NotContains(t, []string{"", first}, y.step(order.Order{Kind: order.VisitOpen}).Visit.ID)
}
