package view

import (
	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// Gravity is a round of hydrometer readings as judged.
type Gravity struct {
	ForS   float64       `json:"for_s"` // since the first reading
	Counts int           `json:"counts"`
	Says   string        `json:"says"`
	Cells  []CellGravity `json:"cells"` // only those that were read
}

// CellGravity is the verdict on one cell's reading.
type CellGravity struct {
	Cell       int      `json:"cell"` // 1 is the positive end
	Verdict    string   `json:"verdict"`
	Gravity25C *float64 `json:"gravity_25c,omitempty"` // as read, at 25 °C
	OverFull   *float64 `json:"over_full,omitempty"`   // absent, as the next one, when the reading does not count
	OverOthers *float64 `json:"over_others,omitempty"` // absent without other cells
	Text       string   `json:"text"`
}

func gravityOf(p *bay.Picture) *Gravity {
	r := p.Charge.Gravity
	if r == nil {
		return nil
	}
	english := words.EnglishSI()
	g := &Gravity{ForS: (p.Now - r.Began).Seconds(), Counts: r.Sound, Says: english.GravityRound(r), Cells: []CellGravity{}}
	for i := range r.Cells {
		c := &r.Cells[i]
		if c.Verdict == charge.NotRead {
			continue
		}
		g.Cells = append(g.Cells, CellGravity{
			Cell: i + 1, Verdict: c.Verdict.String(), Gravity25C: when(true, reading.Round(c.SG25, 4)),
			OverFull:   when(c.Verdict.Sound(), reading.Round(c.OverFull, 4)),
			OverOthers: when(c.Verdict.Sound() && c.Others > 0, reading.Round(c.OverOthers, 4)),
			Text:       english.Gravity(r, i+1),
		})
	}
	return g
}
