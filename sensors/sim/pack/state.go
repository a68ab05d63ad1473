package pack

import (
	"fmt"
	"math"
)

// ErrNoCell is wrapped if the pack has no cell with a number.
var ErrNoCell = fmt.Errorf("no such cell")

// cell finds a cell by its number, from 1 at the positive end.
func (p *Battery) cell(number int) (*cell, error) {
	if number < 1 || number > len(p.cells) {
		return nil, fmt.Errorf("cell %d of %d: %w", number, len(p.cells), ErrNoCell)
	}
	return &p.cells[number-1], nil
}

// AddWater pours water into a cell, in millilitres, 0 or more.
func (p *Battery) AddWater(number int, ml float64) error {
	c, err := p.cell(number)
	if err != nil {
		return err
	}
	if !(ml >= 0) || math.IsInf(ml, 1) {
		return fmt.Errorf("add %v ml of water: not an amount", ml)
	}
	c.level.add(ml)
	c.level.spill(p.packC)
	return nil
}

// Leak lets electrolyte out of a cell at once, in millilitres, 0 or more, as a
// cracked jar does. Gravity and capacity stay the same.
func (p *Battery) Leak(number int, ml float64) error {
	c, err := p.cell(number)
	if err != nil {
		return err
	}
	if !(ml >= 0) || math.IsInf(ml, 1) {
		return fmt.Errorf("leak %v ml of electrolyte: not an amount", ml)
	}
	c.level.liquidML -= ml
	return nil
}

// Discharge takes out ampere-hours at once, like a shift's work; a cell is never
// emptied below 2 %. It returns how many the machine got.
func (p *Battery) Discharge(ah float64) float64 {
	for i := range p.cells {
		ah = min(ah, max((p.cells[i].soc-0.02)*p.cells[i].capacityAh, 0))
	}
	if !(ah > 0) {
		return 0
	}
	for i := range p.cells {
		c := &p.cells[i]
		c.soc -= ah / c.capacityAh
		c.slowV = 0
	}
	p.outAh += ah
	p.prepare()
	p.voltsAt(0)
	return ah
}

// Move starts slosh, as driving and plugging do.
func (p *Battery) Move() { p.sloshS, p.sloshing = 0, true }

// LevelMM returns a cell's level now with expansion, gas and slosh, in mm above the
// plate tops. A number out of range is a bug and gives NaN.
func (p *Battery) LevelMM(number int) float64 {
	c, err := p.cell(number)
	if err != nil {
		return math.NaN()
	}
	mm := c.level.standingMM(p.packC)
	if p.sloshing {
		mm += sloshMM * math.Exp(-p.sloshS/sloshCalmS) * math.Sin(2*math.Pi*p.sloshS/sloshPeriodS+c.level.sloshPhase)
	}
	return mm
}

// SettledMM returns a cell's level at 25 °C without gas or slosh, NaN for a number
// out of range.
func (p *Battery) SettledMM(number int) float64 {
	c, err := p.cell(number)
	if err != nil {
		return math.NaN()
	}
	return c.level.settledMM()
}

// Volts returns the pack voltage after the last step.
func (p *Battery) Volts() float64 { return p.packV }

// Amps returns the pack current of the last step, positive on charge.
func (p *Battery) Amps() float64 { return p.packA }

// SupplyA returns the charger's current of the last step.
func (p *Battery) SupplyA() float64 { return p.supplyA }

// PackC returns the electrolyte temperature in °C.
func (p *Battery) PackC() float64 { return p.packC }

// ProbeC returns the temperature of a probe on a cell's lid, in °C.
func (p *Battery) ProbeC() float64 { return p.probeC }

// Cells returns the number of cells.
func (p *Battery) Cells() int { return len(p.cells) }

// GassingA returns the gassing current of the last step, the mean of the cells.
func (p *Battery) GassingA() float64 {
	sum := 0.0
	for i := range p.cells {
		sum += p.cells[i].gasA
	}
	return sum / float64(len(p.cells))
}

// CellState is the true state of one cell.
type CellState struct {
	StateOfCharge float64 // 0 to 1
	CapacityAh    float64
	Volts         float64
	LevelMM       float64 // now, without slosh
	SettledMM     float64 // at 25 °C, without gas
	GassingAh     float64 // since the start
	SelfAh        float64 // lost by self-discharge since the start
	LostML        float64 // water decomposed since the start
	AddedML       float64
	OverflowML    float64 // acid let out at the vent since the start
}

// Cell returns the true state of a cell by its number; the zero state out of range.
func (p *Battery) Cell(number int) CellState {
	c, err := p.cell(number)
	if err != nil {
		return CellState{}
	}
	l := &c.level
	return CellState{
		StateOfCharge: c.soc, CapacityAh: c.capacityAh, Volts: c.volts,
		LevelMM: l.standingMM(p.packC), SettledMM: l.settledMM(),
		GassingAh: c.gassingAh, SelfAh: c.selfAh,
		LostML: l.lostML, AddedML: l.addedML, OverflowML: l.overflowedML,
	}
}

// Totals are the pack's sums since the start.
type Totals struct {
	InAh, OutAh float64 // through the terminals
	NetWh       float64 // in minus out
	HeatWh      float64 // made in the pack
}

// Totals returns the sums since the start.
func (p *Battery) Totals() Totals {
	return Totals{InAh: p.inAh, OutAh: p.outAh, NetWh: p.inWh, HeatWh: p.heatJ / 3600}
}
