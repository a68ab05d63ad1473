package bay

import (
	"slices"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// identifyFor is how long the agent looks for a pack's sensor before it notifies:
// the kernel searches its 1-wire bus every ten seconds.
const identifyFor = 30 * time.Second

// none means no pack where a pack's index is kept.
const none = -1

// identity tracks which pack is plugged in. In a bay for one pack it always
// knows.
type identity struct {
	packs      []Pack // that may be plugged in
	fixed      bool   // the bay serves only this one
	recognises bool   // the packs' own sensors identify the pack; otherwise a technician does

	open     int // index in packs of the pack whose history is open here, or none
	by       Naming
	seenAt   time.Duration    // when its own sensor answered, or its history was opened
	want     int              // the pack whose history is to be opened, or none
	wantBy   Naming           // how that pack is known
	leaving  bool             // the open history is to be closed
	clash    interlock.Reason // until the pack is unplugged or named
	disagree bool             // the sensors of several packs answer in this tick
	askedAt  time.Duration    // since when an unknown pack has been connected
}

func newIdentity(s *Setup) identity {
	if len(s.Packs) > 0 {
		return identity{packs: s.Packs, recognises: s.Recognises, open: none, by: NotNamed, want: none}
	}
	return identity{packs: []Pack{s.Pack}, fixed: true, by: ByConfig, want: none}
}

// find returns a pack's index, or none when the bay does not serve it.
func (i *identity) find(name string) int {
	return slices.IndexFunc(i.packs, func(p Pack) bool { return p.Name == name })
}

// name returns the name of the pack at an index, "" for none.
func (i *identity) name(place int) string {
	if place == none {
		return ""
	}
	return i.packs[place].Name
}

// step decides which pack is plugged in. It closes a pack's history when the
// voltage has gone, when the pack's sensor has been silent for as long as a
// voltage may be, or when another pack's sensor answers. One pack never directly
// replaces another.
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
			i.leaving = true // nothing shows any longer that it is this pack
		}
	case i.open == sensed: // also when it returns to the visit that kept it
		i.seenAt, i.want, i.leaving = now, none, i.clash != interlock.Usual
	case i.leaving && i.clash == interlock.Usual:
		// The previous pack has left, but its history is still open.
	case i.open != none:
		i.leaving, i.clash = true, interlock.PackChanged
	case i.clash == interlock.Usual && i.want != sensed:
		i.want, i.wantBy = sensed, BySensor
	}
}

// settled reports whether the pack whose history is open is the one plugged in,
// as far as all earlier ticks show.
func (i *identity) settled() bool {
	return i.open != none && !i.leaving && i.clash == interlock.Usual && i.want == none
}

// sure reports whether the readings are those of the pack whose history is open.
// Its history gets no readings of another pack.
func (i *identity) sure() bool { return i.fixed || i.settled() && !i.disagree }

// judged returns what the rules see: whether the pack is known, and if not, why.
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

// take records which pack a technician says is plugged in. That counts until the
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

// dispute handles another bay whose bus shows the sensor of this bay's pack.
// Unless a visit keeps it, the history is closed, and the bay blocks until its
// pack is unplugged or named. dispute reports whether this bay sees the same
// sensor itself: then neither bay can be believed.
func (i *identity) dispute(seen *PackSeen) (bothSee bool) {
	if i.open == none {
		return false
	}
	i.leaving, i.clash = true, interlock.Elsewhere
	return i.recognises && seen.OK() && seen.Name == i.name(i.open)
}

// opened records that the wanted pack's history is now open here.
func (i *identity) opened(now time.Duration) {
	i.open, i.by, i.want, i.seenAt = i.want, i.wantBy, none, now
}

// letGo records that no history is open here.
func (i *identity) letGo() { i.open, i.by, i.leaving = none, NotNamed, false }

// resume continues with the pack of the memory after a restart. Only a pack that
// a technician named counts without being proven again. seenAt is when the pack was
// last named.
func (i *identity) resume(seenAt time.Duration, pack int, by Naming, counts bool) {
	i.open, i.by, i.seenAt, i.leaving = pack, by, seenAt, !counts
}

// silentFor returns since when nothing has shown which pack it is.
func (i *identity) silentFor(now time.Duration) time.Duration {
	if i.open == none {
		return 0
	}
	return now - i.seenAt
}

// clashName returns why no pack is believed, as stored.
func (i *identity) clashName() string {
	if i.clash == interlock.Usual {
		return ""
	}
	return i.clash.String()
}

// restoreClash keeps not believing any pack. A reason that this program does not know
// counts as another pack.
func (i *identity) restoreClash(name string) {
	switch i.clash = interlock.ParseReason(name); {
	case name == "":
		i.clash = interlock.Usual
	case i.clash != interlock.Elsewhere:
		i.clash = interlock.PackChanged
	}
}
