package bay

// nextStage decides where the pack is in its round; sure says that the readings are
// those of the pack whose history is open.
func nextStage(p *Picture, conn *connection, sure bool) Stage {
	c := &p.Charge
	switch {
	case p.Visit.Open:
		return Watering
	case conn.pack == absent:
		return Vacant
	case conn.dead && p.Stage != StageUnknown:
		return p.Stage // a plug is being pulled or wiggled: wait which
	case conn.pack != present || !conn.checked || !sure:
		return Checking
	case c.Flowing && c.Active, c.Active && p.Permit.Granted:
		return Charging
	case !c.Full:
		return Waiting
	case c.Active || !p.Cool.Cool:
		return Cooling
	case !p.Water.Known:
		return keepOr(p.Stage, Cooling)
	case p.Water.Due:
		return ReadyToWater
	default:
		return Rested
	}
}

// keepOr keeps what was said while the level is unknown for a moment; it never
// makes a pack ready or rested.
func keepOr(kept, s Stage) Stage {
	if kept == Rested || kept == ReadyToWater {
		return kept
	}
	return s
}

// enter moves the pack to a stage of its round.
func (p *Picture) enter(to Stage) {
	if to == p.Stage {
		return
	}
	p.Stage, p.StageAt = to, p.Now
	if to == ReadyToWater {
		p.Readied++
	}
}
