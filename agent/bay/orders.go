package bay

import (
	"time"

	"bayward/agent/order"
	"bayward/agent/water"
)

// keptOrders is how many order IDs are remembered, so that a repeated message
// does nothing. They are part of the memory, so this holds across a restart. The
// page and the MQTT client remember different numbers of other things, for their
// own reasons.
const keptOrders = 64

// asked is what users have ordered.
type asked struct {
	held    bool
	forgot  bool // held because the earlier orders cannot be read
	release bool // of latches, in this tick
	ids     takenIDs
	visit   visitStart
}

// takenIDs are the IDs of the last orders taken.
type takenIDs struct {
	ids  [keptOrders]string
	next int
}

// list returns them, the oldest first.
func (t *takenIDs) list() (ids []string) {
	for i := range t.ids {
		if id := t.ids[(t.next+i)%keptOrders]; id != "" {
			ids = append(ids, id)
		}
	}
	return ids
}

func (t *takenIDs) has(id string) bool {
	for _, have := range t.ids {
		if have == id {
			return true
		}
	}
	return false
}

func (t *takenIDs) add(id string) {
	t.ids[t.next] = id
	t.next = (t.next + 1) % keptOrders
}

// take carries out the orders of this tick. No order can grant: a hold or a visit
// blocks, and a release only clears latches whose condition is gone.
func (b *Bay) take(orders []order.Order, now time.Duration) {
	for i := range orders {
		o := &orders[i]
		why := b.check(o)
		if why == nil {
			why = b.carryOut(o, now)
		}
		if why != nil {
			b.answer(o, Event{Kind: OrderRefused, Why: *why})
			continue
		}
		b.asked.ids.add(o.ID)
		b.answer(o, Event{Kind: OrderTaken})
	}
}

// answer adds an order's event.
func (b *Bay) answer(o *order.Order, e Event) {
	e.At, e.By, e.Order, e.Asked = b.pic.Now, o.By, o.ID, *o
	b.events = append(b.events, e)
}

// refuse returns a refusal without numbers.
func refuse(o *order.Order, code order.Code) *order.Refusal {
	return &order.Refusal{Code: code, Kind: o.Kind}
}

// refuseFor returns a refusal that names the person, pack or text concerned.
func refuseFor(o *order.Order, code order.Code, name string) *order.Refusal {
	return &order.Refusal{Code: code, Kind: o.Kind, Name: name}
}

// check judges an order by itself and against what the bay knows of its pack.
func (b *Bay) check(o *order.Order) *order.Refusal {
	if why := order.Check(o, order.Limits{Cells: b.history.pack.Cells}); why != nil {
		return why
	}
	switch {
	case b.asked.ids.has(o.ID):
		return refuse(o, order.Repeated)
	case !b.identity.sure() && (o.Kind == order.Gravity || o.Kind == order.VisitOpen), b.identity.open == none && o.Kind == order.Level:
		return refuse(o, order.PackUnknown)
	case o.Kind == order.Gravity && b.conn.empty():
		return refuse(o, order.NoPack)
	case o.Kind.Row().InVisit && !b.pic.Visit.Open:
		return refuse(o, order.NoVisit)
	case o.Kind == order.VisitOpen && b.pic.Visit.Open:
		return refuseFor(o, order.VisitIsOpen, b.pic.Visit.By)
	}
	return nil
}

func (b *Bay) carryOut(o *order.Order, now time.Duration) *order.Refusal {
	switch o.Kind {
	case order.Hold:
		b.asked.held = true
	case order.Unhold:
		b.asked.held, b.asked.forgot = false, false
	case order.Release:
		b.asked.release = true
	case order.VisitOpen:
		b.openVisit(o, now)
	case order.VisitClose:
		b.closeVisit(o)
	case order.Fill:
		b.pic.Visit.GivenML[o.Cell-1] += o.ML
		c := &b.pic.Visit.Cells[o.Cell-1]
		c.Done, c.LevelLast = true, c.LevelLast && o.ML == 0
		if o.ML > 0 {
			b.history.charge.Watered(o.Cell)
		}
	case order.Level:
		return b.readLevel(o)
	case order.Quality:
		if !o.Unmeasured {
			b.pic.Visit.USPerCM, b.pic.Visit.QualityKnown = o.USPerCM, true
		}
	case order.Gravity:
		b.readGravity(now, o.Cell, o.Gravity, o.AtC)
	case order.Pack:
		return b.identity.take(o, &b.conn, &b.pic.Seen, &b.pic.Visit)
	default:
		return refuse(o, order.NoSuchOrder)
	}
	return nil
}

// rejected are the codes for the water balance's verdicts on a level reading.
var rejected = [...]order.Code{
	water.NotRejected: order.NoCode, water.NoSuchCell: order.OutOfRange, water.AboveVentWell: order.AboveVentWell,
	water.NoTemperature: order.TemperatureUnknown, water.NoPilotLevel: order.LevelUnknown,
}

func (b *Bay) readLevel(o *order.Order) *order.Refusal {
	wellMM := b.history.pack.VentWellMM
	why := rejected[b.history.water.Level(o.Cell, o.LevelMM)]
	blind := !b.pic.Water.Known || !b.pic.Water.RiseKnown
	if why != order.NoCode && (!b.pic.Visit.Open || !blind || !(o.LevelMM <= wellMM+water.OverWellMM)) {
		return &order.Refusal{Code: why, Kind: o.Kind, Field: order.LevelField, Value: o.LevelMM, High: wellMM}
	}
	if b.pic.Visit.Open { // with nothing to compare it with, it still guides the technician at the cell
		c := &b.pic.Visit.Cells[o.Cell-1]
		c.LevelMM, c.LevelLast = new(o.LevelMM), true
	}
	return nil
}

// openVisit blocks the charge. If the pack is not full, rested and cool, the
// visit is only for covering its plates.
func (b *Bay) openVisit(o *order.Order, now time.Duration) {
	ready := b.pic.Stage == ReadyToWater || b.pic.Stage == Rested
	b.pic.Visit = Visit{Open: true, By: o.By, Since: now, OnlyCoverPlates: !ready}
	b.asked.visit = visitStart{b.pic.Water.SettledMM, b.pic.Water.Known}
	b.answer(o, Event{Kind: VisitOpened, Plates: !ready})
}

func (b *Bay) closeVisit(o *order.Order) {
	total := 0.0
	for _, ml := range b.pic.Visit.GivenML {
		total += ml
	}
	if total > 0 {
		b.history.water.Filled(&b.pic.Visit.GivenML, b.asked.visit.pilotMM, b.asked.visit.known, b.pic.Charge.TotalGassingAh)
	}
	b.pic.Visit = Visit{}
	b.answer(o, Event{Kind: VisitClosed, WaterML: total})
}
