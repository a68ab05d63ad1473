// Package view is a picture in the form that other programs read: one shape for
// the MQTT state topic, the HTTP interface and a replay. Its sentences are
// English.
package view

import (
	"math"
	"time"

	"bayward/agent/bay"
	"bayward/agent/cellcount"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// View is a picture in the form that other programs read: the payload of the MQTT
// state topic and of the HTTP interface. Names carry their units; unknown and
// non-finite values are absent. Times are ages in seconds, because the core has
// no wall clock.
type View struct {
	V             int       `json:"v"` // version of this shape: 1
	Bay           string    `json:"bay"`
	Pack          string    `json:"pack,omitempty"`      // absent while unknown
	PackFrom      string    `json:"pack_from,omitempty"` // config, sensor or person: how the pack is known
	Packs         []string  `json:"packs,omitempty"`     // that may be plugged in, where there are several
	Stage         string    `json:"stage"`
	StageForS     float64   `json:"stage_for_s"`
	Says          string    `json:"says"` // what the bay is doing and why, one sentence
	Permit        string    `json:"permit"`
	BlockedForS   *float64  `json:"blocked_for_s,omitempty"` // absent while granted
	Findings      []Finding `json:"findings"`
	PackV         *float64  `json:"pack_v,omitempty"`
	CurrentA      *float64  `json:"current_a,omitempty"`
	CurrentZeroA  *float64  `json:"current_zero_a,omitempty"`  // what the sensor shows when nothing flows, taken off current_a; absent while not measured
	CurrentNoiseA *float64  `json:"current_noise_a,omitempty"` // standard deviation of one reading; absent while not measured
	PackC         *float64  `json:"pack_c,omitempty"`
	AmbientC      *float64  `json:"ambient_c,omitempty"`
	LevelMM       *float64  `json:"level_mm,omitempty"`      // the least that the probe proves
	LevelHighMM   *float64  `json:"level_high_mm,omitempty"` // the most that it allows
	HydrogenPct   *float64  `json:"hydrogen_pct,omitempty"`
	Full          bool      `json:"full"`
	CellsVerdict  string    `json:"cells_verdict,omitempty"` // whether the configured number of cells fits the voltage at rest; absent while not known
	CellsFit      *float64  `json:"cells_fit,omitempty"`     // the number that fits best, not rounded
	FullEvidence  string    `json:"full_evidence,omitempty"`
	FullDoubt     string    `json:"full_doubt,omitempty"`   // what contradicts a full pack; a hydrometer settles it
	EqualizeDue   string    `json:"equalize_due,omitempty"` // why the cells should be brought to the same charge; advice
	Gravity       *Gravity  `json:"gravity,omitempty"`      // hydrometer readings of the last round
	StateOfCharge *float64  `json:"state_of_charge,omitempty"`
	// StateOfChargeLow and StateOfChargeHigh are the ends of its range, see
	// charge.Status.SocPlus.
	StateOfChargeLow  *float64  `json:"state_of_charge_low,omitempty"`
	StateOfChargeHigh *float64  `json:"state_of_charge_high,omitempty"`
	ReadyInS          *float64  `json:"ready_in_s,omitempty"`
	ReadyEarlyS       *float64  `json:"ready_early_s,omitempty"`
	ReadyLateS        *float64  `json:"ready_late_s,omitempty"`
	WaterML           []float64 `json:"water_ml,omitempty"`        // per cell, to the fill mark
	CoverPlatesML     []float64 `json:"cover_plates_ml,omitempty"` // per cell, only to cover the plates
	CeilingMM         *float64  `json:"ceiling_mm,omitempty"`      // highest level for a charge, as a level rod shows it now
	GasHoldUpMM       *float64  `json:"gas_hold_up_mm,omitempty"`  // see water.Status.HeldMM
	// WaterLostSinceFillML is per cell, as far as the measured level corrects the gassing
	// law; the two after it are the ends of its range, see water.ForecastCoverage. A
	// replay's water_lost_ml also counts what was lost before the last fill, by the law.
	WaterLostSinceFillML     *float64 `json:"water_lost_since_fill_ml,omitempty"`
	WaterLostSinceFillLowML  *float64 `json:"water_lost_since_fill_low_ml,omitempty"`
	WaterLostSinceFillHighML *float64 `json:"water_lost_since_fill_high_ml,omitempty"`
	ForecastH                *float64 `json:"forecast_h,omitempty"` // until the lowest level for charging is reached
	// ForecastEarlyH and ForecastLateH are the ends of the forecast's range, see
	// water.ForecastCoverage.
	ForecastEarlyH  *float64  `json:"forecast_early_h,omitempty"`
	ForecastLateH   *float64  `json:"forecast_late_h,omitempty"`
	OddCells        []OddCell `json:"odd_cells,omitempty"`        // that take far more or less water than the others
	OverfilledCells []int     `json:"overfilled_cells,omitempty"` // filled over their highest level for a charge
	LevelAgain      []int     `json:"level_again,omitempty"`      // cells whose last level reading needs a second one
	// LowestMM is the lowest settled level that any cell is likely to have,
	// LowestCarefulMM the careful lower bound of all cells (see water.Status.SurelyMM),
	// LowestHighMM the highest that the lowest cell may have.
	LowestMM        *float64  `json:"lowest_mm,omitempty"`
	LowestCarefulMM *float64  `json:"lowest_careful_mm,omitempty"`
	LowestHighMM    *float64  `json:"lowest_high_mm,omitempty"`
	ReadDue         bool      `json:"read_due"`                // somebody must come and read levels within days
	ReadDueH        *float64  `json:"read_due_h,omitempty"`    // until the careful lower bound is at the plate tops
	ReadCells       []int     `json:"read_cells,omitempty"`    // to read with the level rod at the next visit, the worst first
	UnrecordedMM    *float64  `json:"unrecorded_mm,omitempty"` // by which the level rose without recorded water
	ChargeInAh      *float64  `json:"charge_in_ah,omitempty"`
	Visit           *Visit    `json:"visit,omitempty"`
	Holds           []Lock    `json:"holds,omitempty"`      // who holds the charge; it stays blocked until the last one is removed
	CloseInS        *float64  `json:"close_in_s,omitempty"` // countdown after the last hold or visit, before the contactor may close
	Faults          []Fault   `json:"faults,omitempty"`
	SensorProofs    []Proof   `json:"sensor_proofs,omitempty"` // of the sensors that have shown that they live
	Watchdog        *Watchdog `json:"watchdog,omitempty"`      // absent with simulated sensors
}

// Finding is a raised finding with everything a technician needs.
type Finding struct {
	Code     string  `json:"code"`
	Title    string  `json:"title"`
	Severity string  `json:"severity"`
	Blocks   bool    `json:"blocks"`
	Latched  bool    `json:"latched"`
	ForS     float64 `json:"for_s"`
	Evidence string  `json:"evidence"`
	WhatToDo string  `json:"what_to_do"`
	Basis    string  `json:"basis"`
}

// Visit is an open visit.
type Visit struct {
	By              string    `json:"by"`     // who opened it
	People          []Lock    `json:"people"` // who is in it; the last one closes it
	ForS            float64   `json:"for_s"`
	OnlyCoverPlates bool      `json:"only_cover_plates"`
	GivenML         []float64 `json:"given_ml,omitempty"`   // per cell
	Cells           []Cell    `json:"cells,omitempty"`      // those at which something was recorded
	BareCells       []int     `json:"bare_cells,omitempty"` // still bare by the record
}

// Cell is what was recorded at one cell in the open visit.
type Cell struct {
	Cell          int      `json:"cell"` // 1 is the positive end
	GivenML       float64  `json:"given_ml"`
	How           string   `json:"how,omitempty"` // how GivenML was found
	DrawnML       float64  `json:"drawn_ml,omitempty"`
	Dry           bool     `json:"dry,omitempty"` // the level rod last showed the plates
	LevelBeforeMM *float64 `json:"level_before_mm,omitempty"`
	LevelAfterMM  *float64 `json:"level_after_mm,omitempty"` // absent while water was poured or drawn off since
	Gravity       *float64 `json:"gravity,omitempty"`        // as read, at AtC
	AtC           *float64 `json:"at_c,omitempty"`
	By            string   `json:"by,omitempty"`
	Done          bool     `json:"done"`
}

// Lock is one person's lock on the charge.
type Lock struct {
	By     string  `json:"by"` // "" when the person is not known any more
	ForS   float64 `json:"for_s"`
	Reason string  `json:"reason,omitempty"` // of a hold
}

func locks(all bay.Locks, now time.Duration) []Lock {
	out := make([]Lock, len(all))
	for i, l := range all {
		out[i] = Lock{l.By, (now - l.Since).Seconds(), l.Reason}
	}
	return out
}

// OddCell is a cell that takes far more or less water than its neighbours.
type OddCell struct {
	Cell  int     `json:"cell"`  // 1 is the positive end
	Ratio float64 `json:"ratio"` // of its water to the median of the cells
	Text  string  `json:"text"`  // what it usually means and what to check
}

// Watchdog is the relay outside the Pi that opens when the heartbeat stops.
type Watchdog struct {
	Fitted   bool   `json:"fitted"`
	WhyNot   string `json:"why_not,omitempty"`   // the configuration's reason
	Proven   bool   `json:"proven"`              // a commissioning walk has seen it open
	ProvenAt string `json:"proven_at,omitempty"` // by the wall clock; absent if that was not set
	ProvenBy string `json:"proven_by,omitempty"`
}

func watchdog(p *bay.Picture) *Watchdog {
	w := p.Watchdog()
	if w == (bay.Watchdog{}) {
		return nil
	}
	out := &Watchdog{Fitted: w.Line != "", WhyNot: w.WhyNot, Proven: w.Proven, ProvenBy: w.By}
	if !w.At.IsZero() {
		out.ProvenAt = w.At.UTC().Format(time.RFC3339)
	}
	return out
}

// Fault is a configured sensor that gives no usable value now.
type Fault struct {
	Sensor string `json:"sensor"`
	Fault  string `json:"fault"`
}

// Proof is when a sensor last showed that it lives: by a movement that only a living one
// makes, see go doc ./agent/alive.
type Proof struct {
	Sensor string  `json:"sensor"`
	ForS   float64 `json:"for_s"` // since then
}

func proofs(p *bay.Picture) (all []Proof) {
	for s := range p.Proofs {
		if at := &p.Proofs[s]; at.Known {
			all = append(all, Proof{reading.Sensor(s).String(), max(p.Now-at.At, 0).Seconds()})
		}
	}
	return all
}

// Of builds the view of a picture. It allocates; the core's own path does not use
// it.
func Of(p *bay.Picture) View {
	english := words.EnglishSI()
	v := View{
		V: 1, Bay: p.Bay, Pack: p.Pack.Name, PackFrom: p.Naming.String(),
		Stage: p.Stage.String(), StageForS: (p.Now - p.StageAt).Seconds(), Says: english.Says(p),
		Permit: p.Permit.String(), BlockedForS: when(!p.Permit.Granted, (p.Now - p.Permit.Since).Seconds()),
		Findings: []Finding{},
		PackV:    known(p.Seen.PackV, 3), CurrentA: known(p.Seen.CurrentA, 2), PackC: known(p.Seen.PackC, 2),
		AmbientC: known(p.Seen.AmbientC, 2), HydrogenPct: known(p.Seen.HydrogenPct, 3),
		CurrentZeroA: when(p.Amps.ZeroKnown, reading.Round(p.Amps.ZeroA, 3)), CurrentNoiseA: when(p.Amps.NoiseKnown, reading.Round(p.Amps.NoiseA, 3)),
		CellsVerdict: p.Cells.Verdict.String(), CellsFit: when(p.Cells.Verdict != cellcount.Unknown, reading.Round(p.Cells.Fit, 2)),
		Full: p.Charge.Full, FullEvidence: p.Charge.Evidence.String(),
		FullDoubt: p.Charge.Doubt.String(), EqualizeDue: p.Charge.Equalize.Due.String(),
		Gravity:           gravityOf(p),
		StateOfCharge:     when(p.Charge.SocKnown, reading.Round(p.Charge.Soc, 3)),
		StateOfChargeLow:  when(p.Charge.SocKnown, reading.Round(max(p.Charge.Soc-p.Charge.SocPlus, 0), 3)),
		StateOfChargeHigh: when(p.Charge.SocKnown, reading.Round(min(p.Charge.Soc+p.Charge.SocPlus, 1), 3)),
		ChargeInAh:        when(true, reading.Round(p.Charge.InAh, 2)),
	}
	if !p.Charge.Full {
		v.FullEvidence = ""
	}
	for _, pack := range p.Serves() {
		v.Packs = append(v.Packs, pack.Name)
	}
	if p.Seen.Level.Usable() {
		v.LevelMM = when(true, reading.Round(p.Seen.Level.LowMM, 2))
		v.LevelHighMM = when(true, reading.Round(p.Seen.Level.HighMM, 2))
	}
	v.addCool(p)
	v.addWater(p)
	for c := range p.Findings {
		if p.Findings[c].Raised {
			v.Findings = append(v.Findings, findingOf(p, interlock.Code(c)))
		}
	}
	if p.Visit.Open {
		v.Visit = &Visit{
			By: p.Visit.By, People: locks(p.Visit.People, p.Now), ForS: (p.Now - p.Visit.Since).Seconds(), OnlyCoverPlates: p.Visit.OnlyCoverPlates,
			GivenML: each(p.Visit.GivenML[:p.Pack.Cells], func(ml float64) float64 { return ml }),
			Cells:   cellsOf(p), BareCells: p.Visit.Bare.Numbers(),
		}
	}
	v.Holds = locks(p.Holds, p.Now)
	if f := &p.Findings[interlock.CloseDelay]; f.Raised {
		v.CloseInS = when(true, f.Evidence.Value)
	}
	v.Faults, v.SensorProofs, v.Watchdog = faults(p), proofs(p), watchdog(p)
	return v
}

func (v *View) addCool(p *bay.Picture) {
	if !p.Cool.ReadyKnown {
		return
	}
	v.ReadyInS = seconds(p.Cool.ReadyIn)
	v.ReadyEarlyS = seconds(p.Cool.ReadyEarly)
	v.ReadyLateS = seconds(p.Cool.ReadyLate)
}

func (v *View) addWater(p *bay.Picture) {
	if p.Water.Known {
		// Rounded down: too little water can be corrected.
		v.WaterML = each(p.Water.NeedML[:p.Water.Cells], math.Floor)
		v.CoverPlatesML = each(p.Water.CoverPlatesML[:p.Water.Cells], math.Floor)
	}
	v.CeilingMM = when(true, reading.Round(p.Water.CeilingNowMM(), 1))
	v.GasHoldUpMM = when(p.Water.HeldOK, reading.Round(p.Water.HeldMM, 1))
	v.WaterLostSinceFillML = when(true, reading.Round(p.Water.LostLikelyML, 2))
	v.WaterLostSinceFillLowML = when(true, reading.Round(p.Water.LostLoML, 2))
	v.WaterLostSinceFillHighML = when(true, reading.Round(p.Water.LostHiML, 2))
	v.ForecastH = when(p.Water.ForecastOK, reading.Round(p.Water.ForecastH, 1))
	v.ForecastEarlyH = when(p.Water.ForecastOK, reading.Round(p.Water.ForecastLo, 1))
	v.ForecastLateH = when(p.Water.ForecastOK, reading.Round(p.Water.ForecastHi, 1))
	for _, o := range p.Water.OddCells() {
		if ratio := reading.Round(o.Ratio, 2); reading.Finite(ratio) {
			v.OddCells = append(v.OddCells, OddCell{Cell: o.Cell, Ratio: ratio, Text: words.EnglishSI().Odd(o)})
		}
	}
	v.OverfilledCells = p.Water.Over.Numbers()
	v.LevelAgain = p.Water.DoubtedCells()
	v.LowestMM = when(p.Water.Known, reading.Round(p.Water.LowMM, 1))
	v.LowestHighMM = when(p.Water.SurelyOK, reading.Round(p.Water.LowHighMM, 1))
	v.LowestCarefulMM = when(p.Water.SurelyOK, reading.Round(p.Water.SurelyMM, 1))
	v.UnrecordedMM = when(p.Water.UnrecordedMM > 0, reading.Round(p.Water.UnrecordedMM, 1))
	v.ReadDue, v.ReadCells = p.Water.ReadDue, p.ToRead()
	v.ReadDueH = when(p.Water.ReadDueOK, reading.Round(p.Water.ReadDueH, 1))
}

func findingOf(p *bay.Picture, c interlock.Code) Finding {
	f, r := &p.Findings[c], &interlock.Table[c]
	english := words.EnglishSI()
	return Finding{
		Code: r.Name, Title: english.Title(c), Severity: r.Severity.String(), Blocks: r.Blocks, Latched: f.Latched,
		ForS: (p.Now - f.Since).Seconds(), Evidence: english.Why(p, c),
		WhatToDo: english.WhatToDo(c, f.Evidence), Basis: r.Basis,
	}
}

func cellsOf(p *bay.Picture) (all []Cell) {
	for i := range p.Pack.Cells {
		c, given := &p.Visit.Cells[i], p.Visit.GivenML[i]
		if *c == (bay.CellVisit{}) && given == 0 {
			continue
		}
		cell := Cell{
			Cell: i + 1, GivenML: reading.Round(given, 1), How: string(c.How), DrawnML: reading.Round(c.DrawnML, 1), Dry: c.Dry,
			LevelBeforeMM: finite(c.BeforeMM), Gravity: finite(c.Gravity), AtC: finite(c.AtC), By: c.By, Done: c.Done,
		}
		if mm, ok := c.ByRod(); ok && (given > 0 || c.DrawnML > 0) {
			cell.LevelAfterMM = when(true, mm)
		}
		if !reading.Finite(cell.GivenML) || !reading.Finite(cell.DrawnML) {
			return nil
		}
		all = append(all, cell)
	}
	return all
}

func faults(p *bay.Picture) []Fault {
	var out []Fault
	for _, s := range p.Sensors() {
		if !s.Reading.OK() {
			out = append(out, Fault{Sensor: s.Name, Fault: s.Reading.Fault.String()})
		}
	}
	return out
}

func known(r reading.Reading, n int) *float64 { return when(r.OK(), reading.Round(r.Value, n)) }

// each rounds a figure for each cell. If one is not finite, it omits all of them:
// JSON cannot express it, and the message must still be sent.
func each(values []float64, round func(float64) float64) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		if out[i] = round(v); !reading.Finite(v) {
			return nil
		}
	}
	return out
}

// when returns nil for an unknown or non-finite value.
func when(ok bool, v float64) *float64 {
	if !ok || !reading.Finite(v) {
		return nil
	}
	return &v
}

// finite returns a copy of a known and finite value, otherwise nil.
func finite(v *float64) *float64 { return when(v != nil, valueOf(v)) }

func valueOf(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func seconds(d time.Duration) *float64 {
	s := d.Seconds()
	return &s
}
