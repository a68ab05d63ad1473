package bay_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// pourer is a core whose pilot cell is cell 1: what that cell is given shows
// at its probe, as it does in life.
type pourer struct {
	core    *bay.Bay
	now     time.Duration
	levelMM float64
	n       int
}

func visitSetup() bay.Setup {
	return bay.Setup{
		Name: "bay-1", Limits: bay.DefaultLimits(), Fitted: reading.SensorsOf(reading.PackCurrent, reading.AmbientTemperature),
		Pack: bay.Pack{
			Name: "lift-24v", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3, FillMarkMM: 13,
			VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350, ChargeFactor: 1.15,
		},
	}
}

func (y *pourer) step(orders ...order.Order) *bay.Picture {
	for i := range orders {
		y.n++
		orders[i].ID, orders[i].By = string(rune('a'+y.n)), "A. Person"
	}
	y.now += time.Second
	p, _ := y.core.Step(&bay.Readings{
		Now: y.now, PackV: reading.Good(25.2, y.now), CurrentA: reading.Good(0, y.now), PackC: reading.Good(25, y.now),
		AmbientC: reading.Good(21, y.now), Level: reading.LevelBetween(y.levelMM, y.levelMM, y.now), Orders: orders,
	})
	for _, o := range orders {
		if o.Kind == order.Fill && o.Cell == 1 {
			y.levelMM += o.ML / 13 // 130 cm²: 13 ml for each millimetre
		}
	}
	return p
}

// TestPouringThePilotLeavesTheOthersThirsty: the water in the pilot cell is in
// no other cell.
func TestPouringThePilotLeavesTheOthersThirsty(t *testing.T) {
	y := &pourer{core: bay.New(visitSetup()), levelMM: 3}
	for range 60 {
		y.step()
	}
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

// TestADipAfterPouringIsNotCountedTwice: the level rod sees the water that was
// poured before it.
func TestADipAfterPouringIsNotCountedTwice(t *testing.T) {
	y := &pourer{core: bay.New(visitSetup()), levelMM: 5}
	for range 60 {
		y.step()
	}
	y.step(order.Order{Kind: order.VisitOpen})
	y.step(order.Order{Kind: order.Fill, Cell: 1, ML: 104})
	y.step(order.Order{Kind: order.Fill, Cell: 2, ML: 104})
	y.step(order.Order{Kind: order.Level, Cell: 2, LevelMM: 11}) // it stood lower than thought
	p := y.step(order.Order{Kind: order.Fill, Cell: 2, ML: 26})
	require.InDelta(t, 13, p.Water.LevelMM[1], 0.1, "11 mm and 26 ml on 130 cm²")
	require.Equal(t, bay.CellVisit{Done: true, LevelRead: true, LevelMM: 11}, p.Visit.Cells[1])
	y.step(order.Order{Kind: order.VisitClose})
	p = y.step()
	require.InDelta(t, 13, p.Water.LevelMM[0], 0.1)
	require.InDelta(t, 13, p.Water.LevelMM[1], 0.1)
}

// TestAVisitComesBackWhole: all that a person did is there after a restart.
func TestAVisitComesBackWhole(t *testing.T) {
	y := &pourer{core: bay.New(visitSetup()), levelMM: 5}
	for range 60 {
		y.step()
	}
	y.step(order.Order{Kind: order.VisitOpen, Note: "Confirmed: face shield."}, order.Order{Kind: order.Quality, USPerCM: 4.5})
	y.step(order.Order{Kind: order.Fill, Cell: 3, ML: 0}, order.Order{Kind: order.Level, Cell: 4, LevelMM: -2})
	want := y.step().Visit
	raw, err := json.Marshal(y.core.Memory())
	require.NoError(t, err)
	var m bay.Memory
	require.NoError(t, json.Unmarshal(raw, &m))
	next := bay.New(visitSetup())
	require.NoError(t, next.Restore(&m, y.now, 0, true))
	y.core = next
	got := y.step().Visit
	want.Since, got.Since = 0, 0
	require.Equal(t, want, got)
	require.True(t, got.QualityKnown && got.Cells[2].Done && got.Cells[3].LevelLast)
}

// TestNotesGoIntoTheRecord: and water that cannot be is refused.
func TestNotesGoIntoTheRecord(t *testing.T) {
	core := bay.New(visitSetup())
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
			texts = append(texts, e.Text)
		}
	}
	require.Equal(t, []string{
		"Refused quality: no visit is open.",
		"A visit is open to cover the plates only: the pack is not full, rested and cool. The charge is locked out. Confirmed: face shield.",
		"Refused quality: field us_per_cm: value -1 is not accepted: must be 0 to 50000 µS/cm.",
		"The water has 4.5 µS/cm.",
		"Refused quality: it needs field us_per_cm or water_kind.",
		"The water was not measured (distilled).",
	}, texts)
	require.Equal(t, "distilled", asked["6"].Water)
	require.Equal(t, order.Order{ID: "7", By: "A", Kind: order.Gravity, Cell: 3, Gravity: 1.265, AtC: 31}, asked["7"])
	require.Equal(t, "Confirmed: face shield.", asked["2"].Note)
}

// TestTheLevelRodLeadsWhereTheProbeIsBroken: the visit keeps the reading, and
// what no cell can show is refused all the same.
func TestTheLevelRodLeadsWhereTheProbeIsBroken(t *testing.T) {
	y := &pourer{core: bay.New(visitSetup()), levelMM: 5}
	blind := func(orders ...order.Order) (*bay.Picture, []bay.Event) {
		y.now += time.Second
		return y.core.Step(&bay.Readings{
			Now: y.now, PackV: reading.Good(25.2, y.now), CurrentA: reading.Good(0, y.now), PackC: reading.Good(25, y.now),
			AmbientC: reading.Good(21, y.now), Level: reading.Level{At: y.now, Fault: reading.Open}, Orders: orders,
		})
	}
	for range 60 {
		blind()
	}
	_, events := blind(order.Order{ID: "1", By: "A", Kind: order.Level, Cell: 2, LevelMM: -6})
	require.Equal(t, bay.OrderRefused, events[0].Kind, "outside of a visit it is of no use")
	blind(order.Order{ID: "2", By: "A", Kind: order.VisitOpen})
	p, _ := blind(order.Order{ID: "3", By: "A", Kind: order.Level, Cell: 2, LevelMM: -6})
	require.Equal(t, bay.CellVisit{LevelRead: true, LevelLast: true, LevelMM: -6}, p.Visit.Cells[1])
	p, _ = blind(order.Order{ID: "4", By: "A", Kind: order.Level, Cell: 3, LevelMM: 60})
	require.False(t, p.Visit.Cells[2].LevelRead)
}
