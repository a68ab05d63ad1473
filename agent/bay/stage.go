package bay

import "time"

// stage decides where the pack stands in its round.
func (b *Bay) stage(now time.Duration) {
	to := b.nextStage()
	from := b.pic.Stage
	if to == from {
		return
	}
	b.pic.Stage, b.pic.StageAt = to, now
	if to == ReadyToWater {
		b.pic.Readied++
	}
	b.tell(Event{Kind: StageChanged, Stage: to, From: from, Text: b.pic.stageSays()})
}

func (b *Bay) nextStage() Stage {
	c := &b.pic.Charge
	switch {
	case b.pic.Visit.Open:
		return Watering
	case b.seat.here == vacant:
		return Vacant
	case b.seat.empty && b.pic.Stage != StageUnknown:
		return b.pic.Stage // a plug is being pulled or wriggled: wait which
	case b.seat.here != present || !b.seat.settled || !b.mine():
		return Checking
	case c.Flowing && c.Active, c.Active && b.pic.Permit.Granted:
		return Charging
	case !c.Full:
		return Waiting
	case c.Active || !b.pic.Cool.Cool:
		return Cooling
	case !b.pic.Water.Known:
		return b.keepOr(Cooling)
	case b.pic.Water.Due:
		return ReadyToWater
	default:
		return Rested
	}
}

// keepOr keeps what was said while the level is unknown for a moment; it never
// makes a pack ready or rested.
func (b *Bay) keepOr(s Stage) Stage {
	if b.pic.Stage == Rested || b.pic.Stage == ReadyToWater {
		return b.pic.Stage
	}
	return s
}
