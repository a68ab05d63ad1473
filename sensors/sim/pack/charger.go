package pack

import "fmt"

// ChargerKind is a type of charger.
type ChargerKind uint8

// The types of charger.
const (
	TwoStage ChargerKind = iota // constant current, constant voltage, constant finish current
	Taper                       // a source with resistance; it does not stop by itself
)

// String returns the type's name.
func (k ChargerKind) String() string {
	switch k {
	case TwoStage:
		return "two-stage"
	case Taper:
		return "taper"
	}
	return fmt.Sprintf("charger-%d", uint8(k))
}

// ChargerStage is what a charger is doing.
type ChargerStage uint8

// The stages of a charger.
const (
	ChargerOff ChargerStage = iota
	ChargerBulk
	ChargerRegulated
	ChargerFinish
	ChargerTaper
	ChargerDone
)

// String returns the stage's name.
func (s ChargerStage) String() string {
	names := [...]string{"off", "bulk", "regulated", "finish", "taper", "done"}
	if int(s) >= len(names) {
		return fmt.Sprintf("stage-%d", uint8(s))
	}
	return names[s]
}

// The settings of the chargers. Voltages are for one cell.
const (
	regulatedV    = 2.40 // common for flooded traction packs, not corrected for temperature
	ceilingV      = 2.85 // of the finish stage, which does not regulate below it
	finishShare   = 0.05 // of the capacity: the usual finish rate
	bulkShare     = 0.2
	regulatedMaxS = 8 * 3600.0
	finishMaxS    = 5 * 3600.0
	flatEveryS    = 1800.0 // three steady half-hour readings: TM 5-4320
	flatTimes     = 3
	flatV         = 0.008 // a cell's voltage that counts as unchanged; invented
	softStartS    = 10.0
	twoStageOhm   = 0.0005 // a cell: leads

	taperOpenV  = 2.80 // with taperRefV: half the rated current at 2.4 V, DIN 41774
	taperRefV   = 2.00 // where the rated current flows
	taperShare  = 0.2
	taperMaxS   = 14 * 3600.0
	minutePause = 60.0
)

// Charger is one charger.
type Charger struct {
	kind            ChargerKind
	cells           float64
	ratedA, finishA float64
	restartOnEnable bool

	stage          ChargerStage
	stageS, startS float64
	flatS, flatRef float64
	flatCount      int
}

// NewCharger makes a charger for a pack. ratedA is a two-stage charger's first
// current, or a taper charger's current at 2.0 V a cell; 0 means the usual size.
func NewCharger(kind ChargerKind, cells int, capacityAh, ratedA float64, restartOnEnable bool) (*Charger, error) {
	if kind > Taper {
		return nil, fmt.Errorf("charger kind %v: must be two-stage or taper", kind)
	}
	if !(ratedA >= 0 && ratedA <= 2*capacityAh) {
		return nil, fmt.Errorf("charger current %v A is not between 0 and twice the capacity", ratedA)
	}
	c := &Charger{kind: kind, cells: float64(cells), ratedA: ratedA, restartOnEnable: restartOnEnable}
	if ratedA == 0 {
		c.ratedA = capacityAh * bulkShare
		if kind == Taper {
			c.ratedA = capacityAh * taperShare
		}
	}
	c.finishA = min(capacityAh*finishShare, c.ratedA)
	return c, nil
}

// Supply returns the charger's output now. There is none unless the charger is
// enabled, has mains and has a pack, and it starts again only then.
func (c *Charger) Supply(enabled, mains, connected bool) Supply {
	c.follow(enabled, mains, connected)
	limit := c.ratedA * min(c.startS/softStartS, 1)
	switch c.stage {
	case ChargerBulk, ChargerRegulated:
		return Supply{OpenV: regulatedV * c.cells, Ohm: twoStageOhm * c.cells, MaxA: limit}
	case ChargerFinish:
		return Supply{OpenV: ceilingV * c.cells, Ohm: twoStageOhm * c.cells, MaxA: min(limit, c.finishA)}
	case ChargerTaper:
		ohm := (taperOpenV - taperRefV) * c.cells / c.ratedA
		return Supply{OpenV: taperOpenV * c.cells, Ohm: ohm, MaxA: 1.5 * limit}
	case ChargerOff, ChargerDone:
	}
	return Supply{}
}

// follow starts and stops the charger by its contacts.
func (c *Charger) follow(enabled, mains, connected bool) {
	run := enabled && mains && connected
	switch {
	case !connected:
		c.enter(ChargerOff)
	case c.stage == ChargerDone:
		if !enabled && c.restartOnEnable {
			c.enter(ChargerOff)
		}
	case !run:
		c.enter(ChargerOff)
	case c.stage == ChargerOff && c.kind == Taper:
		c.startS = 0
		c.enter(ChargerTaper)
	case c.stage == ChargerOff:
		c.startS = 0
		c.enter(ChargerBulk)
	}
}

func (c *Charger) enter(s ChargerStage) {
	if s != c.stage {
		c.stage, c.stageS, c.flatS, c.flatCount, c.flatRef = s, 0, 0, 0, 0
	}
}

// Observe gives the charger the current and voltage of the last dt seconds.
func (c *Charger) Observe(dtS, packV, amps float64) {
	c.stageS += dtS
	c.startS += dtS
	settled := c.startS > minutePause
	switch {
	case c.stage == ChargerBulk && settled && amps < 0.99*c.ratedA:
		c.enter(ChargerRegulated)
	case c.stage == ChargerRegulated && (amps <= c.finishA || c.stageS > regulatedMaxS):
		c.enter(ChargerFinish)
	case c.stage == ChargerFinish && (c.flat(dtS, packV) || c.stageS > finishMaxS):
		c.enter(ChargerDone)
	case c.stage == ChargerTaper && c.stageS > taperMaxS:
		c.enter(ChargerDone)
	}
}

// flat reports whether the voltage has not risen over successive readings.
func (c *Charger) flat(dtS, packV float64) bool {
	if c.flatS += dtS; c.flatS < flatEveryS {
		return false
	}
	c.flatS -= flatEveryS
	if packV-c.flatRef < flatV*c.cells {
		c.flatCount++
	} else {
		c.flatCount = 0
	}
	c.flatRef = packV
	return c.flatCount >= flatTimes
}

// Stage returns what the charger is doing.
func (c *Charger) Stage() ChargerStage { return c.stage }

// Complete returns the charger's own contact. A taper charger has none: it cannot
// detect the end of a charge.
func (c *Charger) Complete() bool { return c.kind == TwoStage && c.stage == ChargerDone }
