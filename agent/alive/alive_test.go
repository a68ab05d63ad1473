package alive_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/alive"
	"bayward/agent/reading"
)

// hands steps a watch by hand: a pack of 225 Ah at rest, whose cells have 130 cm².
type hands struct {
	w  *alive.Watch
	in alive.Inputs
}

func newHands() *hands {
	h := &hands{w: alive.New(alive.Config{})}
	h.w.Pack(cells())
	h.in.PackC, h.in.AmbientC = reading.Good(25, 0), reading.Good(20, 0)
	h.in.CellV, h.in.CurrentA = reading.Good(2.1, 0), reading.Good(0, 0)
	h.level(5)
	return h
}

func cells() alive.Config {
	return alive.Config{CapacityAh: 225, ElectrolyteML: 1350, FreeSurfaceCM2: 130, FullGravity: 1.277, GasHoldUpMM: 3, Current: true}
}

func (h *hands) level(mm float64) { h.in.Level = reading.LevelBetween(mm, mm, 0) }

// rods show the level between two of them.
func (h *hands) rods(low, high float64) { h.in.Level = reading.LevelBetween(low, high, 0) }

func (h *hands) pass(span time.Duration) {
	for end := h.in.Now + span; h.in.Now < end; h.in.Now += 10 * time.Second {
		h.w.Step(&h.in)
	}
}

func (h *hands) doubt() reading.Fault { return h.w.Fault(reading.ElectrolyteLevel) }

// fill is a visit in which the cell with the probe is given water, after which the probe
// shows another level.
func (h *hands) fill(ml float64, then func()) {
	h.pass(10 * time.Minute)
	h.w.VisitOpened()
	h.pass(10 * time.Minute)
	then()
	h.w.VisitClosed(ml)
	h.pass(10 * time.Minute)
}

// TestFill: 130 ml lift a cell of 130 cm² by 10 mm; a probe must show four of them.
func TestFill(t *testing.T) {
	for name, c := range map[string]struct {
		ml   float64
		then func(*hands)
		want reading.Fault
	}{
		"rises as it must":   {130, func(h *hands) { h.level(15) }, reading.None},
		"rises enough":       {130, func(h *hands) { h.level(9.2) }, reading.None},
		"does not rise":      {130, func(*hands) {}, reading.NotMoving},
		"rises too little":   {130, func(h *hands) { h.level(8.5) }, reading.NotMoving},
		"too little to tell": {30, func(*hands) {}, reading.None},
		"nothing was poured": {0, func(*hands) {}, reading.None},
		"the probe is lost":  {130, func(h *hands) { h.in.Level = reading.Level{Fault: reading.Open} }, reading.None},
	} {
		h := newHands()
		h.fill(c.ml, func() { c.then(h) })
		require.Equal(t, c.want, h.doubt(), name)
	}
}

// TestFillPassesARod: from 4 mm or more, 11 mm of water pass the rod at 10 mm.
func TestFillPassesARod(t *testing.T) {
	for name, c := range map[string]struct {
		ml   float64
		then func(*hands)
		want reading.Fault
	}{
		"changes":     {140, func(h *hands) { h.rods(10, 100) }, reading.None},
		"does not":    {140, func(*hands) {}, reading.NotMoving},
		"may not yet": {90, func(*hands) {}, reading.None},
	} {
		h := newHands()
		h.rods(4, 10)
		h.fill(c.ml, func() { c.then(h) })
		require.Equal(t, c.want, h.doubt(), name)
	}
}

// stuck is a probe that did not rise with a fill.
func stuck() *hands {
	h := newHands()
	h.fill(130, func() {})
	return h
}

// TestLevelDoubtEnds by a reading of the rod that agrees within 3 mm, or by a movement of
// 2 mm; neither by an order nor by a restart.
func TestLevelDoubtEnds(t *testing.T) {
	h := stuck()
	require.Equal(t, reading.NotMoving, h.doubt())
	h.w.Trial()
	require.Equal(t, reading.NotMoving, h.doubt(), "an order alone")
	h.w.ByHand(8.5)
	require.Equal(t, reading.NotMoving, h.doubt(), "a rod that does not agree")
	h.level(6)
	h.pass(10 * time.Minute)
	require.Equal(t, reading.NotMoving, h.doubt(), "a movement by noise")

	text, err := json.Marshal(h.w.OfBay())
	require.NoError(t, err)
	var m alive.Memory
	require.NoError(t, json.Unmarshal(text, &m))
	require.True(t, m.Valid())
	again := newHands()
	again.w.Restore(&m, 0, time.Hour, false)
	again.pass(10 * time.Minute)
	require.Equal(t, reading.NotMoving, again.doubt(), "a restart")

	h.w.ByHand(7.5)
	require.Equal(t, reading.None, h.doubt(), "a rod that agrees")
	again.level(7.5)
	again.pass(10 * time.Minute)
	require.Equal(t, reading.None, again.doubt(), "a movement")
	at, ok := again.w.Proof(reading.ElectrolyteLevel)
	require.True(t, ok && at > 0)
}

// TestStillAir: the air is never the same for three days.
func TestStillAir(t *testing.T) {
	h := newHands()
	h.pass(71 * time.Hour)
	require.Equal(t, reading.None, h.w.Fault(reading.AmbientTemperature))
	h.pass(2 * time.Hour)
	require.Equal(t, reading.NotMoving, h.w.Fault(reading.AmbientTemperature))
	h.in.AmbientC.Value += 0.2
	h.pass(time.Minute)
	require.Equal(t, reading.None, h.w.Fault(reading.AmbientTemperature))
}

// TestMemoryIsJudged: a memory that cannot have been saved is refused.
func TestMemoryIsJudged(t *testing.T) {
	ago := -1.0
	for name, m := range map[string]*alive.Memory{
		"no such sensor": {Sensors: map[string]alive.SensorMemory{"nose": {}}},
		"no such doubt":  {Sensors: map[string]alive.SensorMemory{"level": {Doubt: "open"}}},
		"proven later":   {Sensors: map[string]alive.SensorMemory{"level": {ProvenAgoS: &ago}}},
	} {
		require.False(t, m.Valid(), name)
	}
	require.True(t, (*alive.Memory)(nil).Valid())
}
