package bay

import (
	"slices"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// identifyFor is how long the sensor of a pack may be looked for before people
// are told: the kernel searches its 1-wire bus every ten seconds.
const identifyFor = 30 * time.Second

// none stands for no pack where the place of one is kept.
const none = -1

// identity follows which pack is plugged in. In a bay for one pack it always knows.
type identity struct {
	packs      []Pack // that may be plugged in
	fixed      bool   // the bay is there for the only one
	recognises bool   // the packs' own sensors tell which one it is; else a person does

	open     int // place in packs of the one whose history is open here, or none
	by       Naming
	seenAt   time.Duration    // its own sensor answered; or its history was opened
	want     int              // the pack whose history is to be opened, or none
	wantBy   Naming           // how that one is known
	leaving  bool             // the open history is to be let go
	clash    interlock.Reason // until the pack is unplugged or named
	disagree bool             // the sensors of several packs answer in this tick
	askedAt  time.Duration    // since when a pack is there and not known
}

func newIdentity(s *Setup) identity {
	if len(s.Packs) > 0 {
		return identity{packs: s.Packs, recognises: s.Recognises, open: none, by: NotNamed, want: none}
	}
	return identity{packs: []Pack{s.Pack}, fixed: true, by: ByConfig, want: none}
}

// find is a pack's place, or none when the bay does not serve it.
func (i *identity) find(name string) int {
	return slices.IndexFunc(i.packs, func(p Pack) bool { return p.Name == name })
}

// name is that of the pack at a place, "" for none.
func (i *identity) name(place int) string {
	if place == none {
		return ""
	}
	return i.packs[place].Name
}

// step decides which pack is plugged in. The history of a pack is let go when its
// voltage has gone, when its sensor has been silent for as long as a voltage may be,
// or when another one's sensor answers; one pack never takes another's place.
func (i *identity) step(now time.Duration, conn *connection, seen *PackSeen) {
	if i.fixed {
		return
	}
	if conn.left || conn.pack == absent {
		i.leaving, i.want, i.clash = i.open != none, none, interlock.Usual
	}
	if conn.pack != present || i.settled() {
		i.askedAt = now
	}
	i.disagree = i.recognises && seen.Fault == reading.Contradictory
	if i.recognises && conn.pack != absent {
		i.recognise(now, seen)
	}
}

func (i *identity) recognise(now time.Duration, seen *PackSeen) {
	sensed := none
	if seen.OK() {
		sensed = i.find(seen.Name)
	}
	switch {
	case sensed == none:
		if i.open != none && now-i.seenAt > doubtAfter {
			i.leaving = true // nothing shows any more that it is this one
		}
	case i.open == sensed: // also when it comes back to the visit that has kept it
		i.seenAt, i.want, i.leaving = now, none, i.clash != interlock.Usual
	case i.leaving && i.clash == interlock.Usual:
		// The pack before has gone, but its history has not been let go yet.
	case i.open != none:
		i.leaving, i.clash = true, interlock.PackChanged
	case i.clash == interlock.Usual && i.want != sensed:
		i.want, i.wantBy = sensed, BySensor
	}
}

// settled reports that the pack whose history is open is the one that is there, as
// far as all ticks before this one show.
func (i *identity) settled() bool {
	return i.open != none && !i.leaving && i.clash == interlock.Usual && i.want == none
}

// sure reports that the readings are those of the pack whose history is open. Those
// of another are kept from it.
func (i *identity) sure() bool { return i.fixed || i.settled() && !i.disagree }

// judged is what the rules are told: whether the pack is known, and why not.
func (i *identity) judged(now time.Duration, conn *connection, taken []string, visit bool) (interlock.Name, interlock.Reason) {
	switch {
	case i.sure():
		return interlock.Named, interlock.Usual
	case i.clash != interlock.Usual:
		return interlock.Unnamed, i.clash
	case i.disagree:
		return interlock.Unnamed, interlock.TwoSensors
	case i.leaving && visit:
		return interlock.Sought, interlock.Usual // the visit blocks, and is shown
	case i.want != none && slices.Contains(taken, i.name(i.want)):
		return interlock.Unnamed, interlock.Elsewhere
	}
	reason := interlock.Usual
	if i.recognises {
		reason = interlock.NoSensor
	}
	if conn.pack != present || (i.recognises || i.want != none) && now-i.askedAt < identifyFor {
		return interlock.Sought, reason
	}
	return interlock.Unnamed, reason
}

// take carries out a person's word on which pack is plugged in. It counts until the
// pack is unplugged, and never against a sensor.
func (i *identity) take(o *order.Order, conn *connection, seen *Readings, visit *Visit) *order.Refusal {
	named, sensed := i.find(o.Pack), &seen.Pack
	switch {
	case i.fixed:
		return refuseFor(o, order.OnePack, i.name(i.open))
	case visit.Open:
		return refuseFor(o, order.VisitIsOpen, visit.By)
	case o.Pack == "":
		i.leaving, i.want = i.open != none, none
		return nil
	case named == none:
		return refuseFor(o, order.NoSuchPack, o.Pack)
	case conn.empty():
		return refuse(o, order.NoPack)
	case slices.Contains(seen.Taken, o.Pack):
		return refuseFor(o, order.PackElsewhere, o.Pack)
	case i.disagree:
		return refuse(o, order.SensorsDisagree)
	case i.recognises && sensed.OK() && sensed.Name != o.Pack:
		return refuseFor(o, order.OtherPackSensed, sensed.Name)
	}
	i.clash = interlock.Usual
	if i.open == named {
		i.leaving, i.want = false, none
		return nil
	}
	i.leaving, i.want, i.wantBy = i.open != none, named, ByPerson
	return nil
}

// dispute notes that another bay's own bus shows the sensor of the pack that this
// one has. Unless a visit keeps it, its history is let go, and the bay blocks until
// its pack is unplugged or named. It reports whether this bay sees the same sensor
// itself: then neither can be believed.
func (i *identity) dispute(seen *PackSeen) (bothSee bool) {
	if i.open == none {
		return false
	}
	i.leaving, i.clash = true, interlock.Elsewhere
	return i.recognises && seen.OK() && seen.Name == i.name(i.open)
}

// opened notes that the history of the wanted pack is open here from now on.
func (i *identity) opened(now time.Duration) {
	i.open, i.by, i.want, i.seenAt = i.want, i.wantBy, none, now
}

// letGo notes that no history is open here.
func (i *identity) letGo() { i.open, i.by, i.leaving = none, NotNamed, false }

// resume goes on after a restart with the pack of the memory. Only a person's word
// counts without being proven again.
func (i *identity) resume(now time.Duration, pack int, by Naming, counts bool) {
	i.open, i.by, i.seenAt, i.leaving = pack, by, now, !counts
}
