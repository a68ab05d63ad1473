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
	"strconv"

	"bayward/agent/electrolyte"
	"bayward/agent/words"
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
	voice    words.Voice
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
	basisHydrogen = "Faraday's law and the ideal-gas law at 25 °C and 101.325 kPa (CODATA)"
	basisDilution = "UFC 3-410-04N (2004), chapter 8, eq. 6 with its mixing factor of 2, twice the gas for 92 °F (33 °C), design limit 1 %"
	basisDistance = electrolyte.BasisSafetyDistance + " (from memory); 500 mm: EN IEC 62485-3"
	atC           = 25.0
)

// ErrNoBays is returned when there are no bays to calculate for.
var ErrNoBays = errors.New("no bays")

// For calculates what places need, with its derivation in the language of the
// reader. The error names the bay and wraps ErrNoBays or electrolyte.ErrRange.
func For(places []Place, v words.Voice) (*Report, error) {
	if len(places) == 0 {
		return nil, ErrNoBays
	}
	r := &Report{Notes: notes(v), Cautions: cautions(v), voice: v}
	w := working{v}
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
		b := w.bay(p, gasA)
		r.Bays = append(r.Bays, b)
		hydrogen += b.Value(Hydrogen)
		flow += b.Value(Airflow)
	}
	r.Room = w.room(hydrogen, flow, len(places))
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

// working writes down how figures are worked out, in the language of a reader.
type working struct{ words.Voice }

// figure makes a figure with a formula of agent/words and the values put in.
func (w working) figure(name string, value float64, formula, basis string, putIn ...any) Figure {
	return Figure{name, value, w.Say("airflow.formula." + formula), w.Say("airflow.put."+formula, putIn...), basis}
}

func (w working) bay(p *Place, gasA float64) Need {
	b := Need{
		Bay: p.Bay, Pack: p.Pack, Cells: p.Cells, CapacityAh: p.CapacityAh, Charger: p.Curve.String(), RatedA: p.RatedA,
		Assumed: w.assumed(p),
	}
	n := float64(p.Cells)
	hydrogen := n * electrolyte.HydrogenL(gasA, atC)
	flow := electrolyte.AirflowM3PerH(p.Cells, gasA)
	b.Figures = append(b.Figures,
		w.gas(p, gasA),
		w.figure(Hydrogen, hydrogen, "hydrogen", basisHydrogen, n, plain(gasA)),
		w.figure(Airflow, flow, "airflow", electrolyte.BasisTractionAirflow, n, plain(gasA)))
	b.Figures = append(b.Figures, w.flow(flow)...)
	b.Figures = append(b.Figures, w.distance(p, gasA), w.dilution(hydrogen))
	return b
}

// assumed describes the assumptions made for inputs that the configuration does not
// give.
func (w working) assumed(p *Place) string {
	switch {
	case p.Curve != electrolyte.CurveUnknown:
		return ""
	case p.RatedA == 0:
		return w.Say("airflow.assumed.all")
	}
	return w.Say("airflow.assumed.curve")
}

// gas shows whether the table or the rated current decided.
func (w working) gas(p *Place, gasA float64) Figure {
	byTable, err := p.Curve.GasCurrentA(p.CapacityAh, 0)
	if err != nil || gasA > byTable {
		return w.figure(GasCurrent, gasA, "rated", w.Say("airflow.basis.rated"), plain(p.RatedA))
	}
	return w.figure(GasCurrent, gasA, "gas", basisGas, plain(gasA/p.CapacityAh*100), plain(p.CapacityAh))
}

// distance is at least the clear air path of a traction charging place.
func (w working) distance(p *Place, gasA float64) Figure {
	mAPerAh := gasA * 1000 / p.CapacityAh
	distance := max(electrolyte.SafetyDistanceMM(mAPerAh, p.CapacityAh), electrolyte.SparkFreeMM)
	return w.figure(Distance, distance, "distance", basisDistance, plain(mAPerAh), plain(p.CapacityAh))
}

// dilution takes the gas of a warm pack and a room that does not mix well, as its source
// does.
func (w working) dilution(hydrogenLPerH float64) Figure {
	warm := electrolyte.WarmGasFactor(electrolyte.WarmElectrolyteC)
	flow := electrolyte.RoomDilutionM3PerH(warm*hydrogenLPerH, electrolyte.HydrogenWarnFraction)
	return w.figure(USAirflow, flow, "dilution", basisDilution, plain(hydrogenLPerH))
}

func (w working) flow(flow float64) []Figure {
	return []Figure{
		w.figure(Opening, electrolyte.OpeningCM2(flow), "opening", electrolyte.BasisOpening, plain(flow)),
		w.figure(Room, electrolyte.FreeVolumeM3(flow), "room", electrolyte.BasisFreeVolume, plain(flow)),
	}
}

func (w working) room(hydrogen, flow float64, bays int) []Figure {
	sum := w.Say("airflow.put.sum", float64(bays))
	out := []Figure{
		{Hydrogen, hydrogen, w.Say("airflow.formula.releases"), sum, basisHydrogen},
		{Airflow, flow, w.Say("airflow.formula.flows"), sum, w.Say("airflow.basis.sum")},
	}
	return append(append(out, w.flow(flow)...), w.dilution(hydrogen))
}

// plain rounds to four significant digits.
func plain(v float64) float64 {
	out, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	return out
}
