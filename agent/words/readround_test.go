package words

import (
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/water"
)

// asking is a picture that asks for the readings of some of four cells.
func asking(cells ...uint8) *bay.Picture {
	p := &bay.Picture{Pack: &bay.Pack{Cells: 4}, Stage: bay.Charging}
	for i, n := range cells {
		p.Water.ReadFirst[i] = n
		p.Water.ReadAsk |= water.CellSet(1) << (n - 1)
	}
	return p
}

func TestReadingsAreAskedForWorstFirst(t *testing.T) {
	for _, row := range []struct {
		cells  []uint8
		en, es string
	}{
		{nil, "", ""},
		{[]uint8{3}, "Read cell 3 first. About 1 minute.", "Lea primero el vaso 3. Alrededor de 1 minuto."},
		{[]uint8{4, 1}, "Read these cells first: 4, 1. About 2 minutes.", "Lea primero estos vasos: 4, 1. Unos 2 minutos."},
		{[]uint8{4, 1, 2, 3}, "Read all 4 cells first. About 4 minutes.", "Lea primero los 4 vasos. Unos 4 minutos."},
	} {
		p := asking(row.cells...)
		require.Equal(t, row.en, New("en", "si").ReadFirst(p))
		require.Equal(t, row.es, New("es", "si").ReadFirst(p))
		require.Empty(t, New("en", "si").ReadDue(p), "asked for at the next visit, but nobody has to come for it")
	}
}

func TestACellThatWasReadIsNotAskedForAgain(t *testing.T) {
	v, p := New("en", "si"), asking(4, 1, 3)
	p.Visit = bay.Visit{Open: true}
	p.Visit.Cells[0] = bay.CellVisit{LevelMM: new(6.0)}
	p.Visit.Cells[3] = bay.CellVisit{Dry: true}
	require.Equal(t, "Read cell 3 first. About 1 minute.", v.ReadFirst(p))
	require.Equal(t, "Not read yet: cell 3. Charging may be blocked until it is read.", v.Unread(p))
	p.Visit.Open = false
	require.Equal(t, "Read these cells first: 4, 1, 3. About 3 minutes.", v.ReadFirst(p), "a later visit")
}

func TestARoundOfReadingsIsAnnounced(t *testing.T) {
	for name, row := range map[string]struct {
		change func(p *bay.Picture)
		want   string
	}{
		"in days":        {func(p *bay.Picture) { p.Water.ReadDueH, p.Water.ReadDueOK = 72, true }, "Levels must be read within 3 days: cells 4, 1."},
		"overdue":        {func(p *bay.Picture) { p.Water.ReadDueH, p.Water.ReadDueOK = 0, true }, "Levels must be read now: cells 4, 1."},
		"no use known":   {func(*bay.Picture) {}, "Levels must be read now: cells 4, 1."},
		"blocked":        {func(p *bay.Picture) { p.Findings[interlock.LevelDoubted].Raised = true }, "Read these cells first: 4, 1. About 2 minutes."},
		"ready to water": {func(p *bay.Picture) { p.Stage = bay.ReadyToWater }, "Read these cells first: 4, 1. About 2 minutes."},
		"water will do": {func(p *bay.Picture) {
			p.Water.ReadAsk, p.Water.ReadDueH, p.Water.ReadDueOK = 0, 72, true
		}, "Levels must be read or water recorded within 3 days."},
	} {
		p := asking(4, 1)
		p.Water.ReadDue = true
		row.change(p)
		require.Equal(t, row.want, New("en", "si").ReadDue(p), name)
	}
}
