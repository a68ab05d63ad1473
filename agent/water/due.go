package water

// dueGapMM is how far the lowest level must rise above the one that called for water
// before the call ends without water. The errors of a settled level are 0.8 mm, and
// noise of 0.1 mm swings by 0.9 mm between the extremes of a night of seconds, so one
// night has one call.
const dueGapMM = 1.5

// call decides whether the pack needs water: the lowest cell is low enough for a visit
// to be worth it, or reaches the lowest level for charging soon. So does a reading round
// that is due. Once made, the call
// remains until water is recorded or the level rises by more than noise does. While the
// level is unknown there is no call, and none is forgotten.
func (b *Balance) call() {
	if b.s.Due = false; !b.s.Known {
		return
	}
	at := b.cfg.FillMarkMM - dueShare*(b.cfg.FillMarkMM-b.cfg.ChargeLevelMM)
	// A pack that loses much is soon low even when it is full; that is no call.
	soonAt := min(b.cfg.ChargeLevelMM+b.soonMM, b.cfg.FillMarkMM-spareMM-dueGapMM)
	if b.due {
		at, soonAt = at+dueGapMM, soonAt+dueGapMM
	}
	b.due = b.s.LowMM <= at || b.s.ForecastOK && b.s.LowMM < soonAt
	b.s.Due = b.due || b.s.ReadDue
}
