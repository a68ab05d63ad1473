package circuit

import (
	"errors"
	"fmt"
	"math"
)

// State is the solution of a circuit: voltages at its nodes and currents through its
// parts.
type State struct {
	volts map[string]float64
	amps  map[string]float64
}

// Volts returns the voltage between two nodes. A node that no part connects any more
// has none against the ground.
func (s *State) Volts(node, against string) float64 { return s.volts[node] - s.volts[against] }

// Amps returns the current through a part, from From to To; 0 for a part that is open.
func (s *State) Amps(part string) float64 { return s.amps[part] }

// ErrNoState means that no combination of states of the parts agrees with itself.
var ErrNoState = errors.New("no state of the circuit agrees with itself")

const (
	straySiemens = 1e-11 // from each node to the ground, so that a floating one has a voltage
	onOhm        = 10.0  // of a diode that conducts
	stiffOhm     = 0.1   // of a supply
	closeV       = 1e-6  // what the states of two-state parts may differ by
)

// model is a part in one state: a resistance with a voltage source in series, or a
// current source.
type model struct {
	siemens, volts float64 // current = (V(from) - V(to) - volts) * siemens + amps
	amps           float64
}

// twoStates reports whether a part has two states.
func (p *Part) twoStates() bool {
	return p.Kind == Diode || p.Kind == Supply || p.Kind == Transmitter || p.Kind == Switched
}

// as returns a part's model in a state.
func (p *Part) as(on bool) model {
	switch p.Kind {
	case Resistor, Fuse:
		return model{siemens: 1 / p.Ohm}
	case Source:
		return model{siemens: 1 / max(p.Ohm, stiffOhm), volts: p.Volts}
	case Supply:
		if on {
			return model{siemens: 1 / max(p.Ohm, stiffOhm), volts: p.Volts}
		}
		return model{}
	case Diode:
		if on {
			return model{siemens: 1 / onOhm, volts: p.Volts}
		}
		return model{amps: -p.LeakA}
	case Transmitter:
		if on {
			return model{amps: p.Amps}
		}
		return model{siemens: p.Amps / p.Volts}
	case Switched:
		if on {
			return model{siemens: 1 / p.Ohm}
		}
	case Capacitor:
	}
	return model{} // a capacitor carries no direct current
}

// agrees reports whether the state of a part is the one that its voltage and current
// ask for.
func (p *Part) agrees(on bool, volts, amps float64) bool {
	switch {
	case p.Kind == Diode && on:
		return amps >= -closeV
	case p.Kind == Diode:
		return volts <= p.Volts+closeV
	case p.Kind == Supply && on:
		return amps <= closeV // a source's current flows out of its plus, from To to From
	case p.Kind == Supply:
		return volts >= p.Volts-closeV
	case on: // a transmitter
		return volts >= p.Volts-closeV
	}
	return volts <= p.Volts+closeV
}

// Solve returns the direct voltages and currents. It begins with every part off and
// changes one part at a time that does not agree; if that goes round in circles, it
// tries every combination.
func (c *Circuit) Solve() (*State, error) {
	var two []int
	for i := range c.Parts {
		if c.Parts[i].twoStates() {
			two = append(two, i)
		}
	}
	on := make([]bool, len(c.Parts))
	for range 4 * len(two) {
		s, err := c.try(on)
		if err != nil {
			return nil, err
		}
		i := c.disagrees(on, s)
		if i < 0 {
			return s, nil
		}
		on[i] = !on[i]
	}
	for pattern := range 1 << len(two) {
		for bit, i := range two {
			on[i] = pattern>>bit&1 != 0
		}
		s, err := c.try(on)
		if err != nil {
			return nil, err
		}
		if c.disagrees(on, s) < 0 {
			return s, nil
		}
	}
	return nil, fmt.Errorf("%s: %w", c.Name, ErrNoState)
}

// disagrees returns the first part whose state is not the one that the voltages and
// currents ask for, negative if there is none.
func (c *Circuit) disagrees(on []bool, s *State) int {
	for i := range c.Parts {
		p := &c.Parts[i]
		switch {
		case p.Kind == Switched && on[i] != (s.amps[p.By] > p.Amps),
			p.Kind != Switched && p.twoStates() && !p.agrees(on[i], s.Volts(p.From, p.To), s.amps[p.Name]):
			return i
		}
	}
	return -1
}

// try solves the circuit with its parts in given states: Kirchhoff's current law at
// every node but the ground.
func (c *Circuit) try(on []bool) (*State, error) {
	index := c.index()
	n := len(index)
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = make([]float64, n+1)
		rows[i][i] = straySiemens
	}
	for k := range c.Parts {
		p := &c.Parts[k]
		m := p.as(on[k])
		f, hasF := index[p.From]
		t, hasT := index[p.To]
		into := m.amps - m.volts*m.siemens
		if hasF {
			rows[f][f] += m.siemens
			rows[f][n] -= into
		}
		if hasT {
			rows[t][t] += m.siemens
			rows[t][n] += into
		}
		if hasF && hasT {
			rows[f][t] -= m.siemens
			rows[t][f] -= m.siemens
		}
	}
	v, err := eliminate(rows)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", c.Name, err)
	}
	s := &State{volts: map[string]float64{c.Ground: 0}, amps: map[string]float64{}}
	for name, i := range index {
		s.volts[name] = v[i]
	}
	for k := range c.Parts {
		p := &c.Parts[k]
		m := p.as(on[k])
		s.amps[p.Name] = (s.Volts(p.From, p.To)-m.volts)*m.siemens + m.amps
	}
	return s, nil
}

// index numbers the nodes apart from the ground.
func (c *Circuit) index() map[string]int {
	all := map[string]int{}
	for _, p := range c.Parts {
		for _, node := range []string{p.From, p.To} {
			if _, known := all[node]; !known && node != c.Ground {
				all[node] = len(all)
			}
		}
	}
	return all
}

// errSingular cannot happen: each node has a conductance to the ground.
var errSingular = errors.New("bug: a node without a conductance")

// eliminate solves linear equations, the right side in the last column.
func eliminate(rows [][]float64) ([]float64, error) {
	for col := range rows {
		pivot(rows, col)
		if rows[col][col] == 0 {
			return nil, errSingular
		}
		for r := range rows {
			if r != col {
				subtract(rows[r], rows[col], col)
			}
		}
	}
	v := make([]float64, len(rows))
	for i, row := range rows {
		v[i] = row[len(rows)] / row[i]
	}
	return v, nil
}

// pivot moves the row with the largest number in a column up to its place.
func pivot(rows [][]float64, col int) {
	best := col
	for r := col + 1; r < len(rows); r++ {
		if math.Abs(rows[r][col]) > math.Abs(rows[best][col]) {
			best = r
		}
	}
	rows[col], rows[best] = rows[best], rows[col]
}

// subtract takes so much of the other row that nothing is left in the column.
func subtract(row, other []float64, col int) {
	if f := row[col] / other[col]; f != 0 {
		for k := col; k < len(row); k++ {
			row[k] -= f * other[k]
		}
	}
}
