package water

// dueGapMM is how far the lowest level must rise above the one that called for water
// before the call ends without water. The errors of a settled level are 0.8 mm, and
// noise of 0.1 mm swings by 0.9 mm between the extremes of a night of seconds, so one
// night has one call.
const dueGapMM = 1.5

// leastShare is the least water that is worth a walk, as a share of what the pack may lose
// from the fill mark to the lowest level for charging: a millimetre in the mean of the
// cells of a usual pack, about the error of a settled level. One low cell among full ones
// can wait until it is low soon. Once called, half of it is enough.
const leastShare, leastAgain = 0.1, 0.05

// missingShare returns how much is likely missing to the fill mark, as a share of the
// reserve of all cells. What is not proposed before a cell is read counts.
func (b *Balance) missingShare() float64 {
	missing := 0.0
	for _, mm := range b.s.LevelMM[:b.cfg.Cells] {
		missing += max(b.cfg.FillMarkMM-mm, 0)
	}
	return missing / (float64(b.cfg.Cells) * max(b.cfg.FillMarkMM-b.cfg.ChargeLevelMM, spareMM))
}

// call decides whether the pack needs water: the lowest cell is low, and enough is missing
// for a visit to be worth it, or it reaches the lowest level for charging soon. So does a
// reading round that is due. Once made, the call remains until water is recorded or the
// level rises by more than noise does. While the level is unknown there is no call, and
// none is forgotten.
func (b *Balance) call() {
	if b.s.Due = false; !b.s.Known {
		return
	}
	at := b.cfg.FillMarkMM - dueShare*(b.cfg.FillMarkMM-b.cfg.ChargeLevelMM)
	// A pack that loses much is soon low even when it is full; that is no call.
	soonAt := min(b.cfg.ChargeLevelMM+b.soonMM, b.cfg.FillMarkMM-spareMM-dueGapMM)
	least := leastShare
	if b.due {
		at, soonAt, least = at+dueGapMM, soonAt+dueGapMM, leastAgain
	}
	// Gas and waves move a level that is not calm by more than noise does.
	if b.probeCalm {
		b.due = b.s.LowMM <= at && b.missingShare() >= least || b.s.ForecastOK && b.s.LowMM < soonAt
	}
	b.s.Due = b.due || b.s.ReadDue
}
