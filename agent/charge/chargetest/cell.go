package chargetest

import "math"

// Constants of the equations, as listed in testdata/data/README.md, section 4.
const (
	u0, g   = 2.13, 0.12
	rc, rd  = 0.42, 0.699
	mc, md  = 0.888, 0.0464
	cc, cd  = 1.001, 1.75
	gasA    = 0.020 // for each 100 Ah at 2.23 V and 298 K
	gasPerV = 11.0
	gasPerK = 0.06
	gasRefV = 2.23
	gasRefC = 298 - 273.15
	stepS   = 3.0
)

// CellString is a string of equal cells, some of which may be shorted.
type CellString struct {
	CapacityAh float64
	Cells      int
	Dead       int     // shorted cells: 0 V
	C          float64 // °C, constant
	Soc        float64 // truth, 0 to 1
	GassingAh  float64 // of a live cell
	StepS      float64 // longest step, s; 0 means 3 s, as in the published run
}

// Supply is what is connected to the terminals: a source of OpenV volts behind Ohm,
// with at most MaxA. A load has a negative LoadA and no source.
type Supply struct{ OpenV, Ohm, MaxA, LoadA float64 }

// line returns the voltage of a live cell as a + b*i.
func (p *CellString) line(s float64, charging bool) (a, b float64) {
	s = min(max(s, 0), 1)
	a = u0 - g*(1-s)
	if charging {
		return a, rc / p.CapacityAh * (1 + mc*s/(cc-s))
	}
	return a, rd / p.CapacityAh * (1 + md*(1-s)/(cd-(1-s)))
}

// solve returns current and cell voltage on a supply.
func (p *CellString) solve(s float64, sup *Supply) (i, v float64) {
	if sup.LoadA < 0 {
		a, b := p.line(s, false)
		return sup.LoadA, a + b*sup.LoadA
	}
	a, b := p.line(s, true)
	live := float64(p.Cells - p.Dead)
	if sup.MaxA <= 0 || sup.OpenV <= a*live {
		return 0, a
	}
	i = min((sup.OpenV-a*live)/(sup.Ohm+b*live), sup.MaxA)
	return i, a + b*i
}

// GasA returns the gassing current of a cell at v and c.
func (p *CellString) GasA(v float64) float64 {
	return p.CapacityAh / 100 * gasA * math.Exp(gasPerV*(v-gasRefV)+gasPerK*(p.C-gasRefC))
}

func (p *CellString) rate(s float64, sup *Supply) float64 {
	i, v := p.solve(s, sup)
	gas := p.GasA(v)
	if i > 0 {
		// Beyond the equilibrium of gas and current the equations are stiff; the
		// way back is limited so that three seconds do not overshoot.
		gas = min(gas, 2*i)
	}
	return (i - gas) / p.CapacityAh / 3600
}

// Step runs the pack for dtS seconds in Runge-Kutta steps and returns its current
// and voltage at the end.
func (p *CellString) Step(dtS float64, sup Supply) (packV, currentA float64) {
	most := p.StepS
	if most == 0 {
		most = stepS
	}
	n := max(int(math.Ceil(dtS/most)), 1)
	h := dtS / float64(n)
	for range n {
		k1 := p.rate(p.Soc, &sup)
		k2 := p.rate(p.Soc+h/2*k1, &sup)
		k3 := p.rate(p.Soc+h/2*k2, &sup)
		k4 := p.rate(p.Soc+h*k3, &sup)
		_, v := p.solve(p.Soc, &sup)
		p.GassingAh += p.GasA(v) * h / 3600
		p.Soc = min(max(p.Soc+h/6*(k1+2*k2+2*k3+k4), 0), 1)
	}
	i, v := p.solve(p.Soc, &sup)
	return v * float64(p.Cells-p.Dead), i
}

// FullSoc returns the charge at which all of a current gasses, so that this current
// can bring it no higher.
func (p *CellString) FullSoc(currentA float64) float64 {
	lo, hi := 0.0, 1.0
	for range 50 {
		mid := (lo + hi) / 2
		a, b := p.line(mid, true)
		if p.GasA(a+b*currentA) < currentA {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}
