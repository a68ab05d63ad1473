package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
)

// closed closes the visit and returns the picture ten minutes later.
func (w worker) closed(t *testing.T) *bay.Picture {
	t.Helper()
	w.Ask(order.Order{Kind: order.VisitClose})
	return w.Run(10 * time.Minute)
}

// TestNobodyFloodsACellInSilence: by a level, and by an amount of which no level was
// read. The cell is named, and the charge is blocked after the visit and a restart.
func TestNobodyFloodsACellInSilence(t *testing.T) {
	for name, line := range map[string]order.CellEntry{
		"level":     {Cell: 4, LevelMM: new(21.0)},
		"amount":    {Cell: 4, ML: new(500.0)},
		"both":      {Cell: 4, ML: new(150.0), LevelMM: new(18.0)},
		"estimated": {Cell: 4, ML: new(140.0), How: order.AsProposed}, // room for 134
	} {
		w := newWorker(6)
		_, e := w.enter(false, line)
		require.True(t, e.Why.Code.Asks(), name)
		p, e := w.enter(true, line)
		require.Equal(t, bay.OrderTaken, e.Kind, name)
		require.Equal(t, []int{4}, p.Water.Over.Numbers(), name)
		require.Equal(t, interlock.Evidence{Value: 4, Limit: 1, Fault: p.Findings[interlock.Overfilled].Evidence.Fault}, p.Findings[interlock.Overfilled].Evidence)
		p = w.closed(t)
		require.True(t, p.Findings[interlock.Overfilled].Raised, name)
		require.False(t, p.Permit.Granted, name)
		m := w.Core.Memory()
		w.Core = bay.New(baytest.Setup("bay-1"))
		require.NoError(t, w.Core.Restore(&m, w.Now, 0, true))
		p = w.Run(10 * time.Minute)
		require.True(t, p.Findings[interlock.Overfilled].Raised && !p.Permit.Granted, name)
	}
}

// TestDrawnOffAndReadEndsIt, and nothing less.
func TestDrawnOffAndReadEndsIt(t *testing.T) {
	for name, row := range map[string]struct {
		lines []order.CellEntry
		over  bool
	}{
		"a lower level alone":        {[]order.CellEntry{{LevelMM: new(13.0)}}, true},
		"drawn off alone":            {[]order.CellEntry{{DrawnML: new(100.0)}}, true},
		"drawn off, still over":      {[]order.CellEntry{{DrawnML: new(20.0), LevelMM: new(18.0)}}, true},
		"then less, without drawing": {[]order.CellEntry{{DrawnML: new(20.0), LevelMM: new(18.0)}, {LevelMM: new(13.0)}}, true},
		"drawn off and read":         {[]order.CellEntry{{DrawnML: new(100.0), LevelMM: new(13.0)}}, false},
		"one after the other":        {[]order.CellEntry{{DrawnML: new(100.0)}, {LevelMM: new(16.0)}}, false},
		"over again":                 {[]order.CellEntry{{DrawnML: new(100.0), LevelMM: new(13.0)}, {LevelMM: new(18.0)}}, true},
	} {
		w := newWorker(6)
		w.enter(true, order.CellEntry{Cell: 4, LevelMM: new(21.0)})
		for _, line := range row.lines {
			line.Cell = 4
			_, e := w.enter(true, line)
			require.Equal(t, bay.OrderTaken, e.Kind, name)
		}
		p := w.closed(t)
		require.Equal(t, row.over, p.Findings[interlock.Overfilled].Raised, name)
	}
}

// TestAcceptNeedsAReason and ends it for all cells; it grants nothing else.
func TestAcceptNeedsAReason(t *testing.T) {
	w := newWorker(6)
	w.enter(true, order.CellEntry{Cell: 4, LevelMM: new(21.0)}, order.CellEntry{Cell: 7, LevelMM: new(20.0)}, order.CellEntry{Cell: 8, Dry: true})
	p := w.closed(t)
	require.Equal(t, interlock.Several, p.Findings[interlock.Overfilled].Evidence.Reason)
	_, events := w.Ask(order.Order{Kind: order.Accept})
	require.Equal(t, order.BadText, events[0].Why.Code)
	w.Ask(order.Order{Kind: order.Release})
	require.True(t, w.Run(time.Minute).Findings[interlock.Overfilled].Raised, "it is no latch")
	_, events = w.Ask(order.Order{Kind: order.Accept, Reason: "measured twice: the rod was upside down"})
	require.Equal(t, bay.OrderTaken, events[0].Kind)
	require.Equal(t, "measured twice: the rod was upside down", events[0].Asked.Reason)
	p = w.Run(10 * time.Minute)
	require.False(t, p.Findings[interlock.Overfilled].Raised)
	require.True(t, p.Findings[interlock.PlatesBare].Raised, "cell 8 is bare")
	require.False(t, p.Permit.Granted)
}
