package bay

import (
	"math"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// View is a picture as other programs read it: the payload of the MQTT state
// topic and of the HTTP interface. Names carry their units; what is not known
// is absent. Times are ages in seconds, since the core has no wall clock.
type View struct {
	V             int           `json:"v"` // version of this shape: 1
	Bay           string        `json:"bay"`
	Pack          string        `json:"pack,omitempty"`      // absent while it is not known
	PackFrom      string        `json:"pack_from,omitempty"` // config, sensor or person: how it is known
	Packs         []string      `json:"packs,omitempty"`     // that may be plugged in, where there are several
	Stage         string        `json:"stage"`
	StageForS     float64       `json:"stage_for_s"`
	Says          string        `json:"says"` // what it is doing and why, one sentence
	Permit        string        `json:"permit"`
	BlockedForS   *float64      `json:"blocked_for_s,omitempty"` // absent while granted
	Findings      []FindingView `json:"findings"`
	PackV         *float64      `json:"pack_v,omitempty"`
	CurrentA      *float64      `json:"current_a,omitempty"`
	PackC         *float64      `json:"pack_c,omitempty"`
	AmbientC      *float64      `json:"ambient_c,omitempty"`
	LevelMM       *float64      `json:"level_mm,omitempty"`      // the least that the probe proves
	LevelHighMM   *float64      `json:"level_high_mm,omitempty"` // the most that it allows
	HydrogenPct   *float64      `json:"hydrogen_pct,omitempty"`
	Full          bool          `json:"full"`
	FullEvidence  string        `json:"full_evidence,omitempty"`
	FullDoubt     string        `json:"full_doubt,omitempty"`   // what speaks against calling it full; a hydrometer settles it
	EqualizeDue   string        `json:"equalize_due,omitempty"` // why the cells should be brought to the same charge; advice
	StateOfCharge *float64      `json:"state_of_charge,omitempty"`
	ReadyInS      *float64      `json:"ready_in_s,omitempty"`
	ReadyEarlyS   *float64      `json:"ready_early_s,omitempty"`
	ReadyLateS    *float64      `json:"ready_late_s,omitempty"`
	WaterML       []float64     `json:"water_ml,omitempty"`        // per cell, to the fill mark
	CoverPlatesML []float64     `json:"cover_plates_ml,omitempty"` // per cell, only to cover the plates
	WaterLostML   float64       `json:"water_lost_ml"`             // per cell since the last fill
	ForecastH     *float64      `json:"forecast_h,omitempty"`      // until the lowest level for charging is reached
	// ForecastEarlyH and ForecastLateH are the ends of the forecast's range, see
	// water.ForecastCoverage.
	ForecastEarlyH *float64      `json:"forecast_early_h,omitempty"`
	ForecastLateH  *float64      `json:"forecast_late_h,omitempty"`
	OddCells       []OddCellView `json:"odd_cells,omitempty"`   // that take far more or less water than the others
	LevelAgain     []int         `json:"level_again,omitempty"` // cells whose last level reading wants a second one
	ChargeInAh     float64       `json:"charge_in_ah"`
	Visit          *VisitView    `json:"visit,omitempty"`
	Faults         []FaultView   `json:"faults,omitempty"`
}

// FindingView is a raised finding with all that a person needs.
type FindingView struct {
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

// VisitView is an open visit.
type VisitView struct {
	By              string    `json:"by"`
	ForS            float64   `json:"for_s"`
	OnlyCoverPlates bool      `json:"only_cover_plates"`
	GivenML         []float64 `json:"given_ml"`
}

// OddCellView is a cell that takes far more or less water than its neighbours.
type OddCellView struct {
	Cell  int     `json:"cell"`  // 1 is the positive end
	Ratio float64 `json:"ratio"` // of its water over the median of the cells
	Text  string  `json:"text"`  // what it usually means and what to check
}

// FaultView is a configured sensor that gives no usable value now.
type FaultView struct {
	Sensor string `json:"sensor"`
	Fault  string `json:"fault"`
}

// View makes the shape that other programs read. It allocates; the core's own
// path does not use it.
func (p *Picture) View() View {
	v := View{
		V: 1, Bay: p.Bay, Pack: p.Pack.Name, PackFrom: p.Naming.String(),
		Stage: p.Stage.String(), StageForS: (p.Now - p.StageAt).Seconds(), Says: p.Says(),
		Permit: p.Permit.String(), BlockedForS: when(!p.Permit.Granted, (p.Now - p.Permit.Since).Seconds()),
		Findings: []FindingView{},
		PackV:    known(p.Seen.PackV, 3), CurrentA: known(p.Seen.CurrentA, 2), PackC: known(p.Seen.PackC, 2),
		AmbientC: known(p.Seen.AmbientC, 2), HydrogenPct: known(p.Seen.HydrogenPct, 3),
		Full: p.Charge.Full, FullEvidence: p.Charge.Evidence.String(),
		FullDoubt: p.Charge.Doubt.String(), EqualizeDue: p.Charge.Equalize.Due.String(),
		StateOfCharge: when(p.Charge.SocKnown, digits(p.Charge.Soc, 3)),
		WaterLostML:   digits(p.Water.LostML, 2), ChargeInAh: digits(p.Charge.InAh, 2),
	}
	if !p.Charge.Full {
		v.FullEvidence = ""
	}
	for _, pack := range p.Serves() {
		v.Packs = append(v.Packs, pack.Name)
	}
	if p.Seen.Level.OK() {
		v.LevelMM = when(true, digits(p.Seen.Level.LowMM, 2))
		v.LevelHighMM = when(true, digits(p.Seen.Level.HighMM, 2))
	}
	v.addCool(p)
	v.addWater(p)
	for c := range p.Findings {
		if p.Findings[c].Raised {
			v.Findings = append(v.Findings, p.findingView(interlock.Code(c)))
		}
	}
	if p.Visit.Open {
		v.Visit = &VisitView{
			By: p.Visit.By, ForS: (p.Now - p.Visit.Since).Seconds(), OnlyCoverPlates: p.Visit.OnlyCoverPlates,
			GivenML: append([]float64{}, p.Visit.GivenML[:p.Pack.Cells]...),
		}
	}
	v.Faults = p.faults()
	return v
}

func (v *View) addCool(p *Picture) {
	if !p.Cool.ReadyKnown {
		return
	}
	v.ReadyInS = seconds(p.Cool.ReadyIn)
	v.ReadyEarlyS = seconds(p.Cool.ReadyEarly)
	v.ReadyLateS = seconds(p.Cool.ReadyLate)
}

func (v *View) addWater(p *Picture) {
	if p.Water.Known {
		v.WaterML = wholeML(p.Water.NeedML[:p.Water.Cells])
		v.CoverPlatesML = wholeML(p.Water.CoverPlatesML[:p.Water.Cells])
	}
	v.ForecastH = when(p.Water.ForecastOK, digits(p.Water.ForecastH, 1))
	v.ForecastEarlyH = when(p.Water.ForecastOK, digits(p.Water.ForecastLo, 1))
	v.ForecastLateH = when(p.Water.ForecastOK, digits(p.Water.ForecastHi, 1))
	for _, o := range p.Water.OddCells() {
		v.OddCells = append(v.OddCells, OddCellView{Cell: o.Cell, Ratio: digits(o.Ratio, 2), Text: o.Text()})
	}
	v.LevelAgain = p.Water.DoubtedCells()
}

func (p *Picture) findingView(c interlock.Code) FindingView {
	f, r := &p.Findings[c], &interlock.Table[c]
	return FindingView{
		Code: r.Name, Title: r.Title, Severity: r.Severity.String(), Blocks: r.Blocks, Latched: f.Latched,
		ForS: (p.Now - f.Since).Seconds(), Evidence: interlock.Explain(c, f.Evidence),
		WhatToDo: r.WhatToDo, Basis: r.Basis,
	}
}

// Sensor is one of the readings with its name in messages and metrics.
type Sensor struct {
	Name    string
	Reading reading.Reading
}

// maxSensors is how many sensors a bay can have.
const maxSensors = 9

// Sensors lists the readings of the configured sensors in a fixed order. The
// level stands with its lower bound.
func (p *Picture) Sensors() []Sensor {
	s, h := &p.Seen, p.has
	all := make([]Sensor, 1, maxSensors)
	all[0] = Sensor{"pack-voltage", s.PackV}
	add := func(has bool, name string, r reading.Reading) {
		if has {
			all = append(all, Sensor{name, r})
		}
	}
	add(h.HasCurrent, "pack-current", s.CurrentA)
	add(true, "pack-temperature", s.PackC)
	add(h.HasAmbient, "ambient-temperature", s.AmbientC)
	add(true, "level", reading.Reading{Value: s.Level.LowMM, At: s.Level.At, Fault: s.Level.Fault})
	add(h.HasHydrogen, "hydrogen", s.HydrogenPct)
	add(h.HasAirflow, "airflow", s.Airflow)
	add(h.HasFeedback, "contactor-feedback", s.ContactorClosed)
	add(h.HasChargerContact, "charger-complete", s.ChargerComplete)
	return all
}

func (p *Picture) faults() []FaultView {
	var out []FaultView
	for _, s := range p.Sensors() {
		if !s.Reading.OK() {
			out = append(out, FaultView{Sensor: s.Name, Fault: s.Reading.Fault.String()})
		}
	}
	return out
}

// String is the permit in messages: "granted" or "blocked".
func (p Permit) String() string {
	if p.Granted {
		return "granted"
	}
	return "blocked"
}

// Codes lists the raised findings' names in the order of the table.
func (p *Picture) Codes() []string {
	out := []string{}
	for c := range p.Findings {
		if p.Findings[c].Raised {
			out = append(out, interlock.Code(c).String())
		}
	}
	return out
}

// Clone copies a picture so that it may be kept after the next tick.
func (p *Picture) Clone() *Picture {
	c := *p
	c.Seen.Orders = nil
	return &c
}

func known(r reading.Reading, n int) *float64 { return when(r.OK(), digits(r.Value, n)) }

// digits rounds for readers; decisions never see the rounded figure.
func digits(v float64, n int) float64 {
	p := math.Pow10(n)
	return math.Round(v*p)/p + 0 // not -0
}

// wholeML rounds down: too little water can be mended.
func wholeML(ml []float64) []float64 {
	out := make([]float64, len(ml))
	for i, v := range ml {
		out[i] = math.Floor(v)
	}
	return out
}

func when(ok bool, v float64) *float64 {
	if !ok {
		return nil
	}
	return &v
}

func seconds(d time.Duration) *float64 {
	s := d.Seconds()
	return &s
}
