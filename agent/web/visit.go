package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/words"
)

// visitPage is one step of a visit. It shows only what is in the picture, so a visit
// continues after its person, browser or agent has stopped.
type visitPage struct {
	base
	Bay                         string
	VisitOpen                   bool
	Step                        string // open, water, cells, cell, sheet, close, done
	OnlyCoverPlates             bool
	Next                        int // the cell to go to, 0 for none
	Hint                        string
	Confirm, Leaving            []confirm // before the visit is opened, and closed
	Round                       []confirm // those of Confirm for the whole round
	RoundAt                     string    // when they were confirmed, "" if not yet
	Grid                        grid
	By, Progress                string
	InVisit, Others             string // who is in it; who is in it besides the reader
	Outside                     bool   // the reader is not in it
	Locks                       locks
	Joining                     []confirm
	Forgotten                   string
	Quality                     quality
	Cells                       []plan
	Total                       string
	Missing                     string
	Bare                        string // cells with dry plates: nothing is done while there are any
	Read, Unread                string // which cells to read; which of them are left, before it is closed
	Cell                        *cellStep
	Length, Volume, Temperature string // units in which people write
	Says                        string
	Alarms                      []findingText
}

// alarms lists the dangers that a person at the pack must know at once. Bare plates
// are left out: they are why the person came.
func alarms(p *bay.Picture, v words.Voice) []findingText {
	var all []findingText
	for c := range p.Findings {
		code := interlock.Code(c)
		if f := &p.Findings[c]; f.Raised && warns(code) {
			all = append(all, newFinding(v, p, code))
		}
	}
	return all
}

// warns reports whether a finding must reach a person at the pack: each danger, and
// what comes before one.
func warns(c interlock.Code) bool {
	switch c {
	case interlock.PlatesBare:
		return false
	case interlock.HydrogenWarning, interlock.PackWarm:
		return true
	default:
		return interlock.Table[c].Severity == interlock.Danger
	}
}

type confirm struct{ Name, Text string }

// confirms lists what a person confirms before an order.
func confirms(v words.Voice, kind order.Kind) []confirm {
	var all []confirm
	for _, point := range kind.Row().Confirm {
		all = append(all, confirm{point, v.Say("confirm." + point)})
	}
	return all
}

type quality struct {
	Known           bool
	Text, Judgement string
	Class           string // "good", "warn" or "refuse"
}

// cellStep is what a person needs at one cell.
type cellStep struct {
	plan
	Title     string
	Never     string
	Warnings  []string
	Gravity   *judged
	Next      int
	Corrected []string // what was corrected here in this visit
	ToMark    bool     // filling to the mark is what this visit is for
}

func (s *server) visitSteps(w http.ResponseWriter, r *http.Request) {
	p, missing := s.find(r)
	if missing != nil {
		s.fail(w, r, *missing)
		return
	}
	page := s.newVisitPage(r, p)
	q := r.URL.Query()
	if !p.Visit.Open {
		w.Header().Set(keepHeader, "no")
	}
	switch {
	case !p.Visit.Open && (q.Get("step") == "done" || q.Get("step") == "late" || q.Get("step") == "typed"):
		page.Step = q.Get("step")
	case !p.Visit.Open:
		page.Step = "open"
	case q.Get("cell") != "":
		n, err := strconv.Atoi(q.Get("cell"))
		if err != nil || n < 1 || n > p.Pack.Cells {
			s.fail(w, r, *failed(http.StatusNotFound, "no-such-cell", s.view(r).Say("fail.cell", quoted(q.Get("cell")), p.Pack.Cells)))
			return
		}
		page.Step, page.Cell = "cell", s.newCellStep(r, p, n)
		if q.Get("step") == "correct" {
			page.Step = "correct"
		}
	case q.Get("step") == "close", q.Get("step") == "water", q.Get("step") == "sheet":
		page.Step = q.Get("step")
	default:
		page.Step = "cells"
		w.Header().Set(keepHeader, "yes")
	}
	s.write(w, r, http.StatusOK, "visit", page)
}

func (s *server) newVisitPage(r *http.Request, p *bay.Picture) visitPage {
	v := s.view(r)
	units := v.Units()
	page := visitPage{
		base: s.base(r, v.Say("visit.title", p.Bay)), Bay: p.Bay, VisitOpen: p.Visit.Open,
		Length: units.Length.Symbol, Volume: units.Volume.Symbol, Temperature: units.Temperature.Symbol,
		OnlyCoverPlates: p.Visit.OnlyCoverPlates, Hint: visitHint(p, v), Quality: qualityOf(v, p), Says: v.Says(p),
	}
	page.Live, page.Visit = true, true
	page.Alarms = alarms(p, v)
	page.addCells(p, v)
	page.addConfirms(s, r, v)
	if !p.Visit.Open {
		return page
	}
	page.Grid = s.newGrid(p, v, cellInHand(r, p.Pack.Cells))
	page.addPeople(s, r, p)
	page.By = v.Say("visit.by", p.Visit.By, v.Span(p.Now-p.Visit.Since))
	if open := p.Now - p.Visit.Since; open > bay.VisitForgottenAfter {
		page.Forgotten = v.Say("visit.forgotten", v.Span(open))
	}
	return page
}

// addConfirms sets what the person confirms: at each battery, and once a round.
func (page *visitPage) addConfirms(s *server, r *http.Request, v words.Voice) {
	page.Leaving = confirms(v, order.VisitClose)
	for _, c := range confirms(v, order.VisitOpen) {
		if slices.Contains(order.VisitOpen.Row().Round, c.Name) {
			page.Round = append(page.Round, c)
		} else {
			page.Confirm = append(page.Confirm, c)
		}
	}
	if at, ok := s.roundOf(r, page.Who); ok {
		page.RoundAt = v.Say("visit.round", at.Local().Format("15:04"))
	}
}

func (page *visitPage) addCells(p *bay.Picture, v words.Voice) {
	done, total, missing := 0, 0.0, []int(nil)
	for i := range p.Pack.Cells {
		n := planOf(p, v, i)
		page.Cells = append(page.Cells, n)
		total += n.GivenML
		if n.Done {
			done++
		} else if n.Adds() || !n.AddKnown {
			missing = append(missing, n.Number)
		}
	}
	page.Progress = v.Say("visit.progress", done, p.Pack.Cells)
	page.Total = v.Say("close.total", v.Volume(total))
	page.Bare = v.StillBare(bareCells(p))
	page.Next = nextCell(p, 0)
	page.Read, page.Unread = v.Readings(p), v.Unread(p)
	if len(missing) > 0 {
		page.Missing = v.Say("close.missing", v.Cells(missing))
	}
}

func visitHint(p *bay.Picture, v words.Voice) string {
	switch p.Stage {
	case bay.ReadyToWater:
		return v.Say("visit.open.full")
	case bay.Rested:
		return v.Say("visit.open.none")
	default:
		return v.Say("visit.open.plates")
	}
}

// judged is a reading with what it means.
type judged struct{ Class, Text, More string }

// qualityOf rates the water by its recorded values.
func qualityOf(v words.Voice, p *bay.Picture) quality {
	if !p.Visit.QualityKnown {
		return quality{Text: v.Say("quality.unmeasured")}
	}
	us := p.Visit.USPerCM
	q := quality{Known: true, Text: v.Say("quality.is", us)}
	switch {
	case us > worstUSPerCM:
		q.Class, q.Judgement = "refuse", v.Say("quality.refuse", float64(worstUSPerCM))
	case us > goodUSPerCM:
		q.Class, q.Judgement = "warn", v.Say("quality.warn", float64(goodUSPerCM))
	default:
		q.Class, q.Judgement = "good", v.Say("quality.good", float64(goodUSPerCM))
	}
	return q
}

func (s *server) newCellStep(r *http.Request, p *bay.Picture, number int) *cellStep {
	v := s.view(r)
	n := planOf(p, v, number-1)
	c := &cellStep{
		plan: n, Title: v.Say("cell.title", number, p.Pack.Cells), Next: nextCell(p, number), ToMark: !p.Visit.OnlyCoverPlates && !n.Near,
	}
	c.Never = v.Say("cell.never", v.Height(n.CeilingMM))
	if n.Read {
		c.Warnings = append(c.Warnings, v.Say("cell.first"))
	}
	if n.ReadAfter {
		c.Warnings = append(c.Warnings, v.Say("cell.last"))
	}
	if n.Doubt {
		c.Warnings = append(c.Warnings, v.Say("cell.doubt"))
	}
	if n.Over {
		c.Warnings = append(c.Warnings, v.Say("cell.over", v.Height(n.CeilingMM)))
	} else if n.Near {
		c.Warnings = append(c.Warnings, v.Say("cell.near"))
	}
	if q := qualityOf(v, p); q.Class == "refuse" || q.Class == "warn" {
		c.Warnings = append(c.Warnings, q.Text+" "+q.Judgement)
	}
	c.Gravity = gravityOf(v, p, number)
	c.Corrected = s.Past.corrections(p.Bay, p.Visit.Since, number, v)
	return c
}

// gravityOf judges the last hydrometer reading of a cell, nil without one.
func gravityOf(v words.Voice, p *bay.Picture, cell int) *judged {
	text := v.Gravity(p.Charge.Gravity, cell)
	if text == "" {
		return nil
	}
	g := &judged{Class: "warn", Text: text, More: v.GravityRound(p.Charge.Gravity)}
	if p.Charge.Gravity.Cells[cell-1].Verdict == charge.GravityFull {
		g.Class = "good"
	}
	return g
}

// nextCell returns the cell to go to after the given one: the worst of the few to read
// first, otherwise the first after it that is not done, wrapping around; 0 if all are
// done. If most are to be read, going over all of them in order reads them too.
func nextCell(p *bay.Picture, after int) int {
	if first := p.ReadFirst(); 2*len(first) <= p.Pack.Cells {
		for _, n := range first {
			if n != after && !p.Visit.Cells[n-1].Done {
				return n
			}
		}
	}
	for i := range p.Pack.Cells {
		n := (after+i)%p.Pack.Cells + 1
		if !p.Visit.Cells[n-1].Done && n != after {
			return n
		}
	}
	return 0
}

func visitURL(bayName, query string) string {
	return "/bays/" + url.PathEscape(bayName) + "/visit" + when(query != "", "?"+query)
}

// onward returns the address that follows a cell.
func onward(p *bay.Picture, after int) string {
	if n := nextCell(p, after); n > 0 {
		return visitURL(p.Bay, fmt.Sprintf("cell=%d", n))
	}
	return visitURL(p.Bay, "step=close")
}
