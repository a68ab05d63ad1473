package opinion

import (
	"math"
	"time"

	"bayward/agent/bay"
)

// Figures of the physics. Currents are shares of the capacity per hour.
const (
	// waterGPerAh is Faraday's law: 3600 / 96485.33 / 2 * 18.01528 g.
	waterGPerAh = 0.336087
	// hydrogenLPerAh is the same law's gas at 25 °C.
	hydrogenLPerAh = 0.4564
	// expansionPerK is that of acid of 1.28 between 25 and 45 °C (from its density,
	// Myhre, Nielsen and Saastad 1998).
	expansionPerK = 5.66e-4
	// fallOfGravity is that of a traction cell from full to flat: 130 to 140 points
	// (TM 10-6140-200-14).
	fallOfGravity = 0.140
	// restOverGravity: a cell rests at its gravity plus 0.845 V (DOE-HDBK-1084-95).
	restOverGravity = 0.845
	// ohms is what a cell of 1 Ah loses, V h: 80 mV at the six-hour rate (from memory).
	ohms = 0.5
	// takesIn is how fast the last of the charge goes in, h: the rate that a cell
	// accepts is what is missing over this (from memory: an hour and less for new
	// plates).
	takesIn = 0.6
	// finish is the usual finish rate, 5 A for each 100 Ah (from memory), which a full
	// cell at 30 °C takes at gasesAtV. Of the current that only gasses, a tenth flows
	// 0.2 V lower (both electrodes' slopes, from memory), and half 8 K colder (UFC
	// 3-410-04N: the current of a full cell doubles for each 15 °F).
	finish, gasesAtV, gasesAtC = 0.05, 2.68, 30.0
	decadeV, doublesK          = 0.2, 8.0
	// bulk and limitV are those of a usual IUI charger: six hours' rate up to 2.40 V
	// at 25 °C, 4 mV less for each K (TM 10-6140-200-14: gassing is normal there).
	bulk, limitV, limitVPerK = 0.16, 2.40, -0.004
	// thermoneutralV is the voltage above which gassing makes heat (from memory).
	thermoneutralV = 1.48
	// heatPerAh is the heat of one cell, Wh/K for each Ah: 15 kg of lead, acid and jar
	// for 225 Ah, at 0.9 kJ/(kg K) (from memory).
	heatPerAh = 15 * 0.9 / 3.6 / 225
	// coolsIn is the time constant of a usual tray, h.
	coolsIn = 8.0
	// betweenPlates is the share of the section that is liquid below the plate tops.
	betweenPlates = 0.5
	gasUpIn       = 25 * time.Minute // hold-up, first order (from memory)
)

// cell is the truth of one cell.
type cell struct {
	ml  float64 // electrolyte above the plate tops at 25 °C without gas; below 0, missing
	use float64 // water used over what Faraday's law gives for the gassing current
}

// battery is the truth of a pack.
type battery struct {
	pack   bay.Pack
	cells  []cell
	outAh  float64 // taken out since full
	innerC float64 // electrolyte
	v      float64 // of a cell
	currentA, gasA,
	gasShare float64 // of the hold-up of the finish rate
	holdUpMM float64 // at the finish rate; several millimetres are typical (from memory)
	lawTimes float64 // gassing of these plates over that of the figures above
}

func newBattery(p bay.Pack, levelMM float64) *battery {
	b := &battery{pack: p, cells: make([]cell, p.Cells), innerC: 25, holdUpMM: 3, lawTimes: 1}
	for i := range b.cells {
		b.cells[i] = cell{levelMM * p.FreeSurfaceCM2 / 10, 1}
	}
	b.v = b.restV()
	return b
}

// settledMM is the level at 25 °C without gas.
func (b *battery) settledMM(i int) float64 {
	mm := b.cells[i].ml / b.pack.FreeSurfaceCM2 * 10
	if mm < 0 {
		return mm / betweenPlates
	}
	return mm
}

// warmMM is the rise of the level from 25 °C to a temperature.
func (b *battery) warmMM(c float64) float64 {
	return b.pack.ElectrolyteML * expansionPerK * (c - 25) / b.pack.FreeSurfaceCM2 * 10
}

// levelMM is the level as it is now.
func (b *battery) levelMM(i int) float64 {
	return b.settledMM(i) + b.warmMM(b.innerC) + b.gasShare*b.holdUpMM
}

// lowest returns the lowest level of all cells, as it is now.
func (b *battery) lowest() (mm float64) {
	mm = math.Inf(1)
	for i := range b.cells {
		mm = min(mm, b.levelMM(i))
	}
	return mm
}

func (b *battery) restV() float64 {
	return restOverGravity + b.pack.FullGravity - fallOfGravity*b.outAh/b.pack.CapacityAh
}

// gassingA is the current that a full cell takes at a voltage.
func (b *battery) gassingA(v float64) float64 {
	return b.lawTimes * finish * b.pack.CapacityAh * math.Pow(10, (v-gasesAtV)/decadeV) * math.Exp2((b.innerC-gasesAtC)/doublesK)
}

// storedA is the current that goes into the plates at a voltage: by resistance, and
// never more than the plates accept.
func (b *battery) storedA(v float64) float64 {
	accepts := b.outAh / takesIn
	over := v - b.restV()
	if accepts <= 0 || over <= 0 {
		return 0
	}
	return accepts * (1 - math.Exp(-over*b.pack.CapacityAh/ohms/accepts))
}

// voltageFor finds the voltage at which a cell takes a current.
func (b *battery) voltageFor(a float64) float64 {
	low, high := b.restV(), 3.0
	for range 26 {
		if mid := (low + high) / 2; b.storedA(mid)+b.gassingA(mid) < a {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// take passes a time at which the charger gives a current, the voltage being at most
// mostV.
func (b *battery) take(a, mostV float64, dt time.Duration, airC float64) {
	b.v, b.currentA, b.gasA = b.restV(), 0, 0
	stored := 0.0
	if a > 0 {
		b.v = min(b.voltageFor(a), mostV)
		stored = b.storedA(b.v)
		b.gasA = min(b.gassingA(b.v), a)
		b.currentA = min(stored+b.gasA, a)
	}
	h := dt.Hours()
	heat := stored*(b.v-b.restV()) + b.gasA*max(b.v-thermoneutralV, 0)
	b.outAh = max(b.outAh-stored*h, 0)
	for i := range b.cells {
		b.cells[i].ml -= b.cells[i].use * waterGPerAh * b.gasA * h
	}
	b.warm(heat/(heatPerAh*b.pack.CapacityAh)*h, dt, airC)
	to := min(b.gasA/(finish*b.pack.CapacityAh), 1.2)
	b.gasShare += (to - b.gasShare) * (1 - math.Exp(-float64(dt)/float64(gasUpIn)))
}

// warm adds heat, and cools by Newton's law.
func (b *battery) warm(k float64, dt time.Duration, airC float64) {
	b.innerC = airC + (b.innerC+k-airC)*math.Exp(-dt.Hours()/coolsIn)
}

// work takes charge out away from the bay, and warms the pack a little.
func (b *battery) work(ah, warmK float64) {
	b.outAh = min(b.outAh+ah, b.pack.CapacityAh)
	b.innerC += warmK
}

// pour adds water to a cell; 1 is the positive end.
func (b *battery) pour(cell int, ml float64) { b.cells[cell-1].ml += ml }

// hotMM is the highest that a cell's level gets when it gasses at a temperature.
func (b *battery) hotMM(i int, c float64) float64 {
	return b.settledMM(i) + b.warmMM(c) + b.holdUpMM
}

// charger gives a bulk current up to a limit of voltage, holds that until the current
// is down at the finish rate, and gives the finish rate for a time: IUI.
type charger struct {
	finishing bool
	finished  time.Duration // of the finish
	done      bool
}

const finishFor = 3 * time.Hour

// charge passes a time on charge.
func (c *charger) charge(b *battery, dt time.Duration, airC float64) {
	capAh := b.pack.CapacityAh
	switch {
	case c.done:
		b.take(0, 0, dt, airC)
	case c.finishing:
		b.take(finish*capAh, 3, dt, airC)
		c.finished += dt
		c.done = c.finished >= finishFor
	default:
		b.take(bulk*capAh, limitV+limitVPerK*(b.innerC-25), dt, airC)
		c.finishing = b.currentA <= finish*capAh
	}
}

// room is the air of the bay: its fan keeps a flow of Q = 0.055 n I(gas) for the
// finish rate (EN 62485-3), of which a room has 2.5 volumes (BGHW SP 02).
type room struct {
	fan         bool
	hydrogenPct float64
}

func (r *room) pass(b *battery, dt time.Duration) {
	n, most := float64(b.pack.Cells), finish*b.pack.CapacityAh
	flow := 0.055 * n * most // m³/h
	volume := 2.5 * flow
	if !r.fan {
		flow = 0
	}
	in := 100 * hydrogenLPerAh / 1000 * n * b.gasA // % m³/h
	if flow == 0 {
		r.hydrogenPct += in / volume * dt.Hours()
		return
	}
	to := in / flow
	r.hydrogenPct = to + (r.hydrogenPct-to)*math.Exp(-flow/volume*dt.Hours())
}
