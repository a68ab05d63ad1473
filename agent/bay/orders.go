package bay

import (
	"fmt"
	"math"
	"time"

	"bayward/agent/electrolyte"
)

// keptOrders is how many order IDs are remembered, so that a repeated message
// does nothing.
const keptOrders = 64

// rodOverWellMM is how far above the bottom of the vent well a level rod can read at all: in
// the neck of the vent.
const rodOverWellMM = 30.0

// maxLevelMM bounds what a level rod can read, mm above or below the plate tops.
const maxLevelMM = 200

type taken struct {
	ids  [keptOrders]string
	next int
}

func (t *taken) has(id string) bool {
	for _, have := range t.ids {
		if have == id {
			return true
		}
	}
	return false
}

func (t *taken) add(id string) {
	t.ids[t.next] = id
	t.next = (t.next + 1) % keptOrders
}

// take carries out the orders of this tick. None of them can grant: a hold or
// a visit blocks, and a release only clears latches whose condition is gone.
func (b *Bay) take(orders []Order, now time.Duration) {
	for i := range orders {
		o := &orders[i]
		why := b.check(o)
		if why == "" {
			why = b.carryOut(o, now)
		}
		if why != "" {
			b.tell(Event{Kind: OrderRefused, By: o.By, Order: o.ID, Asked: *o, Text: "Refused " + o.Kind.String() + ": " + why + "."})
			continue
		}
		b.orders.add(o.ID)
		b.tell(Event{Kind: OrderTaken, By: o.By, Order: o.ID, Asked: *o, Text: takenText(o)})
	}
}

// withNote adds what the person said to what was done; a visit's own events
// carry its notes.
func withNote(text string, o *Order) string {
	if o.Note == "" {
		return text
	}
	return text + " " + o.Note
}

func takenText(o *Order) string {
	if o.Kind == OrderVisitOpen || o.Kind == OrderVisitClose {
		return orderText(o)
	}
	return withNote(orderText(o), o)
}

func orderText(o *Order) string {
	switch o.Kind {
	case OrderFill:
		return fmt.Sprintf("Cell %d was given %.0f ml.", o.Cell, o.ML)
	case OrderGravity:
		return fmt.Sprintf("Cell %d reads %.3f at %.1f °C.", o.Cell, o.Gravity, o.AtC)
	case OrderLevel:
		return fmt.Sprintf("Cell %d stands at %.1f mm by the level rod.", o.Cell, o.LevelMM)
	case OrderQuality:
		if o.Unmeasured {
			return "The water was not measured."
		}
		return fmt.Sprintf("The water has %.1f µS/cm.", o.USPerCM)
	case OrderPack:
		if o.Pack == "" {
			return "It is not known which pack is plugged in."
		}
		return "Pack " + o.Pack + " is plugged in."
	default:
		return "Done: " + o.Kind.String() + "."
	}
}

func (b *Bay) check(o *Order) string {
	switch {
	case o.ID == "":
		return "it has no ID"
	case b.orders.has(o.ID):
		return "an order with this ID was taken before"
	case o.By == "":
		return "it names no person"
	case !b.mine() && (o.Kind == OrderGravity || o.Kind == OrderVisitOpen), b.who.at == none && o.Kind == OrderLevel:
		return "it is not known which pack this is; say it first"
	case o.Kind == OrderGravity && (b.seat.here == vacant || b.seat.empty):
		return "no pack is connected whose gravity it could be"
	case o.Kind == OrderFill || o.Kind == OrderGravity || o.Kind == OrderLevel:
		return b.checkCell(o)
	case o.Kind == OrderQuality && o.Unmeasured && o.Water == "":
		return "it says nothing of the water"
	case o.Kind == OrderQuality && !(o.USPerCM >= 0 && o.USPerCM <= MaxUSPerCM):
		return fmt.Sprintf("%v µS/cm is not in 0 to %d", o.USPerCM, MaxUSPerCM)
	}
	return ""
}

func (b *Bay) checkCell(o *Order) string {
	if o.Cell < 1 || o.Cell > b.setup.Pack.Cells {
		return fmt.Sprintf("cell %d is not one of 1 to %d", o.Cell, b.setup.Pack.Cells)
	}
	switch o.Kind {
	case OrderFill:
		if !(o.ML >= 0 && o.ML <= MaxFillML) {
			return fmt.Sprintf("%v ml is not in 0 to %d", o.ML, MaxFillML)
		}
	case OrderGravity:
		if !(o.Gravity >= 1 && o.Gravity <= 1.4) || !(o.AtC >= -30 && o.AtC <= 70) {
			return fmt.Sprintf("gravity %v at %v °C is not in 1.0 to 1.4 at -30 to 70 °C", o.Gravity, o.AtC)
		}
	default:
		if !(math.Abs(o.LevelMM) <= maxLevelMM) {
			return fmt.Sprintf("level %v mm is not in -%d to %d", o.LevelMM, maxLevelMM, maxLevelMM)
		}
	}
	return ""
}

func (b *Bay) carryOut(o *Order, now time.Duration) (why string) {
	switch o.Kind {
	case OrderHold:
		b.held = true
	case OrderUnhold:
		b.held, b.forgot = false, false
	case OrderRelease:
		b.release = true
	case OrderVisitOpen:
		return b.openVisit(o, now)
	case OrderVisitClose:
		return b.closeVisit(o)
	case OrderFill:
		if !b.pic.Visit.Open {
			return "no visit is open"
		}
		b.pic.Visit.GivenML[o.Cell-1] += o.ML
		c := &b.pic.Visit.Cells[o.Cell-1]
		c.Done, c.LevelLast = true, c.LevelLast && o.ML == 0
	case OrderGravity:
		b.charge.CellGravity(now, o.Cell, electrolyte.GravityAt25(o.Gravity, o.AtC))
	case OrderLevel:
		return b.level(o)
	case OrderQuality:
		if !b.pic.Visit.Open {
			return "no visit is open"
		}
		if !o.Unmeasured {
			b.pic.Visit.USPerCM, b.pic.Visit.QualityKnown = o.USPerCM, true
		}
	case OrderPack:
		return b.namePack(o)
	default:
		return "there is no such order"
	}
	return ""
}

func (b *Bay) level(o *Order) (why string) {
	why = b.water.Level(o.Cell, o.LevelMM)
	blind := !b.pic.Water.Known || !b.pic.Water.RiseKnown
	if why != "" && (!b.pic.Visit.Open || !blind || !(o.LevelMM <= b.setup.Pack.VentWellMM+rodOverWellMM)) {
		return why
	}
	if b.pic.Visit.Open { // with nothing to compare it with, it still leads the person at the cell
		c := &b.pic.Visit.Cells[o.Cell-1]
		c.LevelRead, c.LevelLast, c.LevelMM = true, true, o.LevelMM
	}
	return ""
}

// openVisit locks the charge out. A visit to a pack that is not full, rested
// and cool is only for covering its plates.
func (b *Bay) openVisit(o *Order, now time.Duration) string {
	if b.pic.Visit.Open {
		return "a visit by " + b.pic.Visit.By + " is open"
	}
	ready := b.pic.Stage == ReadyToWater || b.pic.Stage == Rested
	b.pic.Visit = Visit{Open: true, By: o.By, Since: now, OnlyCoverPlates: !ready}
	b.visitMM, b.visitOK = b.pic.Water.SettledMM, b.pic.Water.Known
	text := "A visit is open; the charge is locked out."
	if !ready {
		text = "A visit is open to cover the plates only: the pack is not full, rested and cool. The charge is locked out."
	}
	b.tell(Event{Kind: VisitOpened, By: o.By, Order: o.ID, Asked: *o, Text: withNote(text, o)})
	return ""
}

func (b *Bay) closeVisit(o *Order) string {
	if !b.pic.Visit.Open {
		return "no visit is open"
	}
	total := 0.0
	for _, ml := range b.pic.Visit.GivenML {
		total += ml
	}
	if total > 0 {
		b.water.Filled(&b.pic.Visit.GivenML, b.visitMM, b.visitOK, b.pic.Charge.TotalGassingAh)
	}
	b.pic.Visit = Visit{}
	b.tell(Event{Kind: VisitClosed, By: o.By, Order: o.ID, Asked: *o, Text: withNote(fmt.Sprintf("The visit is closed; %.0f ml were given in all.", total), o)})
	return ""
}
