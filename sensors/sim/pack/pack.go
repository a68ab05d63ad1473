package pack

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
)

// Spec describes a pack and the state in which it starts.
type Spec struct {
	Cells          int
	CapacityAh     float64 // at RateHours
	RateHours      float64
	FullGravity    float64 // specific gravity when full, 25 °C
	VentWellMM     float64 // above the plate tops
	FreeSurfaceCM2 float64
	ElectrolyteML  float64 // of one cell, for its expansion
	StateOfCharge  float64 // 0 to 1
	LevelMM        float64 // pilot cell, settled, 25 °C, without gas
	PackC          float64
	TauH           float64 // time constant of cooling, h
	PilotCell      int     // 1 to Cells, counted from the positive end
	Seed           uint64  // of the spread between the cells
}

// Battery is one pack. It is not safe for concurrent use.
type Battery struct {
	spec   Spec
	cells  []cell
	restV  []float64 // rest voltage of each cell, once for a step
	heat   thermal
	packC  float64
	probeC float64
	jouleK float64 // heat capacity, J/K

	supplyA, packA, packV    float64
	sloshS                   float64 // since the pack was moved
	sloshing                 bool
	inAh, outAh, heatJ, inWh float64
}

// cutOffV is where the machine switches off: 1.7 V a cell (invented).
const cutOffV = 1.7

// New makes a pack. The error names invalid values.
func New(s Spec) (*Battery, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	p := &Battery{
		spec: s, cells: make([]cell, s.Cells), restV: make([]float64, s.Cells),
		packC: s.PackC, probeC: s.PackC, sloshS: math.Inf(1),
		jouleK: joulePerKgK * kgPerAhCell * s.CapacityAh * float64(s.Cells),
	}
	rng := rand.New(rand.NewPCG(s.Seed, 0x5ce11))
	c10 := tenHourAh(s.CapacityAh, s.RateHours)
	for i := range p.cells {
		p.cells[i] = newCell(s, c10, i+1 == s.PilotCell, rng)
	}
	p.prepare()
	p.voltsAt(0)
	return p, nil
}

// newCell makes a cell with its part of the spread. The pilot cell has exactly the
// given level.
func newCell(s Spec, c10 float64, pilot bool, rng *rand.Rand) cell {
	spread := func(sigma float64) float64 { return 1 + sigma*min(max(rng.NormFloat64(), -2.5), 2.5) }
	size := spread(0.01)
	c := cell{
		capacityAh: s.CapacityAh * size, c10Ah: c10 * size,
		gasShare: spread(0.06), selfShare: spread(0.1),
	}
	c.soc = min(max(s.StateOfCharge+spread(0.008)-1, 0.001), 0.9995)
	c.level = level{
		areaCM2: s.FreeSurfaceCM2, ventWellMM: s.VentWellMM, acidML: s.ElectrolyteML,
		sloshPhase: 2 * math.Pi * rng.Float64(),
	}
	levelMM := s.LevelMM
	if offset := 0.4 * (spread(1) - 1); !pilot {
		levelMM += offset
	}
	c.level.liquidML = c.level.volumeML(levelMM)
	c.volts = RestV(s.FullGravity - gravitySpan*(1-c.soc))
	return c
}

// check refuses values outside the range of the equations.
func (s Spec) check() error {
	var errs []error
	between := func(name string, value, least, most float64) {
		if !(value >= least && value <= most) {
			errs = append(errs, fmt.Errorf("%s %v is not between %v and %v", name, value, least, most))
		}
	}
	between("cells", float64(s.Cells), 1, 48)
	between("capacity (Ah)", s.CapacityAh, 1, 2000)
	between("rate (h)", s.RateHours, 1, 100)
	between("full gravity", s.FullGravity, 1.21, 1.30)
	between("bottom of the vent well (mm)", s.VentWellMM, 1, 200)
	between("free surface (cm2)", s.FreeSurfaceCM2, 1, 10000)
	between("electrolyte (ml)", s.ElectrolyteML, 1, 100000)
	between("state of charge", s.StateOfCharge, 0, 1)
	between("level (mm)", s.LevelMM, -200, s.VentWellMM)
	between("pack temperature (°C)", s.PackC, -20, 60)
	between("time constant (h)", s.TauH, 0.1, 100)
	between("pilot cell", float64(s.PilotCell), 1, float64(s.Cells))
	return errors.Join(errs...)
}

// Supply is the charger's output: a source with a resistance and a current limit.
// The zero Supply gives no current.
type Supply struct {
	OpenV float64 // voltage without load
	Ohm   float64 // inner resistance, above 0
	MaxA  float64 // current limit
}

// Step advances the pack by dt seconds (0 to 60) on a supply, with the machine's
// load and the air around it.
func (p *Battery) Step(dtS float64, s Supply, loadA, ambientC float64) {
	p.prepare()
	p.balance(s, loadA)
	watts := p.heatW(p.packA)
	hours := dtS / 3600
	p.inAh += max(p.packA, 0) * hours
	p.outAh += max(-p.packA, 0) * hours
	p.inWh += p.packA * p.packV * hours
	for i := range p.cells {
		c := &p.cells[i]
		c.advance(dtS, p.heat.selfPerS, p.restV[i])
		c.level.holdGas(dtS, c.gasA, p.packC)
		c.level.spill(p.packC)
	}
	p.warm(dtS, watts, ambientC)
	p.calm(dtS)
}

// prepare sets each cell's part of the step that does not depend on its current.
func (p *Battery) prepare() {
	p.heat.at(p.packC)
	for i := range p.cells {
		c := &p.cells[i]
		p.restV[i] = RestV(p.spec.FullGravity-gravitySpan*(1-c.soc)) + restVPerK*(p.packC-25)
		c.prepare(p.heat, p.restV[i])
	}
}

// balance finds the current at which supply and pack agree: Newton's steps, kept
// between currents known to be too low and too high.
func (p *Battery) balance(s Supply, loadA float64) {
	amps := min(p.supplyA, max(s.MaxA, 0))
	low, high := -1.0, s.MaxA+1
	for range 60 {
		v, ohm := p.voltsAt(amps - loadA)
		gapV := s.OpenV - s.Ohm*amps - v
		if gapV > 0 {
			low = amps
		} else {
			high = amps
		}
		next := min(max(amps+gapV/(s.Ohm+ohm), 0), s.MaxA)
		if next <= low || next >= high {
			next = min(max((low+high)/2, 0), s.MaxA)
		}
		moved := math.Abs(next - amps)
		amps = next
		if moved < 1e-6*p.spec.CapacityAh {
			break
		}
	}
	p.supplyA, p.packA = amps, amps-loadA
	p.packV, _ = p.voltsAt(p.packA)
}

// voltsAt solves all cells for a pack current.
func (p *Battery) voltsAt(amps float64) (packV, ohm float64) {
	for i := range p.cells {
		ohm += p.cells[i].solve(amps)
		packV += p.cells[i].volts
	}
	p.packV = packV
	return packV, ohm
}

// calm lets the slosh decay.
func (p *Battery) calm(dtS float64) {
	if p.sloshing {
		p.sloshS += dtS
		p.sloshing = p.sloshS < 10*sloshCalmS
	}
}

// Resting reports whether nothing changes fast, so that longer steps are still
// accurate.
func (p *Battery) Resting() bool {
	if p.supplyA != 0 || p.sloshing {
		return false
	}
	for i := range p.cells {
		if p.cells[i].level.gasML > 0.05 {
			return false
		}
	}
	return true
}

// Exhausted reports whether the machine would switch off.
func (p *Battery) Exhausted() bool { return p.packV < cutOffV*float64(len(p.cells)) }
