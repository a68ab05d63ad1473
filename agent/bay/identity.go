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

// identifyFor is how long the sensor of a pack may be looked for before people
// are told: the kernel searches its 1-wire bus every ten seconds.
const identifyFor = 30 * time.Second

// identity follows which of several packs is plugged in. In a bay for one pack
// it always knows.
type identity struct {
	at      int // the pack's place in Setup.Packs, none for no pack
	by      Naming
	seenAt  time.Duration // its own sensor answered; or it was seated
	want    int           // the pack that shall be seated, none for no other
	wantBy  Naming
	leaving bool             // the pack's history is to be laid by
	clash   interlock.Reason // stands until the pack is unplugged or named
	askedAt time.Duration    // since when a pack is there and not known
	seat    uint64           // of the pack's history: how often it was taken up
	fresh   bool             // seated since the last step
	doubt   string           // why its history was doubted, until told
}

const none = -1

// several tells whether the bay must find out which pack it has.
func (b *Bay) several() bool { return len(b.setup.Packs) > 0 }

// nobody is the pack of which nothing is known: the most careful figures of all
// that it may be.
func nobody(packs []Pack) *Pack {
	p := packs[0]
	p.Name = ""
	for i := range packs {
		o := &packs[i]
		p.CapacityAh, p.FullGravity = min(p.CapacityAh, o.CapacityAh), min(p.FullGravity, o.FullGravity)
		p.ChargeLevelMM = max(p.ChargeLevelMM, o.ChargeLevelMM)
		p.VentWellMM, p.FreeSurfaceCM2 = min(p.VentWellMM, o.VentWellMM), min(p.FreeSurfaceCM2, o.FreeSurfaceCM2)
		p.FillMarkMM = min(p.FillMarkMM, o.FillMarkMM)
		p.ElectrolyteML, p.ChargeFactor = max(p.ElectrolyteML, o.ElectrolyteML), max(p.ChargeFactor, o.ChargeFactor)
	}
	return &p
}

// place makes the rules of a pack, which know nothing of it yet.
func (b *Bay) place(p *Pack) {
	s, l := &b.setup, &b.setup.Limits
	s.Pack = *p
	b.charge = charge.New(charge.Config{
		CapacityAh: p.CapacityAh, FullGravity: p.FullGravity, Factor: p.ChargeFactor,
		MaxFor: l.ChargeMax, MaxAh: l.ChargeMaxFactor * p.CapacityAh, HasCurrent: s.Fitted.Has(reading.PackCurrent),
	})
	b.cool = cooldown.New(cooldown.Config{
		WateringMaxC: l.WateringMaxC, NearAmbientK: l.NearAmbientK, FallMaxKPerH: l.FallMaxKPerH,
		RestMin: l.RestMin, HasAmbient: s.Fitted.Has(reading.AmbientTemperature), SensorShare: sensorShare(s.TempOnCase),
	})
	b.water = water.New(water.Config{
		Cells: p.Cells, ChargeLevelMM: p.ChargeLevelMM, FillMarkMM: p.FillMarkMM, VentWellMM: p.VentWellMM,
		FreeSurfaceCM2: p.FreeSurfaceCM2, ElectrolyteML: p.ElectrolyteML, FullGravity: p.FullGravity,
		HottestC: l.ChargeMaxC, GasHoldUpMM: l.GasHoldUpMM,
	})
	b.pic.Pack = p
	b.pic.Charge, b.pic.Cool, b.pic.Water, b.pic.Readied = *b.charge.Status(), *b.cool.Status(), *b.water.Status(), 0
	if b.started {
		b.lock.Limits = b.lockLimits()
	}
}

// find is a pack's place, none when the bay does not serve it.
func (b *Bay) find(name string) int {
	return slices.IndexFunc(b.setup.Packs, func(p Pack) bool { return p.Name == name })
}

// identify decides which pack is plugged in. A pack is let go when its voltage
// has gone, when its sensor has been silent for as long as a voltage may be, or
// when another one's sensor answers; it is never exchanged for another in place.
func (b *Bay) identify(now time.Duration) {
	w := &b.who
	if b.seat.left || b.seat.here == vacant {
		w.leaving, w.want, w.clash = w.at != none, none, interlock.Usual
	}
	if b.seat.here != present || w.proven() {
		w.askedAt = now
	}
	if b.setup.Recognises && b.seat.here != vacant {
		b.recognise(&b.pic.Seen.Pack, now)
	}
}

func (b *Bay) recognise(seen *PackSeen, now time.Duration) {
	w := &b.who
	i := none
	if seen.OK() {
		i = b.find(seen.Name)
	}
	switch {
	case i == none:
		if w.at != none && now-w.seenAt > doubtAfter {
			w.leaving = true // nothing says any more that it is this one
		}
	case w.at == i: // also when it comes back to the visit that has kept it
		w.seenAt, w.want, w.leaving = now, none, w.clash != interlock.Usual
	case w.leaving && w.clash == interlock.Usual:
		// The pack before has gone, but its history is not laid by yet.
	case w.at != none:
		w.leaving, w.clash = true, interlock.PackChanged
	case w.clash == interlock.Usual && w.want != i:
		w.want, w.wantBy = i, BySensor
	}
}

// proven tells whether readings are those of the pack whose history is open.
func (w *identity) proven() bool {
	return w.at != none && !w.leaving && w.clash == interlock.Usual && w.want == none
}

// known tells the rules whether the pack is known, and why not.
func (b *Bay) known(now time.Duration) (interlock.Name, interlock.Reason) {
	w, seen := &b.who, &b.pic.Seen.Pack
	switch {
	case b.mine():
		return interlock.Named, interlock.Usual
	case w.clash != interlock.Usual:
		return interlock.Unnamed, w.clash
	case b.setup.Recognises && seen.Fault == reading.Contradictory:
		return interlock.Unnamed, interlock.TwoSensors
	case w.leaving && b.pic.Visit.Open:
		return interlock.Sought, interlock.Usual // the visit blocks, and is told
	case w.want != none && b.elsewhere(b.setup.Packs[w.want].Name):
		return interlock.Unnamed, interlock.Elsewhere
	}
	reason := interlock.Usual
	if b.setup.Recognises {
		reason = interlock.NoSensor
	}
	if b.seat.here != present || (b.setup.Recognises || w.want != none) && now-w.askedAt < identifyFor {
		return interlock.Sought, reason
	}
	return interlock.Unnamed, reason
}

func (b *Bay) elsewhere(name string) bool { return slices.Contains(b.pic.Seen.Taken, name) }

// namePack carries out a person's word on which pack is plugged in. It counts
// until the pack is unplugged, and never against a sensor.
func (b *Bay) namePack(o *order.Order) *order.Refusal {
	w, seen := &b.who, &b.pic.Seen.Pack
	i := b.find(o.Pack)
	switch {
	case !b.several():
		return refuseFor(o, order.OnePack, b.setup.Pack.Name)
	case b.pic.Visit.Open:
		return refuseFor(o, order.VisitIsOpen, b.pic.Visit.By)
	case o.Pack == "":
		w.leaving, w.want = w.at != none, none
		return nil
	case i == none:
		return refuseFor(o, order.NoSuchPack, o.Pack)
	case b.seat.here == vacant || b.seat.empty:
		return refuse(o, order.NoPack)
	case b.elsewhere(o.Pack):
		return refuseFor(o, order.PackElsewhere, o.Pack)
	case b.setup.Recognises && seen.Fault == reading.Contradictory:
		return refuse(o, order.SensorsDisagree)
	case b.setup.Recognises && seen.OK() && seen.Name != o.Pack:
		return refuseFor(o, order.OtherPackSensed, seen.Name)
	}
	w.clash = interlock.Usual
	if w.at == i {
		w.leaving, w.want = false, none
		return nil
	}
	w.leaving, w.want, w.wantBy = w.at != none, i, ByPerson
	return nil
}

// letGo lays the history of a pack by, one tick after it was found gone, so that
// what that tick told was still told of it. An open visit keeps it: the water of
// the visit is this pack's, wherever it stands meanwhile.
func (b *Bay) letGo(now time.Duration) {
	w := &b.who
	b.charge.PackGone(now)
	b.pic.Charge = *b.charge.Status()
	m := b.packMemory(true)
	b.released = &m
	b.tell(Event{Kind: PackLeft, Text: "Pack " + m.Pack + " is no longer known to be here; its history is laid by."})
	b.before, b.atSeat = b.totals(), Totals{}
	b.ours = [interlock.NumCodes]bool{}
	w.at, w.by, w.leaving, w.seat = none, NotNamed, false, 0
	b.pic.Naming = NotNamed
	b.place(b.nobody)
}

// tellSeat tells of a pack that was seated since the last step.
func (b *Bay) tellSeat() {
	b.who.fresh = false
	how := "a person says so"
	if b.who.by == BySensor {
		how = "its own sensor answers"
	}
	b.tell(Event{Kind: PackNamed, Text: "This is pack " + b.setup.Pack.Name + ": " + how + "."})
	if b.who.doubt != "" {
		b.tell(Event{Kind: MemoryDoubted, Text: b.who.doubt})
		b.who.doubt = ""
	}
}

// mine tells whether the readings are those of the pack whose history is open.
// Others are kept from it.
func (b *Bay) mine() bool {
	if !b.several() {
		return true
	}
	twoSensors := b.setup.Recognises && b.pic.Seen.Pack.Fault == reading.Contradictory
	return b.who.proven() && !twoSensors
}

// totals are those of the bay as of the last step.
func (b *Bay) totals() Totals {
	t, c, s := b.before, b.counted(), &b.atSeat
	t.InAh += c.InAh - s.InAh
	t.GassingAh += c.GassingAh - s.GassingAh
	t.Charges += c.Charges - s.Charges
	t.ChargesFull += c.ChargesFull - s.ChargesFull
	return t
}

// counted is what the pack in place has had, here and elsewhere.
func (b *Bay) counted() Totals {
	c := b.charge.Status()
	return Totals{c.TotalInAh, c.TotalGassingAh, c.Charges, c.ChargesFull}
}

// Wants is the pack whose history the bay waits for, "" for none: it is known to
// be plugged in.
func (b *Bay) Wants() string {
	if w := &b.who; w.want != none && w.at == none {
		return b.setup.Packs[w.want].Name
	}
	return ""
}

// Seated is the pack whose history is open here, "" for none.
func (b *Bay) Seated() string {
	if b.several() && b.who.at == none {
		return ""
	}
	return b.setup.Pack.Name
}

// Seat gives the bay the history of the pack that it Wants, between two steps; a
// nil one is that of a new pack. The gap is the time since it was saved, as for
// Restore. What the pack did before in this very bay, and only that, goes on
// where the gap allows it: a pack that was moved may have been at work. A history
// that cannot be used is an error that wraps ErrMemory; the pack then begins anew,
// and the next step says why.
func (b *Bay) Seat(m *PackMemory, now, gap time.Duration, proven bool) error {
	w := &b.who
	if b.Wants() == "" {
		return fmt.Errorf("%w: bay %s waits for no pack", ErrMemory, b.setup.Name)
	}
	w.at, w.by, w.want = w.want, w.wantBy, none
	w.seenAt, w.fresh = now, true
	b.place(&b.setup.Packs[w.at])
	b.pic.Naming = w.by
	b.seat.settled, b.seat.since = false, now // its readings are to be proven as its own
	err := b.takeUp(m, clamped(now), gap, proven)
	b.atSeat = b.counted()
	if err != nil {
		w.doubt = err.Error()
	}
	return err
}

// contest tells that another bay's own bus shows the sensor of the pack that this
// one has. Unless a visit keeps it, its history is let go, and the bay blocks
// until its pack is unplugged or named. It tells whether this bay sees the same
// sensor itself: then neither can be believed.
func (b *Bay) contest() (bothSee bool) {
	w, seen := &b.who, &b.pic.Seen.Pack
	if w.at == none {
		return false
	}
	w.leaving, w.clash = true, interlock.Elsewhere
	return b.setup.Recognises && seen.OK() && seen.Name == b.setup.Pack.Name
}
