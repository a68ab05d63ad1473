package logbook

import (
	"time"

	"bayward/agent/reading"
)

// Num is a number that may be unknown: then it is nil. See Known.
type Num = *float64

// Known returns a Num. A value that is not a number counts as unknown.
func Known(v float64) Num {
	if !reading.Finite(v) {
		return nil
	}
	return &v
}

// Writers of a row.
const (
	ByAgent  = "agent"
	ByImport = "import" // history that was kept by hand
	ByPaper  = "paper"  // a sheet that was typed in after the visit, see Visit.LateAt
)

// Span is what all rows with a beginning and an end share. End is the zero Stamp
// while the row is open; a bay has at most one open row of a kind.
type Span struct {
	ID     int64 // assigned by the file; 0 in a row to be written
	Bay    string
	Pack   string // "" when unknown
	Origin string // ByAgent, ByImport or ByPaper
	Start  Stamp
	End    Stamp
}

// Open reports whether the row has no end yet.
func (s *Span) Open() bool { return s.End.Wall.IsZero() }

// How a charge ended.
const (
	EndedFull      = "full"      // proven full
	EndedStopped   = "stopped"   // the charger stopped, or the current tapered away, before that
	EndedBlocked   = "blocked"   // the permit was withdrawn, see Code
	EndedUnplugged = "unplugged" // the pack left
	EndedUnseen    = "unseen"    // while the agent was off
)

// Charge is one charge of a pack.
type Charge struct {
	Span
	InAh      Num     // ampere-hours in
	GassingAh Num     // of them, the part that split water, in each cell
	WaterML   Num     // lost by each cell, by Faraday's law
	Depth     Num     // ampere-hours missing over capacity at the start, 0 to 1 or a little above
	StartC    Num     // electrolyte, °C
	EndC      Num     // °C
	MaxC      Num     // °C
	LowMM     Num     // lowest level seen while current flowed, mm above the plate tops
	FlowS     float64 // seconds with current
	BareS     float64 // of them, with the plates bare
	BlindS    float64 // of them, with the level unknown
	Full      bool    // proven full
	Evidence  string  // what proved it, such as "steady-taper"
	Ended     string  // one of the Ended constants; "" while it is open
	Code      string  // the finding that ended it, with EndedBlocked
	Notes     string
}

// Dry reports whether the plates were ever bare while current flowed; known is
// false when the level was unread at times and was never seen bare.
func (c *Charge) Dry() (dry, known bool) {
	dry = c.BareS > 0 || c.LowMM != nil && *c.LowMM <= 0
	return dry, dry || c.BlindS == 0 && c.LowMM != nil
}

// The kinds of visit.
const (
	VisitWater       = "water"        // the pack was full, rested and cool
	VisitCoverPlates = "cover-plates" // only to cover bare plates
	VisitReadings    = "readings"     // hydrometer and level rod, without a visit open
)

// Visit is one watering job, or one round of readings by hand.
type Visit struct {
	Span
	Kind     string
	By       string
	ClosedBy string
	Cautions string // what was confirmed when it was opened
	Water    string // "demineralised", "distilled", "other", or "" when not stated
	USPerCM  Num    // conductivity of the water, µS/cm
	BeforeMM Num    // level by the bay's own probe, mm above the plate tops
	AfterMM  Num
	TotalML  float64
	Notes    string      // notes of the orders, one line each
	Cells    []VisitCell // in order; only those with an entry
	// LateAt and LateBy are when and by whom a paper sheet was typed in afterwards;
	// otherwise zero and "".
	LateAt time.Time
	LateBy string
	// Corrections are those of this visit, the oldest first. A Reader has applied
	// them to Cells and TotalML.
	Corrections []Correction
}

// VisitCell is what was done and read at one cell.
type VisitCell struct {
	Cell     int // 1 is the positive end
	ML       Num // water given; 0: inspected, needed none
	BeforeMM Num // level rod before any water, mm above the plate tops
	AfterMM  Num // last level reading after it
	Gravity  Num // specific gravity as read
	AtC      Num // electrolyte temperature then, °C

	How       string // how ML was found: name of an order.How; "" without water, or unknown
	DrawnML   Num    // electrolyte drawn off
	DryBefore bool   // before any water the level rod showed the plates
	DryAfter  bool   // so did the last look after it
	Verdict   string // what Gravity means: name of a charge.GravityVerdict; "" unknown
	By        string // who recorded it, one name a line; "" unknown
}

// Finding is one finding from when it was raised until it was cleared.
type Finding struct {
	Span
	Code     string
	Blocks   bool
	Latched  bool
	Found           // as it was raised
	Evidence string // sentence stored by an older program; "" since schema 5
}

// How a refusal ended.
const (
	RefusalGranted = "granted"
	RefusalLeft    = "left" // the pack was taken away uncharged
	RefusalFull    = "full" // it needs no charge any more
	RefusalRestart = "restart"
)

// Refusal is a time in which a pack was connected and not full, and its charge was
// blocked.
type Refusal struct {
	Span
	Code     string   // the first reason
	Found             // of the first reason
	Codes    []string // all reasons, in order of appearance
	Evidence string   // sentence on the first reason, stored by an older program
	Ended    string   // one of the Refusal constants; "" while it is open
}

// Series is the thinned readings of one span. A value that was never read in it is
// nil.
type Series struct {
	ID                        int64
	Bay, Pack                 string
	Start                     Stamp
	SpanS                     float64 // duration, usually 60 to 3600
	Ticks                     int     // how many went into it
	Stage                     string  // at its end
	PermitS                   float64 // seconds with the permit granted
	PackV, PackVMin, PackVMax Num
	CurrentA, CurrentAMin     Num
	CurrentAMax               Num
	PackC, PackCMax           Num
	AmbientC                  Num
	LevelMM, LevelMMMin       Num // the minimum that the probe proves, mm above the plate tops
	HydrogenPctMax            Num
	SettledMM                 Num // at its end: level at 25 °C without gas
	PredictMM                 Num // at its end: the same by the water balance
	LostML                    Num // at its end: lost by each cell since the last fill
	Soc                       Num // at its end, 0 to 1
}

// Rows is what a follower leaves for the file. An open row replaces the bay's open
// row of its kind; one with an end closes it, or is a row of its own.
type Rows struct {
	Charges     []Charge
	Visits      []Visit
	Findings    []Finding
	Refusals    []Refusal
	Series      []Series
	Corrections []Correction
}

// Empty reports whether there is nothing to write.
func (r *Rows) Empty() bool {
	return len(r.Charges)+len(r.Visits)+len(r.Findings)+len(r.Refusals)+len(r.Series)+len(r.Corrections) == 0
}

// byBay splits rows by bay, in the order in which the bays appear.
func (r *Rows) byBay() map[string]Rows {
	out := map[string]Rows{}
	deal := func(bayName string, to func(*Rows)) {
		of := out[bayName]
		to(&of)
		out[bayName] = of
	}
	for _, c := range r.Charges {
		deal(c.Bay, func(of *Rows) { of.Charges = append(of.Charges, c) })
	}
	for _, v := range r.Visits {
		deal(v.Bay, func(of *Rows) { of.Visits = append(of.Visits, v) })
	}
	for _, f := range r.Findings {
		deal(f.Bay, func(of *Rows) { of.Findings = append(of.Findings, f) })
	}
	for _, f := range r.Refusals {
		deal(f.Bay, func(of *Rows) { of.Refusals = append(of.Refusals, f) })
	}
	return out
}
