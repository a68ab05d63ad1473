package bay

// nextStage decides the pack's stage; sure reports whether the readings are those
// of the pack whose history is open.
func nextStage(p *Picture, conn *connection, sure bool) Stage {
	c := &p.Charge
	switch {
	case p.Visit.Open:
		return Watering
	case conn.pack == absent:
		return Vacant
	case conn.dead && p.Stage != StageUnknown:
		return p.Stage // a plug is being pulled or wiggled: wait to see which
	case conn.pack != present || !conn.checked || !sure:
		return Checking
	case c.Flowing && c.Active, c.Active && p.Permit.Granted:
		return Charging
	case !c.Full:
		return Waiting
	case c.Active || !p.Cool.Cool && !p.Cool.Lately:
		return Cooling
	case !p.Water.Known, p.Cool.Lately, c.Flowing:
		return keepOr(p.Stage, Cooling)
	case p.Water.Due:
		return ReadyToWater
	default:
		return Rested
	}
}

// keepOr keeps the previous stage while a reading is briefly unknown or shows a current
// that is no charge yet: one disturbed reading does not call a technician twice. It never
// makes a pack ready or rested.
func keepOr(kept, s Stage) Stage {
	if kept == Rested || kept == ReadyToWater {
		return kept
	}
	return s
}

// enter changes the pack's stage.
func (p *Picture) enter(to Stage) {
	if to == p.Stage {
		return
	}
	p.Stage, p.StageAt = to, p.Now
	if to == ReadyToWater {
		p.Readied++
	}
}
