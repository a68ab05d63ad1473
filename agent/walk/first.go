package walk

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strings"
	"time"

	"bayward/agent/commission"
	"bayward/agent/logbook"
	"bayward/agent/usage"
	"bayward/agent/words"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// WriteFirst writes what a bay's newest signed walk has measured, beside what the
// simulator assumes, to a new file: a row for the table of real bays in README.md.
// It is English, as README.md is. root is the machine's file system. A simulated
// walk is marked as such in each cell.
func WriteFirst(ctx context.Context, o *Options, path string, root fs.FS) error {
	if _, err := os.Lstat(path); err == nil {
		return usage.Error(words.Fail("usage.first-there", path))
	}
	book, err := logbook.OpenReadOnly(ctx, o.Config.Logbook.Path)
	if err != nil {
		return err
	}
	r, err := lastRecord(ctx, book, o.Bay.Name)
	if err = errors.Join(err, book.Close()); err != nil {
		return err
	}
	switch {
	case r == nil || !r.Signed || r.Ended == nil:
		return usage.Error(words.Fail("usage.first-unsigned", o.Bay.Name))
	case r.Wiring != commission.Fingerprint(o.Bay, o.Pack):
		return usage.Error(words.Fail("usage.first-changed", o.Bay.Name))
	}
	return writeNew(path, firstText(r, &o.Bay.Wiring, root))
}

// FirstColumns are the columns of the table in README.md.
const FirstColumns = "| board | kernel | parts | date | what was seen |"

// firstHead is the file's text up to the figures: with what it is, the bay, the
// columns and the row.
//
//go:embed first.md
var firstHead string

// lookEvery is the interval of the walk's looks at an opening contactor.
const lookEvery = 100 * time.Millisecond

const simulatedMark = "SIMULATED"

func firstText(r *commission.Record, w *wiring.Parts, root fs.FS) string {
	title, figures := "A real bay: walk", figuresOf(r, w)
	cells := []string{model(root), "Linux " + line(root, "proc/sys/kernel/osrelease"), partsOf(w), dateOf(r), seenOf(r, figures)}
	if r.Simulated {
		title = simulatedMark + ", no real bay: walk"
		cells[0], cells[1] = "no board", "no kernel"
		for i := range cells {
			cells[i] = simulatedMark + ": " + cells[i]
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, firstHead, title, r.Bay, FirstColumns, "| "+strings.Join(cells, " | ")+" |")
	for _, f := range figures {
		fmt.Fprintf(&b, "| %s, %s | %.3g | %.3g | %.2g |\n", f.name, f.unit, f.measured, f.assumed, f.ratio())
	}
	fmt.Fprintf(&b, "\nRecord %s, program %s.\n", r.ID, r.Program)
	return b.String()
}

// line returns the first line of a file, without what could break a table.
func line(root fs.FS, path string) string {
	raw, err := fs.ReadFile(root, path)
	text, _, _ := strings.Cut(strings.Trim(string(raw), "\x00\n"), "\n")
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == '|' {
			return ' '
		}
		return r
	}, text)
	if err != nil || text == "" {
		return "not known"
	}
	return text
}

func model(root fs.FS) string { return line(root, "proc/device-tree/model") }

func dateOf(r *commission.Record) string {
	date := r.Ended.Wall.UTC().Format("2006-01-02")
	if !r.Ended.Trusted {
		date += " (clock not set)"
	}
	return date
}

// partsOf lists the kinds of parts that the configuration names.
func partsOf(w *wiring.Parts) string {
	parts := []string{}
	add := func(fitted bool, part string) {
		if fitted {
			parts = append(parts, part)
		}
	}
	if w.Level != nil {
		add(true, "level "+string(w.Level.Kind))
		add(w.Level.Expander != 0, "TCA9534")
	}
	if w.Current != nil {
		add(true, "current "+w.Current.Kind)
	}
	add(w.Temperature != nil, "DS18B20")
	add(w.Hydrogen != nil, "hydrogen sensor")
	add(len(w.Registers) > 0, fmt.Sprintf("%d readings over Modbus", len(w.Registers)))
	add(w.Relay != nil && w.Relay.Heartbeat != "", "watchdog relay")
	for _, c := range w.Contacts() {
		add(c.Contact != nil, c.Sensor.String()+map[bool]string{true: " (break contact)"}[c.Contact != nil && c.Contact.Breaks()])
	}
	return strings.Join(append(convertersOf(w), parts...), ", ")
}

// convertersOf counts the converters of each family: "2 × ADS1115".
func convertersOf(w *wiring.Parts) []string {
	seen, count, titles := map[string]bool{}, map[string]int{}, []string{}
	for _, in := range w.Inputs() {
		f, ok := in.Family()
		if place := in.Place(w.I2C); ok && !seen[place] {
			seen[place] = true
			if count[f.Title]++; count[f.Title] == 1 {
				titles = append(titles, f.Title)
			}
		}
	}
	for i, title := range titles {
		titles[i] = fmt.Sprintf("%d × %s", count[title], title)
	}
	return titles
}

// measured is one figure of a walk.
type measured struct {
	name, unit        string
	measured, assumed float64
}

func (m *measured) ratio() float64 {
	if m.assumed == 0 {
		return math.NaN()
	}
	return m.measured / m.assumed
}

// figuresOf finds the figures in the record's evidence.
func figuresOf(r *commission.Record, w *wiring.Parts) []measured {
	assumed := sim.AssumedOf(w)
	var out []measured
	for i := range r.Steps {
		for _, s := range r.Steps[i].Proof {
			switch s.Key {
			case "walk.rest.mean":
				out = append(out, noiseOf(s, assumed.Noise)...)
			case "walk.level.rods":
				if len(s.Values) > 0 && inAcid(s.Values[0]) {
					out = append(out, measured{"left on the rods by a test pulse", "mV", number(s, 2), assumed.PulseLeavesMV})
				}
			case "walk.relay.opened":
				first := assumed.ContactorOpens.Truncate(lookEvery) + lookEvery // the first look that can show it
				out = append(out, measured{"contactor open, looked at each 0.1 s", "s", number(s, 0), first.Seconds()})
			case "walk.heartbeat.opened":
				out = append(out, measured{"watchdog relay holds", "s", number(s, 0), assumed.WatchdogHolds.Seconds()})
			}
		}
	}
	return out
}

// inAcid reports whether rods were measured before anybody lifted them.
func inAcid(when any) bool {
	s, ok := when.(words.Sentence)
	return ok && s.Key == "walk.level.before-lift"
}

// noiseOf returns the noise of a reading at rest, if the simulator assumes one.
func noiseOf(s words.Sentence, assumed map[string]float64) []measured {
	if len(s.Values) < 4 {
		return nil
	}
	name, ok := s.Values[0].(words.Sentence)
	unit, _ := s.Values[2].(string)
	part := strings.TrimPrefix(name.Key, "walk.reading.")
	if want := assumed[part]; ok && want > 0 {
		return []measured{{"noise of the " + part, unit, number(s, 3), want}}
	}
	return nil
}

func number(s words.Sentence, i int) float64 {
	if i < len(s.Values) {
		if v, ok := s.Values[i].(float64); ok {
			return v
		}
	}
	return math.NaN()
}

// seenOf sums the walk up.
func seenOf(r *commission.Record, figures []measured) string {
	passed, far := 0, 0
	for i := range r.Steps {
		if r.Steps[i].Result == commission.Passed {
			passed++
		}
	}
	for i := range figures {
		if q := figures[i].ratio(); !(q > 1.0/3 && q < 3) {
			far++
		}
	}
	v := words.EnglishSI()
	return fmt.Sprintf("walk %s, %d of %d steps; %d of %d figures within a third and three times of what the simulator assumes",
		v.Word(r.Result().Sentence()), passed, len(r.Steps), len(figures)-far, len(figures))
}
