package bay_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// TestASilentSensorKeepsItsPack for a quarter of an hour, as long as the voltage may be
// unknown; then nothing shows any longer that it is this pack.
func TestASilentSensorKeepsItsPack(t *testing.T) {
	s := newSite(t, true)
	p := s.spots[0]
	p.plug("lift-a")
	s.ticks(90)
	require.True(t, p.pic.Permit.Granted)
	p.sensors = nil
	s.ticks(15*60 - 1)
	require.Equal(t, "lift-a", p.core.Opened())
	require.False(t, p.raised(interlock.PackUnknown))
	s.ticks(5)
	require.Empty(t, p.core.Opened())
	require.False(t, p.pic.Permit.Granted)
}

// TestASensorIsLookedForAgain: each time that a pack is plugged in, however long the bay
// stood empty, and whoever was there before.
func TestASensorIsLookedForAgain(t *testing.T) {
	for _, before := range []string{"", "lift-a"} {
		s := newSite(t, true)
		p := s.spots[0]
		p.plug(before)
		s.ticks(90)
		p.plug("")
		s.ticks(90)
		p.plug("lift-z")
		p.sensors = nil
		s.ticks(20)
		require.False(t, p.raised(interlock.PackUnknown), "after %q", before)
		s.ticks(20)
		require.True(t, p.raised(interlock.PackUnknown), "after %q", before)
	}
}

// TestWhoIsAskedBackOutsideOfAVisit: a level over the ceiling is, an amount is not: it was
// poured earlier, and nothing was proposed for it.
func TestWhoIsAskedBackOutsideOfAVisit(t *testing.T) {
	w := newWorker(8)
	w.Ask(order.Order{Kind: order.VisitClose})
	_, e := w.enter(false, order.CellEntry{Cell: 2, LevelMM: new(21.0)})
	require.Equal(t, [][3]any{{2, "level_mm", "ask-over-ceiling"}}, told(e))
	const ml = 400.0
	_, events := w.Ask(order.Order{
		Kind: order.Entry, Cells: []order.CellEntry{{Cell: 2, ML: new(ml), How: order.Measured}},
		DoneBy: "B. Person", DoneAt: "2026-03-01T14:30:00Z",
	})
	for _, e := range events {
		require.NotEqual(t, bay.OrderRefused, e.Kind, "%v", e.Why)
	}
}

// TestASourceThatHasNotReadThePack leaves who it is as another one has read it.
func TestASourceThatHasNotReadThePack(t *testing.T) {
	a := bay.PackSeen{Name: "lift-a", At: time.Second, Fault: reading.None}
	into := bay.Readings{Pack: a}
	into.Merge(&bay.Readings{})
	require.Equal(t, a, into.Pack)
	b := bay.PackSeen{Name: "lift-b", At: time.Second, Fault: reading.None}
	into.Merge(&bay.Readings{Pack: b})
	require.Equal(t, b, into.Pack)
}

// TestAPackHasLeftAfterFiveSeconds without a voltage, and not before: a plug is wiggled.
func TestAPackHasLeftAfterFiveSeconds(t *testing.T) {
	s := newSite(t, true)
	p := s.spots[0]
	p.plug("lift-a")
	s.ticks(90)
	p.plug("")
	s.ticks(4)
	require.NotEqual(t, bay.Vacant, p.pic.Stage)
	s.tick()
	require.Equal(t, bay.Vacant, p.pic.Stage)
}

// TestAPackIsNamedTwice: who says again what is known changes nothing.
func TestAPackIsNamedTwice(t *testing.T) {
	s := newSite(t, false)
	p := s.spots[0]
	p.plug("lift-a")
	s.ticks(5)
	s.name(p, "lift-a")
	s.ticks(120)
	require.True(t, p.pic.Permit.Granted)
	s.name(p, "lift-a")
	for range 10 {
		s.tick()
		require.True(t, p.pic.Permit.Granted)
		require.Equal(t, "lift-a", p.core.Opened())
	}
}

// TestALevelThatFitsTheWater is not asked about: 130 ml lift a cell of 130 cm² by 10 mm, and
// both readings and the surface are good to 3 mm and three tenths of the rise.
func TestALevelThatFitsTheWater(t *testing.T) {
	for mm, asked := range map[float64]bool{5.9: true, 6: false} {
		w := newWorker(8)
		w.enter(true, order.CellEntry{Cell: 2, LevelMM: new(2.0)})
		_, e := w.enter(false, order.CellEntry{Cell: 2, ML: new(130.0), LevelMM: &mm})
		require.Equal(t, asked, slices.Contains(told(e), [3]any{2, "level_mm", "ask-contradicts"}), "%v mm: %v", mm, told(e))
	}
}

// TestACoveredCellIsDone: before the charge it needs no water at the lowest level for
// charging.
func TestACoveredCellIsDone(t *testing.T) {
	w := newWorker(8)
	p, _ := w.enter(true, order.CellEntry{Cell: 2, LevelMM: new(2.9)}, order.CellEntry{Cell: 3, LevelMM: new(3.0)})
	require.True(t, p.Visit.OnlyCoverPlates)
	require.False(t, p.Visit.Cells[1].Done)
	require.True(t, p.Visit.Cells[2].Done)
}

// TestWhichCellsAreStillToRead: in a visit not one in which the rod was, by whatever it
// showed, unless something was poured since; before a visit all that are asked for.
func TestWhichCellsAreStillToRead(t *testing.T) {
	toRead := func(open bool, c bay.CellVisit) []int {
		p, _ := newWorker(8).Tick()
		p.Visit.Open, p.Visit.Cells[1] = open, c
		p.Water.ReadAsk, p.Water.Doubts, p.Water.Unseen, p.Water.Doubted = 1<<1, 0, 0, 0
		p.Water.ReadFirst[0] = 2
		return p.ToRead()
	}
	require.Equal(t, []int{2}, toRead(true, bay.CellVisit{}))
	require.Equal(t, []int{2}, toRead(false, bay.CellVisit{LevelMM: new(8.0), LevelLast: true}))
	for _, c := range []bay.CellVisit{
		{LevelMM: new(8.0)}, {BeforeMM: new(8.0)}, {Dry: true}, {WasDry: true}, {LevelMM: new(8.0), LevelLast: true},
	} {
		require.Empty(t, toRead(true, c), "%+v", c)
	}
	require.Equal(t, []int{2}, toRead(true, bay.CellVisit{BeforeMM: new(8.0), DrawnML: 20}))
}

// TestALevelAtThePlateTopsOutlivesARestart as it was read: only a level below them, as older
// programs took it, means that the rod showed the plates.
func TestALevelAtThePlateTopsOutlivesARestart(t *testing.T) {
	for mm, dry := range map[float64]bool{0: false, -1: true} {
		w := newWorker(8)
		m := w.Core.Memory()
		m.Visit.Cells[1].LevelMM = &mm
		m.Seal()
		core := bay.New(baytest.Setup("bay-1"))
		require.NoError(t, core.Restore(&m, time.Hour, time.Second, true))
		p, _ := core.Step(&bay.Readings{Now: time.Hour + time.Second})
		require.Equal(t, dry, p.Visit.Cells[1].Dry, "%v mm", mm)
	}
}
