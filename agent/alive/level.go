package alive

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// The movements of the level that show life.
const (
	// lifeMM is the least movement that shows life: above the noise, and below what the
	// rest after any full charge brings (project limit).
	lifeMM = 0.4
	// restMM is the demand at which a probe must have moved by lifeMM, and dueFor how long
	// after that. During a charge nothing is demanded: what heat and gas lift, the lost
	// water may lower. At rest both only fall.
	restMM, dueFor = 0.5, 30 * time.Minute
	// warmShare is the share of the published contraction that is demanded at rest: the
	// formula errs by 11 %, and a sensor on the case is not the acid.
	warmShare = 0.5
	// gasShare is the share of gas_hold_up_mm that is demanded: little, because that
	// figure is from memory. A cell without any gas passes by its contraction alone.
	gasShare = 0.1
	// finishRate is the gassing current, as a share of the capacity, at which a cell
	// holds its gas: the usual finish rate. heldShare of that is a charge that gasses,
	// since the law gives a pack of middle age less than it has. buildUp is how fast gas
	// builds up and leaves (from memory).
	finishRate, heldShare, calmShare, buildUp = 0.05, 0.2, 0.05, 30 * time.Minute
	// lostMM is the demand at which a calm level must have sunk by lifeMM. lostShare is
	// the share of the lost water that is demanded, by Faraday's law: the gassing law may
	// err by a factor of two. moreWarm is more than the whole expansion, which may hide it.
	lostMM, lostShare, moreWarm = 1.0, 0.5, 1.2
	// reviveMM is the movement that ends a doubt: a probe that is lifted and cleaned
	// moves by more.
	reviveMM = 2.0
	// handMM is how far a level rod and a probe that lives may differ: a rod is read in
	// 1/16 in, 1.6 mm (common practice, no source), and the probe adds as much.
	handMM = 3.0
	// pointMM is the widest span of a probe that measures.
	pointMM = 1.0
	// pourShare is the share of a fill by which a probe must rise, and rodShare that by
	// which it certainly passes a rod; fillFor lets the electrolyte settle after it.
	pourShare, rodShare = 0.4, 0.7
	leastPourMM         = 3.0
	fillFor             = 5 * time.Minute
	// spreadMM allows for the error of the balance where rods show no lower bound.
	spreadMM = 3.0
	// floorMM: a lower bound below it is none.
	floorMM = -40.0
)

// levelState is what happened since the probe last moved by lifeMM.
type levelState struct {
	MM    band    `json:"mm"`
	GasAh float64 `json:"gas_ah,omitempty"`
	AtC   float64 `json:"at_c,omitempty"` // of the pack when this began, valid with Warm
	Warm  bool    `json:"warm,omitempty"`
	Held  float64 `json:"held,omitempty"` // gas among the plates, 0 to 1
	DueS  float64 `json:"due_s,omitempty"`
	Rest  rest    `json:"rest"`
}

// rest is the rest after a charge that gassed.
type rest struct {
	On    bool    `json:"on,omitempty"`
	FromC float64 `json:"from_c,omitempty"`
	Held  float64 `json:"held,omitempty"` // when it began
}

// span is what rods showed last.
type span struct {
	lowMM, highMM float64
	seen          bool
}

// fill is a visit in which the pilot cell is filled.
type fill struct {
	open     bool
	from     reading.Level // when it was opened
	predict  float64
	predicts bool
	gassed   bool // gas was still among the plates
	pouredMM float64
	waits    time.Duration // until it is judged
}

func (w *Watch) followLevel(in *Inputs, gasAh float64) {
	st := &w.s.Level
	st.GasAh += gasAh
	packC, warm := in.PackC.Value, in.PackC.OK() && !w.senses[reading.PackTemperature].doubted()
	if w.dt > 0 && w.cfg.CapacityAh > 0 {
		st.rests(st.hold(gasAh, w.cfg.CapacityAh, w.dt), packC, warm)
	}
	if warm && !st.Warm && st.Held < calmShare {
		st.AtC, st.Warm, st.GasAh = packC, true, 0
	}
	w.shown = in.Level
	w.fill.predict, w.fill.predicts = predictAt(&w.fill, in)
	if !in.Level.Usable() {
		w.levelMM = filter{}
		return
	}
	if in.Level.HighMM-in.Level.LowMM > pointMM {
		w.followRods(in)
	} else if mm, ok := w.levelMM.add(in.Level.MidMM(), w.dt); ok {
		w.followPoint(mm, packC, warm)
	}
	w.judgeFill()
}

// predictAt keeps the balance's figure of when the visit was opened.
func predictAt(f *fill, in *Inputs) (mm float64, ok bool) {
	if f.open || f.waits > 0 {
		return f.predict, f.predicts
	}
	return in.PredictMM, in.PredictOK
}

// hold follows the gas among the plates as a share of what the finish rate holds, and
// reports whether the pack gasses. Time must have passed.
func (st *levelState) hold(gasAh, capacityAh float64, dt time.Duration) (gasses bool) {
	to := min(gasAh/dt.Hours()/(finishRate*capacityAh), 1)
	st.Held += (to - st.Held) * float64(dt) / float64(dt+buildUp)
	return to >= calmShare
}

// rests follows the rest after a charge that gassed.
func (st *levelState) rests(gasses bool, packC float64, warm bool) {
	switch {
	case gasses && st.Held >= heldShare:
		st.Rest, st.DueS = rest{On: warm, FromC: packC, Held: st.Held}, 0
	case gasses && st.Rest.On:
		st.Rest = rest{}
	}
}

// riseMM is the expansion from one temperature to another.
func (w *Watch) riseMM(fromC, toC float64) float64 {
	return electrolyte.LevelRiseMM(w.cfg.ElectrolyteML, w.cfg.FreeSurfaceCM2, fromC, toC, w.cfg.FullGravity)
}

// overdue reports whether the level must have moved since it last did.
func (w *Watch) overdue(packC float64) bool {
	st := &w.s.Level
	if r := &st.Rest; r.On {
		fell := -warmShare*w.riseMM(r.FromC, packC) + gasShare*w.cfg.GasHoldUpMM*min((r.Held-st.Held)/heldShare, 1)
		if fell >= restMM {
			return true
		}
	}
	if !st.Warm || st.Held >= calmShare {
		return false
	}
	lost := electrolyte.WaterML(st.GasAh) / w.cfg.FreeSurfaceCM2 * mmPerCM
	return lostShare*lost-moreWarm*math.Abs(w.riseMM(st.AtC, packC)) >= lostMM
}

const mmPerCM = 10.0

// followPoint follows a probe that measures.
func (w *Watch) followPoint(mm, packC float64, warm bool) {
	st := &w.s.Level
	st.MM.add(mm)
	switch n := &w.senses[reading.ElectrolyteLevel]; {
	case n.doubted():
		if w.moved(reading.ElectrolyteLevel, mm, reviveMM) {
			w.levelLives(mm)
		}
	case st.MM.width() >= lifeMM:
		w.levelLives(mm)
	case warm && w.overdue(packC):
		if st.DueS += w.dt.Seconds(); st.DueS >= dueFor.Seconds() {
			w.suspect(reading.ElectrolyteLevel, reading.NotMoving, mm)
		}
	}
}

// levelLives starts again from a movement; one in a rest is enough.
func (w *Watch) levelLives(mm float64) {
	w.s.Level = levelState{MM: band{mm, mm, true}, Held: w.s.Level.Held}
	w.prove(reading.ElectrolyteLevel)
}

// followRods takes each change of state for a sign of life.
func (w *Watch) followRods(in *Inputs) {
	now := span{in.Level.LowMM, in.Level.HighMM, true}
	if w.span.seen && now != w.span {
		w.levelLives(in.Level.MidMM())
	}
	w.span = now
}

// VisitOpened notes what the probe shows before a fill.
func (w *Watch) VisitOpened() {
	if w.fill.waits > 0 { // of a visit just before: it is judged with this one
		w.fill.open = true
		return
	}
	gassed := w.s.Level.Held >= calmShare
	w.fill = fill{open: true, from: w.shown, predict: w.fill.predict, predicts: w.fill.predicts, gassed: gassed}
}

// VisitClosed notes what was poured into the pilot cell, ml; 0 where nothing was, or
// where it is not known which cell has the probe.
func (w *Watch) VisitClosed(pilotML float64) {
	w.fill.open = false
	w.fill.pouredMM += pilotML / w.cfg.FreeSurfaceCM2 * mmPerCM
	if w.fill.waits = fillFor; !(w.fill.pouredMM >= leastPourMM) {
		w.fill = fill{}
	}
}

// judgeFill compares what was poured with how the level rose.
func (w *Watch) judgeFill() {
	f := &w.fill
	if f.waits <= 0 || f.open {
		return
	}
	if f.waits -= w.dt; f.waits > 0 {
		return
	}
	done := *f
	*f = fill{}
	if !done.from.Usable() {
		return
	}
	if done.from.HighMM-done.from.LowMM > pointMM {
		w.judgeRodFill(&done)
		return
	}
	need := pourShare * done.pouredMM
	if done.gassed {
		need -= w.cfg.GasHoldUpMM
	}
	mm := w.levelMM.v
	switch rose := mm - done.from.MidMM(); {
	case need < 1:
	case rose < need:
		w.suspect(reading.ElectrolyteLevel, reading.NotMoving, mm)
	default:
		w.levelLives(mm)
	}
}

// judgeRodFill: a fill that passes a rod must change the state.
func (w *Watch) judgeRodFill(f *fill) {
	from := f.from.LowMM
	if from < floorMM {
		if !f.predicts {
			return
		}
		from = f.predict - spreadMM
	}
	if from+rodShare*f.pouredMM > f.from.HighMM+1 && w.shown.LowMM == f.from.LowMM && w.shown.HighMM == f.from.HighMM {
		w.suspect(reading.ElectrolyteLevel, reading.NotMoving, w.shown.MidMM())
	}
}

// ByHand takes a reading of the pilot cell with a level rod, as read, mm. Where it agrees
// with the probe the probe is right now, which ends a doubt.
func (w *Watch) ByHand(mm float64) {
	if w.shown.Usable() && mm >= w.shown.LowMM-handMM && mm <= w.shown.HighMM+handMM && !math.IsNaN(mm) {
		w.levelLives(w.shown.MidMM())
	}
}
