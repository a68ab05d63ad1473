package chargetest

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
)

// Row is one line of a series. NaN is no reading.
type Row struct {
	S, PackV, A, C float64
	Soc            float64 // truth, 0 to 1; NaN when unknown
	Complete       float64 // the charger's contact
}

// Series is a run, in order of time.
type Series []Row

// columns are the names that the files of testdata/data use for one thing.
var columns = map[string][]string{ //nolint:gochecknoglobals // a constant table
	"s": {"t_s"}, "v": {"cell_voltage_V", "voltage_V"}, "a": {"current_A"}, "c": {"temperature_C"}, "soc": {"soc_pct"},
}

// Load reads a series of testdata/data; cells multiplies its voltage, and scale
// its current.
func Load(path string, cells int, scale float64) (Series, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("load a series: %w", err)
	}
	defer func() { _ = f.Close() }()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("load %s: %w", path, err)
	}
	at := map[string]int{}
	for i, name := range all[0] {
		at[name] = i
	}
	var out Series
	for _, rec := range all[1:] {
		out = append(out, Row{
			S: field(rec, at, "s"), PackV: field(rec, at, "v") * float64(cells), A: field(rec, at, "a") * scale,
			C: field(rec, at, "c"), Soc: field(rec, at, "soc") / 100, Complete: math.NaN(),
		})
	}
	return out, nil
}

func field(rec []string, at map[string]int, what string) float64 {
	for _, name := range columns[what] {
		i, ok := at[name]
		if !ok {
			continue
		}
		if v, err := strconv.ParseFloat(rec[i], 64); err == nil {
			return v
		}
	}
	return math.NaN()
}

// Recorder records a series from a pack and its treatment.
type Recorder struct {
	Pack  *CellString
	EachS float64
	Rows  Series
	now   float64
}

func (r *Recorder) record(v, a float64) {
	r.Rows = append(r.Rows, Row{S: r.now, PackV: v, A: a, C: r.Pack.C, Soc: r.Pack.Soc, Complete: math.NaN()})
}

// Hours returns the time recorded so far.
func (r *Recorder) Hours() float64 { return r.now / 3600 }

// Rest leaves the pack at rest.
func (r *Recorder) Rest(hours float64) { r.Load(hours, 0) }

// Load draws a current as a share of the capacity, 0 or negative.
func (r *Recorder) Load(hours, rate float64) {
	for end := r.now + hours*3600; r.now < end; {
		r.now += r.EachS
		r.record(r.Pack.Step(r.EachS, Supply{LoadA: rate * r.Pack.CapacityAh}))
	}
}

// Charge runs a charger.
func (r *Recorder) Charge(hours float64, c Charger) {
	p := r.Pack
	cells := float64(p.Cells)
	v, a := p.Step(0, Supply{})
	for start := r.now; r.now < start+hours*3600; {
		openV, ohm, maxRate := c((r.now-start)/3600, v/cells, a/p.CapacityAh)
		r.now += r.EachS
		v, a = p.Step(r.EachS, Supply{OpenV: openV * cells, Ohm: ohm * cells / p.CapacityAh, MaxA: maxRate * p.CapacityAh})
		r.record(v, a)
	}
}
