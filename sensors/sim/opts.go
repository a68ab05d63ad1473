package sim

import (
	"time"

	"bayward/sensors/sim/pack"
	"bayward/sensors/wiring"
)

// ChargerKind is a bay's type of charger.
type ChargerKind = pack.ChargerKind

// The types of charger.
const (
	TwoStage = pack.TwoStage
	Taper    = pack.Taper
)

// Opts describe a bay's pack, charger and air, and the state they start in.
type Opts struct {
	Name           string
	Cells          int
	CapacityAh     float64 // at RateHours
	RateHours      float64 // 0: 20
	FullGravity    float64 // specific gravity when full at 25 °C; 0: 1.277
	FillMarkMM     float64 // for information; the physics does not use it
	ChargeLevelMM  float64 // likewise
	VentWellMM     float64 // acid above it is lost
	FreeSurfaceCM2 float64
	ElectrolyteML  float64 // of one cell; 0: 6 ml for each Ah

	StateOfCharge float64 // 0 to 1
	LevelMM       float64 // of the pilot cell: settled, 25 °C, no gas; negative is bare
	PackC         float64 // 0: AmbientC
	AmbientC      float64 // mean of the day
	AmbientSwingC float64 // half of the difference between afternoon and night

	Charger         ChargerKind
	ChargerA        float64 // 0: a fifth of the capacity
	RestartOnEnable bool    // a finished charger starts again when it is enabled again
	TauH            float64 // time constant of cooling; 0: 6 h
	Seed            uint64
	Connected       bool
	PilotCell       int // counted from 1 at the positive end; 0: the cell that the wiring names, or else 1
	// OwnSensor is the number of the 1-wire sensor that stays in the pack, instead
	// of the wiring's PackSensor; "" for none.
	OwnSensor string
	// HeartbeatHold is how long the external timer relay holds after a beat; 0: 10 s.
	HeartbeatHold time.Duration
	// FanRunUp is how long the fan takes, when the bay begins, to move the vane of its
	// airflow switch.
	FanRunUp time.Duration
}

// withDefaults returns the options with defaults filled in.
func (o Opts) withDefaults(w *wiring.Parts) Opts {
	fill := func(value *float64, otherwise float64) {
		if *value == 0 {
			*value = otherwise
		}
	}
	fill(&o.RateHours, 20)
	fill(&o.FullGravity, 1.277)
	fill(&o.ElectrolyteML, 6*o.CapacityAh)
	fill(&o.PackC, o.AmbientC)
	fill(&o.TauH, 6)
	if o.PilotCell == 0 && w.Level != nil && w.Level.CellsBelow > 0 {
		o.PilotCell = o.Cells - int(w.Level.CellsBelow)
	}
	o.PilotCell = max(o.PilotCell, 1)
	return o
}

// spec returns the pack's part of the options.
func (o Opts) spec() pack.Spec {
	return pack.Spec{
		Cells: o.Cells, CapacityAh: o.CapacityAh, RateHours: o.RateHours, FullGravity: o.FullGravity,
		VentWellMM: o.VentWellMM, FreeSurfaceCM2: o.FreeSurfaceCM2, ElectrolyteML: o.ElectrolyteML,
		StateOfCharge: o.StateOfCharge, LevelMM: o.LevelMM, PackC: o.PackC, TauH: o.TauH,
		PilotCell: o.PilotCell, Seed: o.Seed,
	}
}
