package bay

import (
	"fmt"
	"slices"
	"time"

	"bayward/agent/ammeter"
	"bayward/agent/cellcount"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// Stage is where the pack is in its round. The permit is separate: a bay can be
// waiting with the permit blocked.
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

// String returns the stage's name in messages and metrics, such as
// "ready-to-water".
func (s Stage) String() string {
	if s >= NumStages {
		return fmt.Sprintf("stage-%d", uint8(s))
	}
	return stageNames[s]
}

// ParseStage returns the stage of that name in messages; ok is false for an
// unknown name.
func ParseStage(name string) (s Stage, ok bool) {
	i := slices.Index(stageNames[:], name)
	return Stage(max(i, 0)), i >= 0
}

// Keeper is how the keeper of a relay answers.
type Keeper uint8

// The answers.
const (
	KeeperObeys  Keeper = iota
	KeeperSilent        // none
	KeeperOther         // it was started with other lines and does not know the bay
	KeeperFails         // it cannot drive the line
	numKeepers
)

// keeperReasons are what a keeper that does not obey gives as the reason.
var keeperReasons = [numKeepers]interlock.Reason{
	KeeperSilent: interlock.KeeperSilent, KeeperOther: interlock.KeeperOther, KeeperFails: interlock.KeeperFails,
}

// PackSeen is one look for the sensors that stay in packs. With no fault exactly
// one of them answers; Contradictory means several, NoAnswer none.
type PackSeen struct {
	Name  string
	At    time.Duration
	Fault reading.Fault
}

// OK reports whether exactly one pack is recognised.
func (p PackSeen) OK() bool { return p.Fault == reading.None && p.Name != "" }

// Aged works as for a reading.
func (p PackSeen) Aged(now, limit time.Duration) PackSeen {
	p.Fault = reading.Reading{At: p.At, Fault: p.Fault}.Aged(now, limit).Fault
	return p
}

// Setup is the fixed data of a bay: its pack, its limits and its sensors. It is
// read once.
type Setup struct {
	Name   string
	Pack   Pack
	Limits Limits
	// Packs are those that may be plugged in, all with the same number of cells, in a
	// bay that does not serve Pack alone. Pack is then ignored.
	Packs []Pack
	// Recognises means that the packs' own sensors identify the one plugged in;
	// otherwise a technician does.
	Recognises bool
	// Fitted are the optional sensors that are wired, see Optional. A configured
	// sensor that is missing blocks; a sensor that is not configured is not needed.
	Fitted reading.Sensors
	// CurrentSensor identifies the configured current sensor: with another one what is
	// known of its zero is dropped.
	CurrentSensor string
	// TempOnCase means that the pack's temperature is measured on the outside of a
	// cell and not in its electrolyte.
	TempOnCase bool
	// Watchdog is for reports: no rule asks for it.
	Watchdog Watchdog
	Fan      Fan
}

// Fan is what is known of the airflow switch besides its readings, zero without one.
type Fan struct {
	Line string // that it is wired to, and how
	// SeenOff means that a signed commissioning walk has seen this line show no air. It
	// is for a fan that never stops, and counts as if the bay had seen it.
	SeenOff bool
}

// Watchdog is what is known of the relay outside the Pi that opens when the heartbeat
// stops. It is zero for simulated sensors.
type Watchdog struct {
	Line   string // of the heartbeat
	WhyNot string // without a Line: why none is fitted, in the user's words
	// Proven means that a commissioning walk has seen it open. At is when, by the wall
	// clock, zero if that was not set; By is who walked.
	Proven bool
	At     time.Time
	By     string
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
	ProbeCell      int     // the cell with the level probe, 1 at the positive end; 0: not known
	ChargeFactor   float64 // ampere-hours in over ampere-hours out that make it full
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
	Latched bool // stays until a technician releases it
	// The numbers that led to it; their meaning depends on the code, see
	// interlock.Evidence.
	Evidence interlock.Evidence
	Clearing bool // good again, but not for long enough yet
	Gone     bool // the reading is gone, and Evidence is of the last one
}

// Visit is one watering job while it is open.
type Visit struct {
	Open            bool
	ID              string // of the order that opened it; "" when it had none
	By              string // who opened it
	People          Locks  // who is in it; empty once the last lock was taken away
	Since           time.Duration
	OnlyCoverPlates bool // only the water that covers the plates: the pack is not ready
	GivenML         [water.MaxCells]float64
	// Cells is what else was done at each cell; the water's conductivity counts with
	// QualityKnown.
	Cells        [water.MaxCells]CellVisit
	USPerCM      float64 // conductivity of the water, µS/cm
	QualityKnown bool
	Bare         water.CellSet // cells that are still bare by the record, while open
}

// CellVisit is what a technician did at one cell in an open visit, also as
// stored.
type CellVisit struct {
	Done      bool     `json:"done,omitempty"`       // its water is settled: given, or a level that needs none
	LevelMM   *float64 `json:"level_mm,omitempty"`   // the last level reading, mm above the plate tops; nil when there is none
	LevelLast bool     `json:"level_last,omitempty"` // nothing was poured or drawn off after it
	// The rest is absent in memories saved before these fields existed.
	How      order.How `json:"how,omitempty"`       // how the water given was found; as-proposed when any of it was
	DrawnML  float64   `json:"drawn_ml,omitempty"`  // electrolyte drawn off in this visit
	Dry      bool      `json:"dry,omitempty"`       // the level rod last showed the plates
	BeforeMM *float64  `json:"before_mm,omitempty"` // the last level reading before any water
	WasDry   bool      `json:"was_dry,omitempty"`   // before any water, the rod showed the plates
	Gravity  *float64  `json:"gravity,omitempty"`   // as read, at AtC
	AtC      *float64  `json:"at_c,omitempty"`
	By       string    `json:"by,omitempty"` // who last recorded something here
}

// ByRod returns the level read with the level rod; ok is false when none was
// read, or when water was poured after it.
func (c *CellVisit) ByRod() (mm float64, ok bool) {
	if c.LevelMM == nil || !c.LevelLast {
		return 0, false
	}
	return *c.LevelMM, true
}

// Picture is everything known of a bay after a tick. Outputs are made from it
// alone.
type Picture struct {
	Bay string
	// Pack is the pack that is plugged in or was last. While it is unknown, Pack has
	// no name and the most careful value of each figure among the packs it may be.
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
	Cells    cellcount.Status // whether the pack has the configured number of cells
	Cool     cooldown.Status
	Water    water.Status
	Visit    Visit
	Holds    Locks   // of the people who hold the charge
	PermitS  float64 // seconds with the permit granted since the memory began
	// BlockedS is the seconds with it blocked.
	BlockedS float64
	Readied  uint64 // how often the pack became ready to water
	Totals   Totals
	Proofs   [reading.NumSensors]Proof // when each sensor last showed that it lives
	Amps     ammeter.Status            // zero and noise of the current, which Seen is without
	has      *Setup
}

// Named reports whether it is known which pack this is.
func (p *Picture) Named() bool { return p.Pack.Name != "" }

// Watchdog returns what is known of the bay's watchdog relay.
func (p *Picture) Watchdog() Watchdog { return p.has.Watchdog }

// Beats reports whether the heartbeat goes on. It stops while a contactor that was
// ordered to open has not: the watchdog relay, in series with the charge-enable relay,
// then opens the contactor in its place. It does so for a relay or driver that stays
// closed, and cannot for a welded contactor. A latch keeps it stopped, or the contactor
// would close again as soon as it had opened.
func (p *Picture) Beats() bool {
	return p.Permit.Granted || !p.Findings[interlock.ContactorStuck].Raised
}

// Serves returns the packs that may be plugged in, where there are several.
func (p *Picture) Serves() []Pack { return p.has.Packs }

// Naming is how the plugged-in pack is known.
type Naming uint8

// The ways to know a pack. The zero value is unknown.
const (
	NotNamed Naming = iota
	ByConfig        // the bay serves one pack alone
	BySensor        // by the sensor that stays in the pack
	ByPerson        // a technician has named it
)

var namings = [...]string{"", "config", "sensor", "person"}

// String returns the naming in messages, "" when the pack is not known.
func (n Naming) String() string {
	if int(n) >= len(namings) {
		return fmt.Sprintf("naming-%d", uint8(n))
	}
	return namings[n]
}

// ParseNaming returns the naming of that name, NotNamed for an unknown name.
func ParseNaming(name string) Naming { return Naming(max(slices.Index(namings[:], name), 0)) }

// Totals are sums over all packs that a bay has had. They never fall when packs
// are exchanged.
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
	MemoryDoubted // after a restart the more careful assumption was made
	PackNamed     // the pack is known, and its history is open
	PackLeft      // the pack has left, or is no longer known; its history is stored
	ZeroMoved     // the zero of the current sensor was measured, and has moved
	NumEvents
)

var eventNames = [NumEvents]string{
	"none", "permit-granted", "permit-blocked", "stage-changed", "finding-raised", "finding-cleared",
	"charge-started", "charge-full", "charge-ended", "visit-opened", "visit-closed",
	"order-taken", "order-refused", "memory-doubted", "pack-named", "pack-left",
	"zero-moved",
}

// String returns the event's name in messages, such as "charge-full".
func (k EventKind) String() string {
	if k >= NumEvents {
		return fmt.Sprintf("event-%d", uint8(k))
	}
	return eventNames[k]
}

// ParseEvent returns the event kind of that name in messages; ok is false for an
// unknown name.
func ParseEvent(name string) (k EventKind, ok bool) {
	i := slices.Index(eventNames[:], name)
	return EventKind(max(i, 0)), i > int(NoEvent)
}

// Event is one thing that happened in a tick. Fields that do not belong to its
// kind are zero.
type Event struct {
	At    time.Duration
	Kind  EventKind
	Stage Stage          // StageChanged: the new one
	From  Stage          // StageChanged: the old one
	Code  interlock.Code // FindingRaised, FindingCleared; PermitBlocked: the first reason
	// Evidence is the numbers of Code, except with FindingCleared.
	Evidence   interlock.Evidence
	WaitingFor cooldown.Reason // StageChanged to Cooling
	WaterML    float64         // StageChanged to ReadyToWater: the pack's need; VisitClosed: given in all
	Proof      charge.Evidence // ChargeFull, and ChargeEnded after it
	Ago        time.Duration   // ChargeEnded: since the last charging current
	InAh       float64         // ChargeEnded: charged, with InAhKnown
	InAhKnown  bool
	Doubt      Doubt         // MemoryDoubted
	File       string        // MemoryDoubted: the file kept of a damaged logbook
	Pack       string        // PackNamed, PackLeft; MemoryDoubted: whose history it is
	Naming     Naming        // PackNamed: how it is known
	By         string        // visits and orders: the person
	Order      string        // orders: the ID
	Asked      order.Order   // orders and visits: what was ordered
	Why        order.Refusal // OrderRefused: why
	Plates     bool          // VisitOpened: only to cover the plates
	Old        *float64      // OrderTaken for a correction: the value until then, nil for none or as the sender said
	ZeroA      float64       // ZeroMoved: what the sensor shows when nothing flows, A
	Bare       water.CellSet // VisitClosed, and OrderTaken for it: cells that are still bare by the record
}
