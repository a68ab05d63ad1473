package alive

import (
	"math"
	"time"

	"bayward/agent/reading"
)

// The heat of a charge and the warming that it must bring.
const (
	// kgPerAhCell is the mass of a pack for each ampere-hour and cell: the heaviest trays
	// with their steel (from memory; golf-cart blocks have 0.042). joulePerKgK: the
	// System Advisor Model's published tests of a lead-acid pack.
	kgPerAhCell, joulePerKgK = 0.065, 1004.0
	// storedV is what an ampere-hour stores in a cell, the rest voltage of a full one;
	// neutralV what it takes to split water (1.48 V, from memory). What is left is heat.
	storedV, neutralV = 2.14, 1.48
	// sureGas is the share of the gassing law that is counted on in one evening.
	sureGas = 0.5
	// leakFor is how fast the warming fades from the demand: faster than any pack cools,
	// so that heat in balance with the air demands nothing.
	leakFor = 3 * time.Hour
	// demandK is the warming that proves enough to judge by: 100 Ah in a pack of 225 Ah.
	demandK = 2.0
	calmK   = 0.2 // below this nothing was charged lately
	// stillK is more than the last digit of a 12-bit thermometer, 0.0625 °C, flickers.
	stillK = 0.3
	// alikeK: a sensor that follows the air this closely while the pack is heated does
	// not sit on the pack.
	alikeK = 0.5
	// swapK is how much warmer than the pack the air must get to be the pack.
	swapK = 5.0
	// When a charge ends, the slope of the pack's temperature falls by what heated it.
	// sureKPerH is a heat that shows, and sameSlope the share of it by which the slope of
	// the air may fall with it; markFor is the time between two figures.
	sureKPerH, sameSlope, markFor = 1.0, 0.5, 10 * time.Minute
	lifeK                         = 1.0 // movement that proves a thermometer of the pack
	reviveK                       = 2.0 // a hand warms it by more
	// The air of a shed moves by more than two digits of a thermometer in three days
	// (common practice, no source).
	airStillK, airStillFor = 0.13, 72 * time.Hour
)

// warmthState is what happened since a charge began to heat the pack.
type warmthState struct {
	DemandK float64 `json:"demand_k,omitempty"` // since the pack's sensor has been read
	ApartK  float64 `json:"apart_k,omitempty"`  // the same since both have
	Pack    band    `json:"pack"`
	Apart   band    `json:"apart"`       // pack less air
	FirstC  float64 `json:"air_first_c"` // of the air; valid with Air
	Air     bool    `json:"air,omitempty"`
	Move    band    `json:"move"` // since the pack's sensor last showed life
	Slope   slope   `json:"slope"`
}

type airState struct {
	C      band    `json:"c"`
	StillS float64 `json:"still_s,omitempty"`
}

// heatK is the warming that a charge brings a pack that keeps its heat.
func (w *Watch) heatK(cellV, inAh, gasAh float64) float64 {
	gas := min(sureGas*gasAh, inAh)
	wh := (inAh-gas)*max(cellV-storedV, 0) + gas*max(cellV-neutralV, 0)
	return wh * 3600 / (kgPerAhCell * w.cfg.CapacityAh * joulePerKgK)
}

func (w *Watch) followWarmth(in *Inputs, inAh, gasAh float64) {
	st := &w.s.Warmth
	left := math.Exp(-w.dt.Seconds() / leakFor.Seconds())
	st.DemandK, st.ApartK = st.DemandK*left, st.ApartK*left
	// A thermometer that was not read does not owe the warming of that time.
	if in.PackC.OK() && in.CellV.OK() && w.cfg.Current && w.cfg.CapacityAh > 0 && !w.senses[reading.PackCurrent].doubted() && !w.senses[reading.PackVoltage].doubted() {
		heat := w.heatK(in.CellV.Value, inAh, gasAh)
		st.DemandK += heat
		if in.AmbientC.OK() {
			st.ApartK += heat
		}
		st.Slope.HeatK += heat
	}
	if st.DemandK < calmK {
		*st = warmthState{DemandK: st.DemandK, ApartK: st.ApartK, Move: st.Move, Slope: st.Slope}
	}
	if !in.PackC.OK() {
		return
	}
	packC := in.PackC.Value
	st.Move.add(packC)
	st.Pack.add(packC)
	if in.AmbientC.OK() {
		if !st.Air {
			st.Air, st.FirstC = true, in.AmbientC.Value
		}
		st.Apart.add(packC - in.AmbientC.Value)
	}
	switch {
	case in.AmbientC.OK() && st.Slope.mark(w.dt, packC, in.AmbientC.Value):
		w.exchange(packC, in.AmbientC.Value)
	case !w.doubtWarmth(in):
		w.packLives(packC, in.AmbientC)
	}
}

// packLives ends a doubt when the pack's thermometer moves, and not only with the air.
func (w *Watch) packLives(packC float64, airC reading.Reading) {
	st, n := &w.s.Warmth, &w.senses[reading.PackTemperature]
	lives := st.Move.width() >= lifeK
	if n.doubted() {
		lives = w.moved(reading.PackTemperature, packC, reviveK) && (!n.hasAir || airC.OK() && math.Abs(packC-airC.Value-n.atApart) >= reviveK)
	}
	if lives {
		st.Move = band{packC, packC, true}
		w.prove(reading.PackTemperature)
	}
}

func (w *Watch) exchange(packC, airC float64) {
	w.suspect(reading.PackTemperature, reading.Exchanged, packC)
	w.suspect(reading.AmbientTemperature, reading.Exchanged, airC)
}

// doubtWarmth judges the thermometers by the heat of a charge.
func (w *Watch) doubtWarmth(in *Inputs) bool {
	st := &w.s.Warmth
	if st.DemandK < demandK {
		return false
	}
	if in.AmbientC.OK() && st.Air && w.swapped(in.PackC.Value, in.AmbientC.Value) {
		w.exchange(in.PackC.Value, in.AmbientC.Value)
		return true
	}
	follows := in.AmbientC.OK() && st.ApartK >= demandK && st.Apart.width() < alikeK
	if st.Pack.width() < stillK || follows {
		if !w.senses[reading.PackTemperature].doubted() {
			w.suspect(reading.PackTemperature, reading.NotMoving, in.PackC.Value)
			n := &w.senses[reading.PackTemperature]
			n.atApart, n.hasAir = in.PackC.Value-in.AmbientC.Value, in.AmbientC.OK()
		}
		return true
	}
	return false
}

// swapped reports whether the air gets much warmer than the pack with the charge, and the
// pack does not warm: a pack that is colder than the air and is charged warms.
func (w *Watch) swapped(packC, airC float64) bool {
	st := &w.s.Warmth
	return airC-packC >= swapK && airC-st.FirstC >= swapK && st.Pack.width() <= st.DemandK
}

// slope compares how fast two thermometers rise before the end of a charge and after it.
// Figures are of every markFor, the newest first.
type slope struct {
	S     float64    `json:"s,omitempty"` // since the last figure
	HeatK float64    `json:"heat_k,omitempty"`
	Heat  [4]float64 `json:"heat"` // K/h
	Pack  [5]float64 `json:"pack"`
	Air   [5]float64 `json:"air"`
	N     int        `json:"n,omitempty"`
	After int        `json:"after,omitempty"` // figures since the end; 0: none
	// Before are the slopes before the end, and Was the heat then, K/h.
	PackBefore float64 `json:"pack_before,omitempty"`
	AirBefore  float64 `json:"air_before,omitempty"`
	Was        float64 `json:"was,omitempty"`
}

// mark takes a figure when one is due, and reports whether it shows that the thermometers
// are exchanged.
func (s *slope) mark(dt time.Duration, packC, airC float64) bool {
	if s.S += dt.Seconds(); s.S < markFor.Seconds() {
		return false
	}
	if s.S > 2*markFor.Seconds() {
		*s = slope{}
	}
	perH := 3600 / max(s.S, 1)
	shift(s.Heat[:], s.HeatK*perH)
	shift(s.Pack[:], packC)
	shift(s.Air[:], airC)
	s.S, s.HeatK, s.N = 0, 0, min(s.N+1, len(s.Pack))
	const calm = 0.1
	perH = 1 / (3 * markFor.Hours())
	switch {
	case s.Heat[0] > calm:
		s.After = 0
	case s.After > 0:
		if s.After++; s.After == 7 { // 20 minutes for the lag of a case, then 40 to look at
			s.After = 0
			perH = 1 / (4 * markFor.Hours())
			return s.exchanged((s.Pack[0]-s.Pack[4])*perH-s.PackBefore, (s.Air[0]-s.Air[4])*perH-s.AirBefore)
		}
	case s.N == len(s.Pack) && min(s.Heat[1], s.Heat[2], s.Heat[3]) >= sureKPerH:
		s.After, s.Was = 1, min(s.Heat[1], s.Heat[2], s.Heat[3])
		s.PackBefore, s.AirBefore = (s.Pack[1]-s.Pack[4])*perH, (s.Air[1]-s.Air[4])*perH
	}
	return false
}

// exchanged judges by how much the slopes changed, K/h.
func (s *slope) exchanged(pack, air float64) bool {
	return air <= -s.Was && pack >= -sameSlope*s.Was
}

func shift(list []float64, v float64) {
	copy(list[1:], list)
	list[0] = v
}

// followAir: the air is never the same for days.
func (w *Watch) followAir(in *Inputs) {
	if !in.AmbientC.OK() {
		return
	}
	st, n := &w.s.Air, &w.senses[reading.AmbientTemperature]
	st.C.add(in.AmbientC.Value)
	if st.C.width() > airStillK {
		*st = airState{C: band{in.AmbientC.Value, in.AmbientC.Value, true}}
		if n.doubt != reading.Exchanged {
			w.prove(reading.AmbientTemperature)
		}
		return
	}
	if st.StillS += w.dt.Seconds(); st.StillS >= airStillFor.Seconds() && !n.doubted() {
		w.suspect(reading.AmbientTemperature, reading.NotMoving, in.AmbientC.Value)
	}
}
