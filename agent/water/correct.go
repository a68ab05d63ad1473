package water

// Unread takes back the last level reading of a cell in the open visit, as if it had
// not been made. After a restart the estimate before it is no longer known; then the
// reading proves nothing any more.
func (b *Balance) Unread(number int) {
	c := b.cell(number)
	if c == nil {
		return
	}
	wasDry := c.WasDry
	if i := number - 1; b.undo.Has(number) {
		*c = b.before[i]
		b.undo &^= 1 << i
	} else {
		c.Fresh, c.PouredML = false, 0
	}
	c.Dry, c.WasDry = wasDry, false
	b.unreadKnown(number - 1)
	b.unseen(number)
	b.unreadProbe(number)
	b.doubt(number - 1)
	b.diffs.outdated = true
}

// Repoured moves a cell whose water in the open visit is corrected, in ml less what
// was drawn off. A level that was read since that water is still what was read.
func (b *Balance) Repoured(number int, wasML, isML float64) {
	c := b.cell(number)
	if c != nil {
		b.repouredKnown(number-1, wasML, isML)
	}
	if c == nil || c.PouredML != wasML && c.PouredML <= isML {
		return
	}
	c.OffsetMM += b.mm(c.PouredML - isML)
	c.PouredML = isML
	b.diffs.outdated = true
}

// NotOver records that what was written of a cell over its ceiling in the open visit
// was a mistake. A cell that was over it before the visit stays so, and after a
// restart in the visit all do.
func (b *Balance) NotOver(number int) {
	if c := b.cell(number); c != nil && b.overHere.Has(number) {
		c.Over, c.Drawn = false, false
	}
}

// Correct corrects the water of a closed visit by so many ml. Less water lowers the
// estimate of a cell that was not read since; more water raises none.
func (b *Balance) Correct(number int, byML float64) {
	c := b.cell(number)
	if c == nil {
		return
	}
	c.FilledML = max(c.FilledML+byML, 0)
	if byML < 0 && !c.Fresh {
		c.OffsetMM += b.mm(byML)
	}
	b.know.cells[number-1].span(b.mm(byML))
	b.know.outdated = true
	b.diffs.outdated = true
	b.judgeFills()
}

// CorrectLevel corrects a level read in a closed visit by so many mm, or voids it. A
// lower one lowers the estimate, a higher one raises none; one that never was proves
// nothing, so the cell counts as no higher than the pilot cell, and as dry if it was
// dry before that reading.
func (b *Balance) CorrectLevel(number int, byMM float64, void bool) {
	c := b.cell(number)
	if c == nil {
		return
	}
	if void {
		c.Fresh, c.Dry = false, c.Dry || c.WasDry
		b.know.cells[number-1].lose()
		b.unseen(number)
	} else {
		c.OffsetMM += min(byMM, 0)
		b.know.cells[number-1].span(byMM)
	}
	b.know.outdated = true
	b.diffs.outdated = true
}
