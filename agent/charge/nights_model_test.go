package charge_test

import (
	"math"
	"math/rand/v2"
)

// A pack of two electrodes a cell, which shares no equation with the package under
// test or with its gassing law. Each electrode has its own sulfate, its own limit of
// what it accepts and its own Tafel line of gas; the cell has acid and water by mass;
// the pack has a core and a case, and cells that differ.
//
// Spreads, with their origin:
//   - slopes of oxygen on lead dioxide 70 to 120 mV, of hydrogen on lead 100 to 130 mV
//     a decade (Berndt, Maintenance-Free Batteries, and Bode 1977, from memory);
//   - current of a full vented cell at 2.23 V: 0.01 to 0.1 A for each 100 Ah, and up
//     to fifteen times that with old antimony grids (the same, from memory);
//   - it doubles for 8 to 12 K (UFC 3-410-04N: for 15 °F);
//   - time in which the last sulfate goes: 0.4 to 2 h of sound plates, 2.5 to 4.5 h of
//     sulfated ones (TM 10-6140-200-14 names the fault; the figures are ours);
//   - voltage of the acid: Bode (1977), as printed in testdata/data/README.md;
//   - gravity of a full cell 1.275 to 1.295 (TM 10-6140-200-14);
//   - capacity of a pack in service 65 to 110 % of nominal (80 %: replace, the same).
type electrode struct {
	q      float64 // charged share of its mass
	mass   float64 // Ah
	takesH float64 // time constant of the last sulfate, h
	g      float64 // conductance of the reaction, 1/h
	gas0   float64 // gas at rest potential, share of the capacity per hour
	decade float64 // V a decade
	eta    float64 // overpotential, V: where the solver starts
}

const scaleEta = 0.045 // V, slope of the charging reaction

// at returns the charging current and gas at an overpotential, A, and the slope.
func (e *electrode) at(eta, capAh, hot float64) (main, gas, slope float64) {
	limit := e.mass*(1-e.q)/e.takesH*math.Sqrt(hot) + 1e-9*capAh
	x := e.g * capAh * math.Expm1(eta/scaleEta) / limit
	dx := e.g * capAh * math.Exp(eta/scaleEta) / scaleEta / limit
	main = limit * x / (1 + x)
	gas = capAh * e.gas0 * hot * math.Exp(eta*math.Ln10/e.decade)
	return main, gas, limit*dx/(1+x)/(1+x) + gas*math.Ln10/e.decade
}

// carry finds the overpotential at which the electrode carries a current.
func (e *electrode) carry(a, capAh, hot float64) (main float64) {
	lo, hi, eta := 0.0, 1.2, e.eta
	for range 40 {
		m, gas, slope := e.at(eta, capAh, hot)
		over := m + gas - a
		if math.Abs(over) < 1e-4*a+1e-7*capAh {
			e.eta = eta
			return min(m, a)
		}
		if over > 0 {
			hi = eta
		} else {
			lo = eta
		}
		eta -= over / slope
		if !(eta > lo && eta < hi) {
			eta = (lo + hi) / 2
		}
	}
	e.eta = eta
	m, _, _ := e.at(eta, capAh, hot)
	return min(m, a)
}

// nightCell is one cell, or several equal ones.
type nightCell struct {
	pos, neg electrode
	times    float64
	acidG    float64 // sulfuric acid when full
	waterG   float64
	ohm      float64
	poreV    float64 // what the acid in the pores adds
	poreH    float64 // time in which that goes, h
	leakA    float64 // a short inside, at 2 V
	dead     bool    // shorted through
	mainP    float64
	mainN    float64
}

func (c *nightCell) soc() float64 {
	if c.dead {
		return 0
	}
	return min(c.pos.q, c.neg.q)
}

// acidV is the rest voltage by the molality of the acid (Bode 1977).
func (c *nightCell) acidV(atC float64) float64 {
	mean := (c.pos.q*c.pos.mass + c.neg.q*c.neg.mass) / 2
	missing := (c.pos.mass+c.neg.mass)/2 - mean
	acid := max(c.acidG-3.659*missing, 0.05*c.acidG)
	water := c.waterG + 0.672*missing
	m := math.Log10(acid / 98.08 / water * 1000)
	return 1.9228 + m*(0.147519+m*(0.063552+m*(0.073772+m*0.033612))) + 0.0002*(atC-25)
}

// volts is the cell's voltage at a charging current.
func (c *nightCell) volts(a, capAh, hot, atC float64) float64 {
	if c.dead {
		return a * c.ohm
	}
	inside := max(a-c.leakA, 0)
	c.mainP, c.mainN = 0, 0
	u := c.acidV(atC) + c.poreV
	if inside > 0 {
		c.mainP, c.mainN = c.pos.carry(inside, capAh, hot), c.neg.carry(inside, capAh, hot)
		u += c.pos.eta + c.neg.eta
	}
	return u + a*c.ohm
}

// pass passes time at the current of the last call of volts.
func (c *nightCell) pass(a, h, capAh float64) {
	if c.dead {
		return
	}
	drain := max(c.leakA-a, 0)
	c.pos.q = min(max(c.pos.q+(c.mainP-drain)*h/c.pos.mass, 0), 1)
	c.neg.q = min(max(c.neg.q+(c.mainN-drain)*h/c.neg.mass, 0), 1)
	to := 0.35 * (c.mainP + c.mainN) / 2 / capAh
	c.poreV += (to - c.poreV) * (1 - math.Exp(-h/c.poreH))
	c.waterG -= 0.336 * max(a-c.mainP, 0) * h
}

// nightPack is the truth of one night.
type nightPack struct {
	nominalAh, capAh float64
	n                float64
	cells            []nightCell
	coreC, caseC     float64
	airC             float64
	doublesK         float64
	toCaseH, toAirH  float64
	lastA            float64
	gasAh            float64 // that split water, of the mean cell
}

func (p *nightPack) hot() float64 { return math.Exp2((p.coreC - 25) / p.doublesK) }

func (p *nightPack) volts(a float64) float64 {
	u := 0.0
	for i := range p.cells {
		u += p.cells[i].times * p.cells[i].volts(a, p.nominalAh, p.hot(), p.coreC)
	}
	return u
}

// supply puts a source on the pack for some time: a voltage behind a resistance and a
// highest current. It returns what the terminals show.
func (p *nightPack) supply(openV, ohm, maxA, s float64) (v, a float64) {
	switch {
	case maxA <= 0 || p.volts(0) >= openV:
	case p.volts(maxA)+maxA*ohm <= openV:
		a = maxA
	default:
		a = p.solve(openV, ohm, maxA)
	}
	v = p.volts(a)
	p.advance(a, v, s)
	return v, a
}

// solve finds the current at a voltage, by steps of its logarithm.
func (p *nightPack) solve(openV, ohm, maxA float64) float64 {
	lo, hi := 1e-6*p.nominalAh, maxA
	a := min(max(p.lastA, lo), hi)
	for range 30 {
		over := p.volts(a) + a*ohm - openV
		if math.Abs(over) < 2e-4*p.n {
			break
		}
		if over > 0 {
			hi = a
		} else {
			lo = a
		}
		step := a * math.Exp(-over/(0.08*p.n+a*ohm))
		if !(step > lo && step < hi) {
			step = math.Sqrt(lo * hi)
		}
		a = step
	}
	p.lastA = a
	return a
}

func (p *nightPack) advance(a, v, s float64) {
	h := s / 3600
	heat := 0.0
	for i := range p.cells {
		c := &p.cells[i]
		heat += c.times * max(a-c.mainP, 0) * 0.6 // about what gassing leaves above 1.48 V and recombination
		c.pass(a, h, p.nominalAh)
		p.gasAh += c.times / p.n * max(a-c.mainP, 0) * h
	}
	heat += max(v-2.1*p.n, 0) * a * 0.8
	inKelvin := 0.0167 * p.nominalAh * p.n // Wh/K
	p.coreC += heat*h/inKelvin + (p.caseC-p.coreC)*h/p.toCaseH
	p.caseC += (p.coreC-p.caseC)*h/p.toCaseH*2 + (p.airC-p.caseC)*h/p.toAirH*2
}

// soc is the mean charge of the cells, lowest that of the worst.
func (p *nightPack) soc() (mean, lowest float64) {
	lowest = 1
	for i := range p.cells {
		c := &p.cells[i]
		mean += c.times * c.soc() / p.n
		lowest = min(lowest, c.soc())
	}
	return mean, lowest
}

// drawn draws from a normal spread that ends at two sigmas.
func drawn(r *rand.Rand, mean, sigma float64) float64 {
	return mean + sigma*min(max(r.NormFloat64(), -2), 2)
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// times draws a factor, evenly on a logarithmic scale.
func factor(r *rand.Rand, lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
