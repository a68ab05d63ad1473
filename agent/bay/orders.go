package bay

import (
	"time"

	"bayward/agent/interlock"
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
	holds   Locks
	forgot  bool // the hold of nobody is because the earlier orders cannot be read
	isNew   bool // the hold of nobody is because the bay is new; never with forgot
	leave   leave
	release bool // of latches, in this tick
	ids     takenIDs
	// leftBare are the cells that a visit just closed leaves bare.
	leftBare water.CellSet
	old      *float64 // what a correction just taken has replaced
	visit    visitStart
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
		o := new(orders[i]) // the core adds what it works out
		why := b.check(o)
		if why == nil {
			why = b.carryOut(o, now)
		}
		if why != nil {
			b.answer(o, Event{Kind: OrderRefused, Why: *why})
			continue
		}
		b.asked.ids.add(o.ID)
		b.answer(o, Event{Kind: OrderTaken, Bare: b.asked.leftBare, Old: b.asked.old})
		b.asked.leftBare, b.asked.old = 0, nil
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
	case b.pic.Seen.NoRecord && b.loosens(o):
		return refuse(o, order.NoRecord)
	case o.Kind == order.Release && b.mayStick():
		return refuse(o, order.PackConnected)
	case !b.identity.sure() && o.Kind == order.VisitOpen:
		return refuse(o, order.PackUnknown)
	case o.Kind.Row().InVisit && !b.pic.Visit.Open:
		return refuse(o, order.NoVisit)
	case o.Kind == order.Accept && b.history.water.Over() == 0:
		return refuse(o, order.NothingOverfilled)
	case o.Kind == order.VisitOpen && b.pic.Visit.Open:
		return refuseFor(o, order.VisitIsOpen, b.pic.Visit.By)
	}
	if why := b.judgeLocks(o); why != nil {
		return why
	}
	return b.fits(o)
}

// mayStick reports whether a release would charge a pack if the relay still sticks: the
// watchdog relay holds the contactor open in its place, so nothing shows whether it
// does, and a release starts the heartbeat again. Without a pack it does no harm, and the
// contactor shows it.
func (b *Bay) mayStick() bool {
	latch := b.lock != nil && b.lock.Standing(interlock.ContactorStuck).Latched // the picture lacks it in the first tick
	return latch && b.setup.Watchdog.Line != "" && b.conn.pack != absent
}

func (b *Bay) carryOut(o *order.Order, now time.Duration) *order.Refusal {
	switch o.Kind {
	case order.Hold:
		b.asked.holds = b.asked.holds.with(Lock{o.By, now, o.Reason})
	case order.Unhold:
		b.removeHold(o.By, now)
	case order.LockRemove:
		b.removeLock(o, now)
	case order.Release:
		b.asked.release = true
		b.alive.Trial()
		b.meter.Reset()
	case order.VisitOpen:
		b.openVisit(o, now)
	case order.VisitJoin:
		b.pic.Visit.People = b.pic.Visit.People.with(Lock{By: o.By, Since: now})
	case order.VisitLeave:
		b.pic.Visit.People = b.pic.Visit.People.without(o.By)
	case order.VisitClose:
		b.closeVisit(o, now)
	case order.Fill, order.Level, order.Gravity, order.Entry:
		if o.Late() {
			b.enterLate(o)
			return nil
		}
		return b.enter(o, now)
	case order.Quality:
		if !o.Unmeasured {
			b.pic.Visit.USPerCM, b.pic.Visit.QualityKnown = o.USPerCM, true
		}
	case order.Accept:
		b.history.water.Accept()
	case order.Correct:
		return b.correct(o, now)
	case order.Pack:
		return b.identity.take(o, &b.conn, &b.pic.Seen, &b.pic.Visit)
	default:
		return refuse(o, order.NoSuchOrder)
	}
	return nil
}

// openVisit blocks the charge. If the pack is not full, rested and cool, the
// visit is only for covering its plates.
func (b *Bay) openVisit(o *order.Order, now time.Duration) {
	b.history.water.Opened()
	b.pic.Water = *b.history.water.Again()
	ready := b.pic.Stage == ReadyToWater || b.pic.Stage == Rested
	b.pic.Visit = Visit{Open: true, ID: o.ID, By: o.By, People: Locks{{By: o.By, Since: now}}, Since: now, OnlyCoverPlates: !ready}
	b.asked.visit = visitStart{pilotMM: b.pic.Water.SettledMM, known: b.pic.Water.Known}
	b.alive.VisitOpened()
	b.answer(o, Event{Kind: VisitOpened, Plates: !ready})
}

func (b *Bay) closeVisit(o *order.Order, now time.Duration) {
	b.asked.leftBare = b.history.water.Bare()
	v, total, touched := &b.pic.Visit, 0.0, false
	for i, ml := range v.GivenML {
		total += ml
		touched = touched || ml > 0 || v.Cells[i].DrawnML > 0
	}
	net, earlierML := v.net(), 0.0
	if touched {
		earlierML = b.history.water.Filled(&net, v.guessed(), b.asked.visit.pilotMM, b.asked.visit.known, b.pic.Charge.GassedAh())
	}
	b.alive.VisitClosed(b.mustShowML(v, &net) - earlierML)
	b.pic.Visit = Visit{}
	b.unlocked(now)
	b.answer(o, Event{Kind: VisitClosed, WaterML: total, Bare: b.asked.leftBare})
}
