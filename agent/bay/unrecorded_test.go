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

// probedBay is a bay of which it is known that the probe is in cell 4.
func probedBay() *baytest.Driver {
	s := baytest.Setup("bay-1")
	s.Pack.ProbeCell = 4
	return baytest.New(s)
}

// TestWaterThatNobodyRecorded: the level rises without a visit. The bay asks who watered
// until a late sheet is entered, and does not block the charge for it.
func TestWaterThatNobodyRecorded(t *testing.T) {
	d := probedBay()
	d.Run(20 * time.Minute)
	d.Values.LevelMM = 11
	f := &d.Run(20 * time.Minute).Findings[interlock.WaterUnrecorded]
	require.True(t, f.Raised)
	require.InDelta(t, 5, f.Evidence.Value, 0.01)
	p := d.Run(time.Minute)
	require.True(t, p.Permit.Granted, "%v", p.Codes())

	late := order.Order{Kind: order.Entry, DoneBy: "B. Person", DoneAt: "2026-03-01T09:00:00Z", Sure: true}
	for cell := 1; cell <= 12; cell++ {
		late.Cells = append(late.Cells, order.CellEntry{Cell: cell, ML: new(65.0)})
	}
	_, events := d.Ask(late)
	require.Equal(t, bay.OrderTaken, events[0].Kind, "%v", events[0].Why)
	p = d.Run(time.Minute)
	require.False(t, p.Findings[interlock.WaterUnrecorded].Raised)
	require.InDelta(t, 11, p.Water.LevelMM[0], 0.1)
}

// TestReadingsThatErrToOneSide: the fourth level reading in the probe's cell on the same
// side of the probe raises the finding, with its side, and blocks nothing.
func TestReadingsThatErrToOneSide(t *testing.T) {
	for _, off := range []float64{2.5, -2.5} {
		d := probedBay()
		d.Values.LevelMM = 10
		var p *bay.Picture
		for n := range 4 {
			require.False(t, d.Run(time.Hour).Findings[interlock.ReadingsOff].Raised, "after %d readings", n)
			d.Ask(order.Order{Kind: order.Level, Cell: 4, LevelMM: 10 + off})
		}
		p = d.Run(time.Minute)
		f := &p.Findings[interlock.ReadingsOff]
		require.True(t, f.Raised)
		require.InDelta(t, 2.5, f.Evidence.Value, 1e-9)
		require.Equal(t, off < 0, f.Evidence.Reason == interlock.TooLow)
		require.True(t, p.Permit.Granted, "%v", p.Codes())
	}
}
