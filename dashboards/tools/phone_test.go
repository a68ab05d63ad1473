package main

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
)

// placed is where a panel stands and what it contains, read from the JSON as Grafana would.
type placed struct {
	Type, Title string
	GridPos     struct{ X, Y, W, H float64 }
	Options     struct{ Content string }
	FieldConfig struct {
		Defaults struct {
			Decimals *float64
			NoValue  string
		}
	}
}

func (f boardFile) placed(t *testing.T) []placed {
	t.Helper()
	var board struct{ Panels []placed }
	if err := json.Unmarshal([]byte(f.text), &board); err != nil {
		t.Fatal(err)
	}
	return board.Panels
}

// pixels is the height of a panel: a unit of Grafana's grid is 30 pixels and 8 between two of them.
func (p placed) pixels() float64 { return p.GridPos.H*38 - 8 }

// A phone is 390 pixels wide, of which the page and the panel take 16 each (measured in Grafana 9).
const phone, inPanel = 390, 390 - 2*16

// TestTablesOnAPhone: of each table a phone shows the bay and the answer without scrolling, and no number
// is cut, because its column has a width of its own.
func TestTablesOnAPhone(t *testing.T) {
	for _, f := range read(t) {
		for _, p := range f.shown(t, "table") {
			organize := p.Transformations[len(p.Transformations)-1].Options
			answer, first := "", math.MaxInt
			for field, column := range organize.RenameByName {
				if i := organize.IndexByName[field]; i < first && p.property(column, "custom.hidden") != true {
					answer, first = column, i
				}
				if width, _ := p.property(column, "custom.width").(float64); p.property(column, "custom.hidden") != true && width < 100 {
					t.Errorf("%s: %s: column %q is %v pixels wide, too few for a number with its unit", f.name, p.Title, column, width)
				}
			}
			width, _ := p.property(answer, "custom.width").(float64)
			for _, label := range []string{"bay", "cell", "code", "sensor", "version", "agent", "site"} {
				before := organize.IndexByName[label] < first && slices.ContainsFunc(p.Targets, func(q struct{ Expr string }) bool {
					_, by, _ := strings.Cut(q.Expr, "by (")
					by, _, _ = strings.Cut(by, ")")
					return slices.Contains(strings.Split(by, ", "), label)
				})
				if own, _ := p.property(label, "custom.width").(float64); before {
					if own == 0 {
						t.Errorf("%s: %s: %s stands before the answer and takes as much as there is", f.name, p.Title, label)
					}
					width += own
				}
			}
			if width > inPanel {
				t.Errorf("%s: %s: up to its answer %q a table is %v pixels wide, a phone shows %d", f.name, p.Title, answer, width, inPanel)
			}
		}
	}
}

// TestAPhoneAnswersFirst: on a phone the panels stand below each other. The yard names the packs after at
// most three figures, and the first three of a bay's board are the answers.
func TestAPhoneAnswersFirst(t *testing.T) {
	for board, answers := range map[string][]string{
		"yard":  {"Agents that do not answer", "Bays that need attention", "Waiting, charge blocked", "Which agents do not answer?", "Which packs need attention, and why?"},
		"bay":   {"May it charge now?", "Why not, or what is wrong?", "At which stage is it?"},
		"agent": {"Agents that answer", "Agents that do not answer"},
	} {
		for _, f := range read(t) {
			if f.name != board {
				continue
			}
			var titles []string
			for _, p := range f.placed(t) {
				if p.Type != "row" {
					titles = append(titles, p.Title)
				}
			}
			if !slices.Equal(titles[:len(answers)], answers) {
				t.Errorf("%s begins with %q, want %q", board, titles[:len(answers)], answers)
			}
		}
	}
}

// TestCautionsAreWhole: on a phone no line of the cautions is cut. A letter of 14 pixels is 8 wide at most
// on average, a line 22 high; title and margins take 60.
func TestCautionsAreWhole(t *testing.T) {
	found := 0
	for _, f := range read(t) {
		for _, p := range f.placed(t) {
			if p.Type != "text" {
				continue
			}
			found++
			lines := math.Ceil(float64(len(p.Options.Content)) * 8 / inPanel)
			if need := lines*22 + 60; need > p.pixels() {
				t.Errorf("%s: the cautions take %v pixels on a phone and have %v", f.name, need, p.pixels())
			}
		}
	}
	if found != 2 {
		t.Errorf("%d panels of cautions: the search is broken", found)
	}
}

// TestAxesHaveNumbersOnly: where a tick of an axis needs more decimals than are set, Grafana writes the
// panel's words for no data on the axis.
func TestAxesHaveNumbersOnly(t *testing.T) {
	curves := 0
	for _, f := range read(t) {
		for _, p := range f.placed(t) {
			if p.Type != "timeseries" {
				continue
			}
			curves++
			if d := p.FieldConfig.Defaults; d.Decimals != nil {
				t.Errorf("%s: %s: with %v decimals the axis may read %q", f.name, p.Title, *d.Decimals, d.NoValue)
			}
		}
	}
	if curves < 15 {
		t.Errorf("%d panels of curves: the search is broken", curves)
	}
}

// TestPanelsFitTheGrid: the grid is 24 wide, and Grafana moves a panel that hangs over its edge.
func TestPanelsFitTheGrid(t *testing.T) {
	for _, f := range read(t) {
		for i, p := range f.placed(t) {
			if g := p.GridPos; g.X+g.W > boardWidth || g.W == 0 {
				t.Errorf("%s: %s: from %v to %v of %d", f.name, p.Title, g.X, g.X+g.W, boardWidth)
			}
			for _, q := range f.placed(t)[:i] {
				if a, b := p.GridPos, q.GridPos; a.X < b.X+b.W && b.X < a.X+a.W && a.Y < b.Y+b.H && b.Y < a.Y+a.H {
					t.Errorf("%s: %s lies over %s", f.name, p.Title, q.Title)
				}
			}
		}
	}
}
