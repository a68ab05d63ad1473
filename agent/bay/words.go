package bay

import (
	"fmt"
	"slices"
	"time"

	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// Stage is where the pack stands in its round. The permit is a separate
// matter: a bay can be waiting with the permit blocked.
type Stage uint8

// The stages of a round. The zero value is unknown and grants nothing.
const (
	StageUnknown Stage = iota
	Vacant             // no pack
	Checking           // pack just connected or agent just started: readings not yet proven
	Waiting            // at rest, needs charge
	Charging
	Cooling // proven full, resting
	ReadyToWater
	Watering // a visit is open; charge locked out
	Rested   // full, cool, level right
	NumStages
)

var stageNames = [NumStages]string{
	"unknown", "vacant", "checking", "waiting", "charging", "cooling", "ready-to-water", "watering", "rested",
}

// String is the stage's name in messages and metrics, such as "ready-to-water".
func (s Stage) String() string {
	if s >= NumStages {
		return fmt.Sprintf("stage-%d", uint8(s))
	}
	return stageNames[s]
}

// ParseStage finds a stage by its name in messages; ok is false for a name that
// is not one.
func ParseStage(name string) (s Stage, ok bool) {
	i := slices.Index(stageNames[:], name)
	return Stage(max(i, 0)), i >= 0
}

// Readings is one tick's measurements and the orders that came in since the
// last tick. A reading whose sensor is not configured stays missing. All times
// are on one monotonic clock that never goes back.
type Readings struct {
	Now             time.Duration
	PackV           reading.Reading // V, positive at the positive terminal
	CurrentA        reading.Reading // A, positive while charging
	PackC           reading.Reading // °C, electrolyte or case
	AmbientC        reading.Reading // °C, air in the bay
	Level           reading.Level   // mm, pilot cell
	HydrogenPct     reading.Reading // % by volume
	Airflow         reading.Reading // 1: the fan's proof says that air moves; 0: it does not
	ContactorClosed reading.Reading // 1: the feedback contact says closed; 0: open
	ChargerComplete reading.Reading // 1: the charger says that it has finished
	RecordFailing   bool            // the logbook cannot be written
	LateTick        bool            // the guard has opened the relay, since a tick was late
	// Bare is a level at or below the plate tops that stood between two ticks for
	// long enough that the relay was opened; missing when there was none.
	Bare   reading.Level
	Pack   PackSeen // whose own sensor answers, in a bay that recognises packs
	Taken  []string // the packs that other bays have
	Orders []order.Order
}

// PackSeen is one look for the sensors that stay in packs. With no fault exactly
// one of them answers; Contradictory stands for several, NoAnswer for none.
type PackSeen struct {
	Name  string
	At    time.Duration
	Fault reading.Fault
}

// OK tells whether exactly one pack is recognised.
func (p PackSeen) OK() bool { return p.Fault == reading.None && p.Name != "" }

// Aged is as for a reading.
func (p PackSeen) Aged(now, limit time.Duration) PackSeen {
	p.Fault = reading.Reading{At: p.At, Fault: p.Fault}.Aged(now, limit).Fault
	return p
}

// Setup is what is fixed for a bay: its pack, its limits and which sensors it
// has. It is read once.
type Setup struct {
	Name   string
	Pack   Pack
	Limits Limits
	// Packs are those that may be plugged in, of one number of cells, in a bay
	// that is not there for Pack alone; Pack is then not looked at.
	Packs []Pack
	// Recognises says that the packs' own sensors tell which of them is plugged
	// in; else a person says it.
	Recognises bool
	// Fitted are the optional sensors that are wired, see Optional. What is
	// configured and missing blocks; what is not configured is not asked for.
	Fitted reading.Sensors
	// TempOnCase says that the pack's temperature is taken on the outside of a
	// cell and not in its electrolyte.
	TempOnCase bool
}

// Pack is one battery. See the configuration for the meaning of each key.
type Pack struct {
	Name           string
	Cells          int     // 1 to water.MaxCells
	CapacityAh     float64 // at RateHours
	RateHours      float64
	FullGravity    float64 // at 25 °C
	ChargeLevelMM  float64
	FillMarkMM     float64
	VentWellMM     float64
	FreeSurfaceCM2 float64
	ElectrolyteML  float64 // in one cell at fill mark
	ChargeFactor   float64 // ampere-hours back over ampere-hours out that make it full
}

// Permit is the bay's right to charge now. The zero value is blocked.
type Permit struct {
	Granted bool
	Since   time.Duration
}

// Finding is a named reason with its evidence.
type Finding struct {
	Raised  bool
	Since   time.Duration
	Latched bool // stays until a person releases it
	// The numbers that led to it; what they mean is the code's own matter,
	// see interlock.Evidence.
	Evidence interlock.Evidence
}

// Visit is one watering job while it is open.
type Visit struct {
	Open            bool
	By              string
	Since           time.Duration
	OnlyCoverPlates bool // only the water that covers the plates: the pack is not ready
	GivenML         [water.MaxCells]float64
	// Cells is what was done at each cell besides; Quality what was said of the
	// water, with QualityKnown.
	Cells        [water.MaxCells]CellVisit
	USPerCM      float64 // conductivity of the water, µS/cm
	QualityKnown bool
}

// CellVisit is what a person did at one cell in an open visit, as it is also
// stored.
type CellVisit struct {
	Done      bool     `json:"done,omitempty"`       // a fill was recorded, be it of 0 ml
	LevelMM   *float64 `json:"level_mm,omitempty"`   // the last level reading, mm above the plate tops; nil when there is none
	LevelLast bool     `json:"level_last,omitempty"` // nothing was poured after it
}

// ByRod returns the level by the level rod; ok is false when none was read, or when
// water was poured after it.
func (c *CellVisit) ByRod() (mm float64, ok bool) {
	if c.LevelMM == nil || !c.LevelLast {
		return 0, false
	}
	return *c.LevelMM, true
}

// Picture is everything that is known of a bay after a tick. Outputs are made
// from it and from nothing else.
type Picture struct {
	Bay string
	// Pack is the pack that is plugged in or was last; while that is not known,
	// one without a name that has the most careful figure of all that it may be.
	Pack     *Pack
	Naming   Naming
	Limits   *Limits
	Now      time.Duration
	Stage    Stage
	StageAt  time.Duration
	Permit   Permit
	Findings [interlock.NumCodes]Finding // by code
	Seen     Readings                    // as judged: aged, and without the orders
	Charge   charge.Status
	Cool     cooldown.Status
	Water    water.Status
	Visit    Visit
	PermitS  float64 // seconds with the permit granted since the memory began
	// BlockedS counts the rest.
	BlockedS float64
	Readied  uint64 // how often the pack became ready to water
	Totals   Totals
	has      *Setup
}

// Named tells whether it is known which pack this is.
func (p *Picture) Named() bool { return p.Pack.Name != "" }

// Serves lists the packs that may be plugged in, where there are several.
func (p *Picture) Serves() []Pack { return p.has.Packs }

// Naming says how it is known which pack is plugged in.
type Naming uint8

// The ways to know a pack. The zero value is not known.
const (
	NotNamed Naming = iota
	ByConfig        // the bay is there for one pack alone
	BySensor        // by the sensor that stays in the pack
	ByPerson        // a person has said it
)

var namings = [...]string{"", "config", "sensor", "person"}

// String is the naming in messages, "" when the pack is not known.
func (n Naming) String() string {
	if int(n) >= len(namings) {
		return fmt.Sprintf("naming-%d", uint8(n))
	}
	return namings[n]
}

// ParseNaming finds a naming by its name, NotNamed for one that is not known.
func ParseNaming(name string) Naming { return Naming(max(slices.Index(namings[:], name), 0)) }

// Totals are sums over all packs that a bay has had. They never fall when a
// pack goes and another comes.
type Totals struct {
	InAh        float64 `json:"in_ah"`
	GassingAh   float64 `json:"gassing_ah"` // of one cell string
	Charges     uint64  `json:"charges"`
	ChargesFull uint64  `json:"charges_full"`
}

// EventKind is what happened.
type EventKind uint8

// The events.
const (
	NoEvent EventKind = iota
	PermitGranted
	PermitBlocked
	StageChanged
	FindingRaised
	FindingCleared
	ChargeStarted
	ChargeFull
	ChargeEnded
	VisitOpened
	VisitClosed
	OrderTaken
	OrderRefused
	MemoryDoubted // after a restart a careful reading was taken
	PackNamed     // it is known which pack is plugged in, and its history is taken up
	PackLeft      // the pack has gone, or is not known any more; its history is stored
	NumEvents
)

var eventNames = [NumEvents]string{
	"none", "permit-granted", "permit-blocked", "stage-changed", "finding-raised", "finding-cleared",
	"charge-started", "charge-full", "charge-ended", "visit-opened", "visit-closed",
	"order-taken", "order-refused", "memory-doubted", "pack-named", "pack-left",
}

// String is the event's name in messages, such as "charge-full".
func (k EventKind) String() string {
	if k >= NumEvents {
		return fmt.Sprintf("event-%d", uint8(k))
	}
	return eventNames[k]
}

// ParseEvent finds an event by its name in messages; ok is false for a name that
// is not one.
func ParseEvent(name string) (k EventKind, ok bool) {
	i := slices.Index(eventNames[:], name)
	return EventKind(max(i, 0)), i > int(NoEvent)
}

// Event is a thing that happened in a tick. Fields that do not belong to its
// kind are zero.
type Event struct {
	At    time.Duration
	Kind  EventKind
	Stage Stage          // StageChanged: the new one
	From  Stage          // StageChanged: the old one
	Code  interlock.Code // FindingRaised, FindingCleared; PermitBlocked: the first reason
	// Evidence is the numbers of Code, not with FindingCleared.
	Evidence   interlock.Evidence
	WaitingFor cooldown.Reason // StageChanged to Cooling
	WaterML    float64         // StageChanged to ReadyToWater: the pack's need; VisitClosed: given in all
	Proof      charge.Evidence // ChargeFull, and ChargeEnded after it
	Ago        time.Duration   // ChargeEnded: since the last charging current
	InAh       float64         // ChargeEnded: charged, with InAhKnown
	InAhKnown  bool
	Doubt      Doubt         // MemoryDoubted
	File       string        // MemoryDoubted: what is kept of a damaged logbook
	Pack       string        // PackNamed, PackLeft; MemoryDoubted: whose history it is
	Naming     Naming        // PackNamed: how it is known
	By         string        // visits and orders: the person
	Order      string        // orders: the ID
	Asked      order.Order   // orders and visits: what the person asked for
	Why        order.Refusal // OrderRefused: why
	Plates     bool          // VisitOpened: only to cover the plates
}
