package water

// Round is the water to load for the next round of a yard.
type Round struct {
	DueML   float64 // for the packs that need water now
	AllML   float64 // for every pack whose level is known
	Due     int     // packs that need water now
	Unknown int     // packs of unknown level, not in the sums
}

// NextRound adds up the packs of a yard. The sums are what the cells need; spills
// and what a pump leaves in its tank come on top.
func NextRound(packs []*Status) Round {
	var r Round
	for _, s := range packs {
		if !s.Known {
			r.Unknown++
			continue
		}
		r.AllML += s.TotalML
		if s.Due {
			r.Due++
			r.DueML += s.TotalML
		}
	}
	return r
}
