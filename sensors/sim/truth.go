package sim

import (
	"time"

	"bayward/sensors/sim/pack"
)

// Truth is the true state of a bay, whatever its sensors show.
type Truth struct {
	Name            string
	Now             time.Duration
	Cells           []pack.CellState // from the positive end
	StateOfCharge   float64          // mean of the cells, 0 to 1
	PackV           float64
	CurrentA        float64 // positive on charge
	PackC           float64
	AmbientC        float64
	HydrogenPct     float64
	GassingA        float64 // mean of the cells
	GassingAh       float64 // per cell string, mean of the cells
	SelfAh          float64 // self-discharge, like GassingAh
	LostML          float64 // water of one cell, mean of the cells
	Overflowed      bool    // acid has run over in any cell
	Totals          pack.Totals
	Connected       bool
	Ordered         bool // the relay's line is driven high
	ContactorClosed bool
	Charger         pack.ChargerStage
	Complete        bool // the charger's own contact
	Airflow, Mains  bool
	// InputMaxV is the highest voltage that the bay's wires have put on a converter's
	// input, before its protection diodes. Above 3.6 V a converter on 3.3 V is damaged.
	InputMaxV float64
}

// Truth returns the true state of the bay.
func (y *Stand) Truth() Truth {
	y.bench.mu.Lock()
	defer y.bench.mu.Unlock()
	t := Truth{
		Name: y.opts.Name, Now: y.now, PackV: y.pack.Volts(), CurrentA: y.pack.Amps(),
		PackC: y.pack.PackC(), AmbientC: y.ambientC(), HydrogenPct: y.room.Percent(),
		GassingA: y.pack.GassingA(), Totals: y.pack.Totals(), Connected: y.connected,
		Ordered: y.contactor.ordered, ContactorClosed: y.contactor.closedNow,
		Charger: y.charger.Stage(), Complete: y.charger.Complete(), Airflow: y.fan, Mains: y.mains,
		InputMaxV: y.inputMaxV,
	}
	n := float64(y.pack.Cells())
	for i := range y.pack.Cells() {
		c := y.pack.Cell(i + 1)
		t.Cells = append(t.Cells, c)
		t.StateOfCharge += c.StateOfCharge / n
		t.GassingAh += c.GassingAh / n
		t.SelfAh += c.SelfAh / n
		t.LostML += c.LostML / n
		t.Overflowed = t.Overflowed || c.OverflowML > 0
	}
	return t
}

// PilotCell returns the number of the cell with the level probe.
func (y *Stand) PilotCell() int { return y.opts.PilotCell }

// Name returns the bay's name.
func (y *Stand) Name() string { return y.opts.Name }
