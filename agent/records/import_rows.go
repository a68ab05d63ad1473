package records

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/agent/words"
)

// text returns a cell as written, "" when its column is missing.
func (im *importer) text(field string) string {
	i := slices.Index(im.names, field)
	if i < 0 {
		return ""
	}
	return unguard(im.cells[i])
}

const maxText = 2000 // bytes of one note

func (im *importer) words(field string) string {
	s := im.text(field)
	if len(s) > maxText {
		im.complain("too-long", field, maxText)
	}
	return s
}

// number reads a number within bounds; an empty cell is unknown.
func (im *importer) number(field string, low, high float64, unit words.Sentence) logbook.Num {
	v, given, err := im.typed(field)
	if !given {
		return nil
	}
	if err != nil || math.IsNaN(v) || v < low || v > high {
		im.reject(field, says("range", low, high, unit))
		return nil
	}
	return &v
}

// typed reads a cell as a number; given is false for an empty one.
func (im *importer) typed(field string) (v float64, given bool, err error) {
	s := strings.TrimSpace(im.text(field))
	if im.comma {
		s = strings.Replace(s, ",", ".", 1)
	}
	v, err = strconv.ParseFloat(s, 64)
	return v, s != "", err
}

// gravity reads a specific gravity, also as hydrometers print it: 1265 for 1.265.
func (im *importer) gravity(field string) logbook.Num {
	const perMille = 1000
	low, high := order.GravityField.Low, order.GravityField.High
	if v, _, err := im.typed(field); err == nil && v >= perMille*low && v <= perMille*high {
		return logbook.Known(v / perMille)
	}
	return im.number(field, low, high, says("unit.gravity"))
}

// By how much a file may exceed the bounds of an order's field. Orders are typed at
// the pack and bounded against typing errors; paper is not, and adds up several
// pours.
const (
	asOrders  = 1
	widerML   = 5
	widerMM   = 2.5
	widerUSCM = 2
)

// Temperatures have bounds of their own, those of a thermometer: what a sensor on a
// case read in frost or fire is history, too.
const coldestC, hottestC = -60, 120

// handed reads a value that an order could have entered, within wider bounds.
func (im *importer) handed(column string, f *order.Field, wider float64, unit words.Sentence) logbook.Num {
	return im.number(column, f.Low, f.High*wider, unit)
}

func (im *importer) temperature(column string) logbook.Num {
	return im.number(column, coldestC, hottestC, says("unit.c"))
}

// level reads a level. A rod reads nothing below the plate tops, but a probe does,
// and older records have such readings.
func (im *importer) level(column string) logbook.Num {
	most := order.LevelField.High * widerMM
	return im.number(column, -most, most, says("unit.level"))
}

func (im *importer) yes(field string, otherwise bool) bool {
	switch strings.ToLower(strings.TrimSpace(im.text(field))) {
	case "":
		return otherwise
	case "true", "yes", "1":
		return true
	case "false", "no", "0":
		return false
	}
	im.reject(field, says("true-or-false"))
	return otherwise
}

func (im *importer) oneOf(field string, accepted ...string) string {
	s := strings.TrimSpace(im.text(field))
	if s != "" && !slices.Contains(accepted, s) {
		im.reject(field, says("or-empty", strings.Join(accepted, ", ")))
	}
	return s
}

var placeName = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

const maxPlace = 48

func (im *importer) place(field string) string {
	s := strings.TrimSpace(im.text(field))
	if !placeName.MatchString(s) || len(s) > maxPlace {
		im.reject(field, says("place", maxPlace))
	}
	return s
}

var timeForms = []string{time.RFC3339, "2006-01-02 15:04", "2006-01-02T15:04", time.DateOnly}

// earliest is before the lifetime of any battery in use.
var earliest = time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)

func (im *importer) when(field string) time.Time {
	s := strings.TrimSpace(im.text(field))
	for _, form := range timeForms {
		if t, err := time.ParseInLocation(form, s, im.Zone); err == nil && !t.Before(earliest) && !t.After(im.Now) {
			return t.UTC().Truncate(time.Millisecond)
		}
	}
	im.reject(field, says("time"))
	return time.Time{}
}

// span reads what all rows have. Hand-kept history has ended: without an end it
// took no time.
func (im *importer) span() logbook.Span {
	s := logbook.Span{Bay: im.place("bay"), Pack: im.place("pack"), Origin: logbook.ByImport}
	s.Start = logbook.Stamp{Wall: im.when("start"), Trusted: im.yes("start_trusted", true)}
	s.End = logbook.Stamp{Wall: s.Start.Wall, Trusted: im.yes("end_trusted", s.Start.Trusted)}
	if strings.TrimSpace(im.text("end")) != "" {
		s.End.Wall = im.when("end")
	}
	if s.End.Wall.Before(s.Start.Wall) && s.Start.Trusted && !s.End.Wall.IsZero() {
		im.reject("end", says("not-before-start"))
	}
	return s
}

// once checks that a row is new in its file.
func (im *importer) once(what words.Sentence, parts ...string) {
	key := strings.Join(append([]string{what.Key}, parts...), "\x00")
	if line, twice := im.seen[key]; twice {
		im.complain("again", what, line)
		return
	}
	im.seen[key] = im.line
}

func (im *importer) chargeLine() {
	c := logbook.Charge{
		Span: im.span(), InAh: im.number("in_ah", 0, 10000, says("unit.ah")), GassingAh: im.number("gassing_ah", 0, 10000, says("unit.ah")),
		WaterML: im.number("water_ml", 0, 10000, says("unit.ml-each")), Depth: im.number("depth", 0, 2, says("unit.depth")),
		StartC: im.temperature("start_c"), EndC: im.temperature("end_c"), MaxC: im.temperature("max_c"),
		LowMM: im.level("low_level_mm"),
		FlowS: orZero(im.number("flow_s", 0, 1e9, says("unit.s"))), BareS: orZero(im.number("bare_s", 0, 1e9, says("unit.s"))), BlindS: orZero(im.number("blind_s", 0, 1e9, says("unit.s"))),
		Full: im.yes("full", false), Evidence: im.words("evidence"), Code: im.words("code"), Notes: im.words("notes"),
		Ended: im.oneOf("ended", logbook.EndedFull, logbook.EndedStopped, logbook.EndedBlocked, logbook.EndedUnplugged, logbook.EndedUnseen),
	}
	im.once(says("this-charge"), c.Bay, c.Pack, c.Start.Wall.String())
	im.rows.Charges = append(im.rows.Charges, c)
}

// visitLine adds a cell to its visit: lines of one visit have the same bay, pack
// and start, and are consecutive.
func (im *importer) visitLine() {
	v := logbook.Visit{
		Span: im.span(), Kind: im.oneOf("kind", logbook.VisitWater, logbook.VisitCoverPlates, logbook.VisitReadings),
		By: im.words("by"), ClosedBy: im.words("closed_by"), Cautions: im.words("cautions"), Notes: im.words("notes"),
		Water: im.oneOf("water_kind", order.WaterField.Words...), USPerCM: im.handed("us_per_cm", order.USPerCMField, widerUSCM, says("unit.us-per-cm")),
		BeforeMM: im.level("level_before_mm"), AfterMM: im.level("level_after_mm"), LateBy: im.words("late_by"),
	}
	if strings.TrimSpace(im.text("late")) != "" {
		v.LateAt = im.when("late")
	}
	if v.Kind == "" {
		v.Kind = logbook.VisitWater
	}
	all := im.rows.Visits
	if n := len(all); n > 0 && sameVisit(&all[n-1], &v) {
		im.agree(&all[n-1], &v)
	} else {
		im.once(says("this-visit"), v.Bay, v.Pack, v.Start.Wall.String())
		im.rows.Visits = append(all, v)
	}
	im.cell(&im.rows.Visits[len(im.rows.Visits)-1])
}

func sameVisit(a, b *logbook.Visit) bool {
	return a.Bay == b.Bay && a.Pack == b.Pack && a.Start.Wall.Equal(b.Start.Wall)
}

// agree rejects a file that contradicts itself about one visit.
func (im *importer) agree(a, b *logbook.Visit) {
	same := func(field string, x, y any) {
		if x != y {
			im.reject(field, says("same"))
		}
	}
	same("kind", a.Kind, b.Kind)
	same("end", a.End.Wall, b.End.Wall)
	same("by", a.By, b.By)
	same("closed_by", a.ClosedBy, b.ClosedBy)
	same("cautions", a.Cautions, b.Cautions)
	same("notes", a.Notes, b.Notes)
	same("late", a.LateAt, b.LateAt)
	same("late_by", a.LateBy, b.LateBy)
	same("water_kind", a.Water, b.Water)
	same("us_per_cm", plain(number(a.USPerCM)), plain(number(b.USPerCM)))
	same("level_before_mm", plain(number(a.BeforeMM)), plain(number(b.BeforeMM)))
	same("level_after_mm", plain(number(a.AfterMM)), plain(number(b.AfterMM)))
}

func (im *importer) cell(v *logbook.Visit) {
	c := logbook.VisitCell{
		ML: im.handed("water_ml", order.MLField, widerML, says("unit.ml")), BeforeMM: im.level("rod_before_mm"),
		AfterMM: im.level("rod_after_mm"),
		Gravity: im.gravity("gravity"), AtC: im.temperature("gravity_c"),
		How: im.oneOf("how", order.HowField.Words...), DrawnML: im.handed("drawn_ml", order.MLField, widerML, says("unit.ml")),
		DryBefore: im.yes("dry_before", false), DryAfter: im.yes("dry_after", false),
		Verdict: im.words("gravity_verdict"), By: im.words("cell_by"),
	}
	n := im.handed("cell", order.CellField, asOrders, says("unit.cell"))
	switch {
	case n == nil && strings.TrimSpace(im.text("cell")) == "" && (c != logbook.VisitCell{}):
		im.reject("cell", says("which-cell"))
		return
	case n == nil:
		return
	case *n != math.Trunc(*n):
		im.reject("cell", says("whole"))
		return
	}
	c.Cell = int(*n)
	at, twice := slices.BinarySearchFunc(v.Cells, c.Cell, func(x logbook.VisitCell, n int) int { return x.Cell - n })
	if twice {
		im.complain("cell-twice", c.Cell)
		return
	}
	v.Cells = slices.Insert(v.Cells, at, c)
	v.TotalML += orZero(c.ML)
}
