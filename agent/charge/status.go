package charge

import (
	"slices"
	"time"
)

// Evidence is what proved a pack full. The order is the order of trust, the least
// first; zero means that nothing did.
type Evidence uint8

// The evidence of full.
const (
	NoEvidence      Evidence = iota
	ChargerComplete          // the charger's own contact
	RestFactor               // ampere-hours returned over those that a rest voltage showed missing
	ChargeFactor             // ampere-hours returned over removed
	FinishRise               // a voltage at a finishing current that has little left to rise
	HeldHours                // hours at a held voltage and at float, current unknown
	HeldFloat                // little current at float, after a held voltage
	HeldTail                 // a current at a held voltage that has little left to charge
	SteadyVoltage            // compensated voltage unchanged over successive readings
	SteadyTaper              // current tapered and steady at regulated voltage
	HandGravity              // specific gravity entered by the technician
	numEvidence
)

var evidenceNames = [numEvidence]string{
	"", "charger-complete", "rest-factor", "charge-factor", "finish-rise", "held-hours", "held-float", "held-tail", "steady-voltage", "steady-taper", "hand-gravity",
}

// evidenceCodes are the numbers in a memory: those of an older program mean the same.
var evidenceCodes = [numEvidence]uint8{
	NoEvidence: 0, ChargerComplete: 1, ChargeFactor: 2, SteadyVoltage: 3, SteadyTaper: 4, HandGravity: 5,
	HeldTail: 6, HeldFloat: 7, RestFactor: 8, HeldHours: 9, FinishRise: 10,
}

// evidenceOf finds an evidence by its number in a memory; an unknown one is
// NoEvidence.
func evidenceOf(code uint8) Evidence { return Evidence(max(slices.Index(evidenceCodes[:], code), 0)) }

// String returns the evidence's name in messages, "" when there is none.
func (e Evidence) String() string {
	if e >= numEvidence {
		return ""
	}
	return evidenceNames[e]
}

// ParseEvidence finds an evidence by its name; an unknown name is NoEvidence.
func ParseEvidence(name string) Evidence {
	return Evidence(max(slices.Index(evidenceNames[:], name), 0))
}

// Doubt is what contradicts the evidence of full. Zero means nothing.
type Doubt uint8

// The doubts. A doubt never proves a fault; it is a question for the hydrometer.
const (
	NoDoubt Doubt = iota
	// RestsTooLow: the rest voltage is lower than all cells together can have after
	// a full charge, or than a flat pack has. A shorted or reversed cell, a deep
	// discharge, or a wrong cell count. "Lower than that points to a fault": TM
	// 5-684/MO-200.
	RestsTooLow
	// DrawsTooMuch: the steady current at the end is more than gassing explains.
	// Old plates, or a shorted cell among good ones.
	DrawsTooMuch
	// AwaitsRest: the charge ended with little left to charge, or in a way that a
	// slow pack or a shorted cell can show too. Two hours of rest settle it.
	AwaitsRest
	// NeedsCurrent: a charge of some hours ended without proof, and no current was
	// measured. A charger that holds its voltage is proven by the current, by its
	// contact, or by a hydrometer.
	NeedsCurrent
	// EndedEarly: a charge of some hours ended while much current still charged, or
	// while the voltage still rose.
	EndedEarly
	// ContactAlone: the charger's contact closed, but the charge began with the gassing
	// voltage though the pack was not nearly full: plates that hardly take a charge do
	// that, and a timer ends before them.
	ContactAlone
	numDoubts
)

// String returns the doubt's name in messages, "" when there is none.
func (d Doubt) String() string {
	switch d {
	case RestsTooLow:
		return "rests-too-low"
	case DrawsTooMuch:
		return "draws-too-much"
	case AwaitsRest:
		return "awaits-rest"
	case NeedsCurrent:
		return "needs-current"
	case EndedEarly:
		return "ended-early"
	case ContactAlone:
		return "contact-alone"
	case NoDoubt, numDoubts:
	}
	return ""
}

// Status is the state of the charge tracker after a tick. Ampere-hours are those of
// the cell string, so they are the same for each cell.
type Status struct {
	Active   bool          // a charge is in progress (it may be paused)
	Flowing  bool          // charging current flows now
	Since    time.Duration // start of the charge, or of the rest
	Full     bool          // proven full, and nothing taken out since
	Evidence Evidence      // what proved it
	FullAt   time.Duration // when it was proven; valid with Full
	EndedAt  time.Duration // when the last charging current stopped; valid with Ended
	Ended    bool          // a charge has ended since the agent has known the pack
	// Pending is evidence that a doubt holds back until the pack has rested.
	Pending Evidence
	Doubt   Doubt

	InAh      float64 // this charge, or the last one
	OutAh     float64 // taken out since the pack was last full
	OutPlusAh float64 // how much OutAh may be short by drift of the count
	OutKnown  bool    // OutAh counts from a proven full pack
	GassingAh float64 // this charge, or the last one
	Soc       float64 // 0 to 1
	SocPlus   float64 // half width of its range, 0 to 1
	SocKnown  bool
	MaxPackC  float64 // maximum in this charge
	TempKnown bool

	// DepthBefore is how far the pack was discharged when this charge, or the last
	// one, began: ampere-hours missing over capacity, 0 to 1 or a little above.
	DepthBefore float64
	DepthKnown  bool
	// ReturnFactor is ampere-hours returned over those taken out since the pack was
	// full, up to the end of this charge, or the last one. Not given below a depth
	// of 0.05, where it would be noise.
	ReturnFactor float64
	ReturnKnown  bool

	Equalize Equalize
	// Gravity is the round of hydrometer readings, nil when there is none.
	Gravity *GravityRound

	TotalInAh, TotalOutAh, TotalGassingAh float64 // since the memory began
	// UnsavedGasAh is what may have gassed since the memory began without being
	// counted: between the last save and a power cut.
	UnsavedGasAh         float64
	Charges, ChargesFull uint64
}

// GassedAh is the most that may have gassed since the memory began, counted or not.
func (s *Status) GassedAh() float64 { return s.TotalGassingAh + s.UnsavedGasAh }
