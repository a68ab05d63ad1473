// Package airflow calculates the ventilation that a charging place for vented
// traction batteries needs: the hydrogen released, the air flow that dilutes it,
// the openings for that flow, the least free volume of the room, and the distance
// to keep clear of sparks. Every figure comes with its formula, its inputs, and the
// clause of the standard.
//
// The figures are for the worst hour of a charge and for all bays at once in one
// mixed room. A qualified electrician starts a design from them; they are never the
// design. They leave out where the gas collects, where the openings are, what
// happens when a fan fails, and what the local code requires.
package airflow

import (
	"errors"
	"fmt"
	"math"

	"bayward/agent/electrolyte"
)

// Place is one bay with the battery that is charged there.
type Place struct {
	Bay        string
	Pack       string
	Cells      int     // of 2 V in series, 1 or more
	CapacityAh float64 // above 0
	Curve      electrolyte.ChargerCurve
	RatedA     float64 // of the charger, A; 0: unknown
}

// Figure is one result with its derivation.
type Figure struct {
	Name    string  `json:"name"` // with the unit, such as airflow_m3_per_h
	Value   float64 `json:"value"`
	Formula string  `json:"formula"`
	PutIn   string  `json:"put_in"` // the formula with its numbers
	Basis   string  `json:"basis"`  // standard and clause
}

// Need is what one bay needs on its own.
type Need struct {
	Bay        string   `json:"bay"`
	Pack       string   `json:"pack"`
	Cells      int      `json:"cells"`
	CapacityAh float64  `json:"capacity_ah"`
	Charger    string   `json:"charger"` // the characteristic used
	RatedA     float64  `json:"rated_a,omitempty"`
	Assumed    string   `json:"assumed,omitempty"` // what was assumed for unknown inputs
	Figures    []Figure `json:"figures"`
}

// Report is what a room needs.
type Report struct {
	Bays     []Need   `json:"bays"`
	Room     []Figure `json:"room"` // all bays at once
	Notes    []string `json:"notes"`
	Cautions []string `json:"cautions"`
}

// Names of the figures.
const (
	GasCurrent = "gas_current_a"
	Hydrogen   = "hydrogen_l_per_h"
	Airflow    = "airflow_m3_per_h"
	Opening    = "opening_cm2"
	Room       = "room_m3"
	Distance   = "safety_distance_mm"
	USAirflow  = "us_airflow_m3_per_h"
)

const (
	basisGas      = "EN IEC 62485-3, table of gas currents for vented cells (as quoted publicly)"
	basisRated    = "inferred from the one published example of an unregulated charger"
	basisHydrogen = "Faraday's law and the ideal-gas law at 25 °C and 101.325 kPa (CODATA)"
	basisDilution = "UFC 3-410-04N (2004), chapter 8, eq. 5, at the design limit of 1 %"
	atC           = 25.0
)

// ErrNoBays is returned when there are no bays to calculate for.
var ErrNoBays = errors.New("no bays")

// For calculates what places need. The error names the bay and wraps ErrNoBays or
// electrolyte.ErrRange.
func For(places []Place) (*Report, error) {
	if len(places) == 0 {
		return nil, ErrNoBays
	}
	r := &Report{Notes: notes(), Cautions: cautions()}
	var hydrogen, flow float64
	for i := range places {
		p := &places[i]
		if p.Cells < 1 {
			return nil, fmt.Errorf("bay %s: %d cells, accepted 1 or more: %w", p.Bay, p.Cells, electrolyte.ErrRange)
		}
		gasA, err := p.Curve.GasCurrentA(p.CapacityAh, p.RatedA)
		if err != nil {
			return nil, fmt.Errorf("bay %s: %w", p.Bay, err)
		}
		b := p.bay(gasA)
		r.Bays = append(r.Bays, b)
		hydrogen += b.Value(Hydrogen)
		flow += b.Value(Airflow)
	}
	r.Room = roomFigures(hydrogen, flow, len(places))
	return r, nil
}

// Value returns a figure by its name; NaN when the bay has none of that name.
func (b *Need) Value(name string) float64 { return value(b.Figures, name) }

// Value returns a figure of the room by its name; NaN when there is none.
func (r *Report) Value(name string) float64 { return value(r.Room, name) }

func value(figures []Figure, name string) float64 {
	for i := range figures {
		if figures[i].Name == name {
			return figures[i].Value
		}
	}
	return math.NaN()
}

func (p *Place) bay(gasA float64) Need {
	b := Need{
		Bay: p.Bay, Pack: p.Pack, Cells: p.Cells, CapacityAh: p.CapacityAh, Charger: p.Curve.String(), RatedA: p.RatedA,
		Assumed: p.assumed(),
	}
	n := float64(p.Cells)
	hydrogen := n * electrolyte.HydrogenL(gasA, atC)
	flow := electrolyte.AirflowM3PerH(p.Cells, gasA)
	b.Figures = append(b.Figures, p.gasFigure(gasA), Figure{
		Hydrogen, hydrogen, "H2 = n × 0.4564 L/Ah × Igas",
		fmt.Sprintf("%d × 0.4564 × %s A", p.Cells, plain(gasA)), basisHydrogen,
	}, Figure{
		Airflow, flow, "Q = 0.055 × n × Igas",
		fmt.Sprintf("0.055 × %d × %s A", p.Cells, plain(gasA)), electrolyte.BasisTractionAirflow,
	})
	b.Figures = append(b.Figures, flowFigures(flow)...)
	b.Figures = append(b.Figures, p.distance(gasA), dilution(hydrogen))
	return b
}

// assumed describes the assumptions made for inputs that the configuration does not
// give.
func (p *Place) assumed() string {
	switch {
	case p.Curve != electrolyte.CurveUnknown:
		return ""
	case p.RatedA == 0:
		return "charger characteristic and rated current unknown: worst of the table used; an oversized unregulated charger would need more"
	}
	return "charger characteristic unknown: worst of the table or 40 % of the rated current, whichever is larger"
}

// gasFigure shows whether the table or the rated current decided.
func (p *Place) gasFigure(gasA float64) Figure {
	byTable, err := p.Curve.GasCurrentA(p.CapacityAh, 0)
	if err != nil || gasA > byTable {
		return Figure{GasCurrent, gasA, "Igas = 0.40 × rated current", fmt.Sprintf("0.40 × %s A", plain(p.RatedA)), basisRated}
	}
	per100 := gasA / p.CapacityAh * 100
	return Figure{
		GasCurrent, gasA, "Igas = gas current per 100 Ah × capacity / 100 Ah",
		fmt.Sprintf("%s A × %s / 100", plain(per100), plain(p.CapacityAh)), basisGas,
	}
}

// distance is at least the clear air path of a traction charging place.
func (p *Place) distance(gasA float64) Figure {
	mAPerAh := gasA * 1000 / p.CapacityAh
	return Figure{
		Distance, max(electrolyte.SafetyDistanceMM(mAPerAh, p.CapacityAh), electrolyte.SparkFreeMM),
		"d = 28.8 × cbrt(Igas per Ah) × cbrt(C), at least 500 mm; × cbrt(N) where N cells share a vent",
		fmt.Sprintf("28.8 × cbrt(%s mA/Ah) × cbrt(%s Ah)", plain(mAPerAh), plain(p.CapacityAh)),
		electrolyte.BasisSafetyDistance + " (from memory); 500 mm: EN IEC 62485-3",
	}
}

func dilution(hydrogenLPerH float64) Figure {
	return Figure{
		USAirflow, electrolyte.DilutionM3PerH(hydrogenLPerH, electrolyte.HydrogenWarnFraction), "Q = H2 / 0.01",
		fmt.Sprintf("%s L/h / 1000 / 0.01", plain(hydrogenLPerH)), basisDilution,
	}
}

func flowFigures(flow float64) []Figure {
	return []Figure{
		{Opening, electrolyte.OpeningCM2(flow), "A = 28 × Q, for the inlet and for the outlet", "28 × " + plain(flow) + " m³/h", electrolyte.BasisOpening},
		{Room, electrolyte.FreeVolumeM3(flow), "V = 2.5 × Q", "2.5 × " + plain(flow) + " m³/h", electrolyte.BasisFreeVolume},
	}
}

func roomFigures(hydrogen, flow float64, bays int) []Figure {
	sum := fmt.Sprintf("sum over %d bays", bays)
	out := []Figure{
		{Hydrogen, hydrogen, "sum of the releases", sum, basisHydrogen},
		{Airflow, flow, "sum of the flows", sum, "BGHW SP 02: flows of batteries charged at the same time add up"},
	}
	return append(append(out, flowFigures(flow)...), dilution(hydrogen))
}

func plain(v float64) string { return fmt.Sprintf("%.4g", v) }
