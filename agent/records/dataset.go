package records

import (
	"cmp"
	"context"
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/template"
	"time"

	"bayward/agent/bay"
	"bayward/agent/logbook"
	"bayward/agent/reading"
	"bayward/agent/usage"
	"bayward/agent/words"
)

// DatasetPack is what a dataset says of a pack besides its record.
type DatasetPack struct {
	bay.Pack           // its name is not published
	LevelProbe  string // kind
	Thermometer string // its place: electrolyte or case
	Charger     string // characteristic
	Fitted      reading.Sensors
}

// Dataset is the record of some bays as their owner gives it away: no name of a site,
// a bay, a pack or a person, no date, no free text.
type Dataset struct {
	Bays         []string // in the record; they get numbers in this order
	Packs        []DatasetPack
	Since, Until time.Time // as in logbook.Query
}

// given lists the columns that leave, by table. Each was checked for what it reveals, so
// a new column of a table does not leave by itself.
var given = []struct{ table, columns string }{
	{"charges", "bay pack start end in_ah gassing_ah water_ml depth start_c end_c max_c low_level_mm dry flow_s bare_s blind_s full evidence ended code"},
	{"cells", "bay pack start end kind water_kind us_per_cm level_before_mm level_after_mm total_ml " +
		"cell water_ml how rod_before_mm rod_after_mm dry_before dry_after gravity gravity_c gravity_verdict drawn_ml"},
	{"findings", "bay pack start end code blocks latched value limit_value fault"},
	{"series", "bay pack start span_s ticks stage permit_s pack_v pack_v_min pack_v_max current_a current_a_min current_a_max " +
		"pack_c pack_c_max ambient_c level_mm level_mm_min hydrogen_pct_max settled_mm predict_mm lost_ml soc"},
}

// besides explains what a table leaves to its neighbour.
var besides = map[string]string{
	"level_after_mm": "the same when it was closed",
	"pack_v_min":     "lowest, V", "pack_v_max": "highest, V", "current_a_min": "lowest, A", "current_a_max": "highest, A",
	"pack_c_max": "highest, °C", "level_mm_min": "lowest",
}

//go:embed dataset.md
var cardText string

var card = template.Must(template.New("card").Parse(cardText))

// writer writes one dataset.
type writer struct {
	*Dataset
	r       *logbook.Reader
	dir     string
	zero    time.Time      // midnight in UTC before the first row
	places  map[string]int // numbers of bays
	packs   map[string]int // numbers of packs, in the order in which they appear
	files   []datasetFile
	undated int
	lastS   float64
}

// datasetFile is a file of a dataset as its card describes it.
type datasetFile struct {
	Name, About string
	Columns     []Column
	Rows        int
}

// Write writes the dataset of r into a new folder: a table in each file, and
// README.md with what they mean. A folder that exists is an error, and an
// incomplete one never gets the name.
func (d *Dataset) Write(ctx context.Context, r *logbook.Reader, dir string) (err error) {
	if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
		return usage.Error(words.Fail("usage.folder-there", dir))
	}
	next, err := os.MkdirTemp(filepath.Dir(dir), "."+filepath.Base(dir)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(next))
		}
	}()
	w := &writer{Dataset: d, r: r, dir: next, places: map[string]int{}, packs: map[string]int{}}
	for i, name := range d.Bays {
		w.places[name] = i + 1
	}
	if err := w.all(ctx); err != nil {
		return err
	}
	if err := os.Chmod(next, 0o755); err != nil { //nolint:gosec // it is made to be given away
		return err
	}
	return os.Rename(next, dir)
}

func (w *writer) all(ctx context.Context) error {
	if err := w.findZero(ctx); err != nil {
		return err
	}
	for _, g := range given {
		if err := w.table(ctx, TableNamed(g.table), strings.Fields(g.columns)); err != nil {
			return fmt.Errorf("%s: %w", g.table, err)
		}
	}
	if err := w.packTable(); err != nil {
		return err
	}
	return w.card()
}

// query selects the rows of one bay.
func (w *writer) query(bay string) logbook.Query {
	return logbook.Query{Bay: bay, Since: w.Since, Until: w.Until}
}

// rows calls each for every row of the bays whose clock had been set, and counts the
// others.
func (w *writer) rows(ctx context.Context, t *Table, each func([]any) error) error {
	trusted := t.index("start_trusted")
	for _, bay := range w.Bays {
		for row, err := range t.Rows(ctx, w.r, w.query(bay)) {
			if err != nil {
				return err
			}
			if set, _ := row[trusted].(bool); !set {
				w.undated++
				continue
			}
			if err := each(row); err != nil {
				return err
			}
		}
	}
	return nil
}

// findZero finds the midnight from which the times count: the hour of the day says how
// a yard works, the date says which yard it may be.
func (w *writer) findZero(ctx context.Context) error {
	var first time.Time
	for _, g := range given {
		t := TableNamed(g.table)
		start := t.index("start")
		err := w.rows(ctx, t, func(row []any) error {
			if at, ok := row[start].(time.Time); ok && (first.IsZero() || at.Before(first)) {
				first = at
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	if first.IsZero() {
		return usage.Error(words.Fail("usage.no-dated-row", strings.Join(w.Bays, ", ")))
	}
	w.zero, w.undated = first.UTC().Truncate(24*time.Hour), 0
	return nil
}

func (w *writer) table(ctx context.Context, t *Table, names []string) error {
	f := datasetFile{Name: t.Name + ".csv", About: t.About}
	from := make([]int, len(names))
	for i, name := range names {
		from[i] = t.index(name)
		c := t.Columns[from[i]]
		switch name {
		case "start", "end":
			c = Column{name + "_s", "seconds since the midnight (UTC) before the first row"}
		case "bay", "pack":
			c.Means = "a number; 0: unknown"
		default:
			c.Means = cmp.Or(c.Means, besides[name])
		}
		f.Columns = append(f.Columns, c)
	}
	return w.file(f, func(add func([]any) error) error {
		line := make([]any, len(names))
		return w.rows(ctx, t, func(row []any) error {
			for i, name := range names {
				line[i] = w.anonymous(name, row[from[i]])
			}
			if i := slices.Index(names, "end"); i >= 0 {
				if set, _ := row[t.index("end_trusted")].(bool); !set {
					line[i] = nil
				}
			}
			return add(line)
		})
	})
}

// anonymous replaces what says where or when a row was made.
func (w *writer) anonymous(column string, v any) any {
	name, _ := v.(string)
	switch column {
	case "bay":
		return int64(w.places[name])
	case "pack":
		if name != "" && w.packs[name] == 0 {
			w.packs[name] = len(w.packs) + 1
		}
		return int64(w.packs[name])
	case "start", "end":
		at, ok := v.(time.Time)
		if !ok {
			return nil
		}
		s := at.Sub(w.zero).Seconds()
		w.lastS = max(w.lastS, s)
		return s
	}
	return v
}

// file writes one file and notes it for the card.
func (w *writer) file(f datasetFile, fill func(add func([]any) error) error) error {
	out, err := os.OpenFile(filepath.Join(w.dir, f.Name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644) //nolint:gosec // it is made to be given away
	if err != nil {
		return err
	}
	table := csv.NewWriter(out)
	line := make([]string, len(f.Columns))
	for i, c := range f.Columns {
		line[i] = c.Name
	}
	err = table.Write(line)
	if err == nil {
		err = fill(func(values []any) error {
			for i, v := range values {
				line[i] = plain(v)
			}
			f.Rows++
			return table.Write(line)
		})
	}
	table.Flush()
	w.files = append(w.files, f)
	return errors.Join(err, table.Error(), out.Sync(), out.Close())
}

// packColumns are those of packs.csv after the pack's number.
var packColumns = []struct {
	Column
	of func(*DatasetPack) any
}{
	{Column{"cells", "of 2 V, in series"}, func(p *DatasetPack) any { return int64(p.Cells) }},
	{Column{"probe_cell", "the cell with the level probe, 1 at the positive end; 0: not known"}, func(p *DatasetPack) any { return int64(p.ProbeCell) }},
	{Column{"capacity_ah", "nominal, Ah"}, func(p *DatasetPack) any { return p.CapacityAh }},
	{Column{"rate_hours", "the rate of that capacity, h"}, func(p *DatasetPack) any { return p.RateHours }},
	{Column{"full_gravity", "specific gravity when full, at 25 °C"}, func(p *DatasetPack) any { return p.FullGravity }},
	{Column{"charge_level_mm", "lowest level for charging"}, func(p *DatasetPack) any { return p.ChargeLevelMM }},
	{Column{"fill_mark_mm", "fill mark"}, func(p *DatasetPack) any { return p.FillMarkMM }},
	{Column{"vent_well_mm", "bottom of the vent well"}, func(p *DatasetPack) any { return p.VentWellMM }},
	{Column{"free_surface_cm2", "of the electrolyte in one cell, cm²"}, func(p *DatasetPack) any { return p.FreeSurfaceCM2 }},
	{Column{"electrolyte_ml", "at the fill mark"}, func(p *DatasetPack) any { return p.ElectrolyteML }},
	{Column{"charge_factor", "ampere-hours in over ampere-hours out that count as full"}, func(p *DatasetPack) any { return p.ChargeFactor }},
	{Column{"level_probe", "its kind"}, func(p *DatasetPack) any { return p.LevelProbe }},
	{Column{"thermometer", "place of the pack's thermometer: electrolyte or case"}, func(p *DatasetPack) any { return p.Thermometer }},
	{Column{"charger", "characteristic of the charger"}, func(p *DatasetPack) any { return p.Charger }},
	{Column{"has_current", "a current sensor is fitted"}, func(p *DatasetPack) any { return p.Fitted.Has(reading.PackCurrent) }},
	{Column{"has_ambient", "a thermometer for the air is fitted"}, func(p *DatasetPack) any { return p.Fitted.Has(reading.AmbientTemperature) }},
	{Column{"has_hydrogen", "a gas sensor is fitted"}, func(p *DatasetPack) any { return p.Fitted.Has(reading.Hydrogen) }},
}

// packTable describes the packs that appear, in the order of their numbers. Of one that
// the configuration does not have only its number is known.
func (w *writer) packTable() error {
	f := datasetFile{Name: "packs.csv", About: "The packs, as their owner described them.", Columns: []Column{{"pack", "a number"}}}
	for _, c := range packColumns {
		f.Columns = append(f.Columns, c.Column)
	}
	names := make([]string, len(w.packs))
	for name, n := range w.packs {
		names[n-1] = name
	}
	return w.file(f, func(add func([]any) error) error {
		for n, name := range names {
			line := make([]any, len(f.Columns))
			line[0] = int64(n + 1)
			if i := slices.IndexFunc(w.Packs, func(p DatasetPack) bool { return p.Name == name }); i >= 0 {
				for j, c := range packColumns {
					line[j+1] = c.of(&w.Packs[i])
				}
			}
			if err := add(line); err != nil {
				return err
			}
		}
		return nil
	})
}

// card writes README.md.
func (w *writer) card() error {
	slices.SortFunc(w.files, func(a, b datasetFile) int { return cmp.Compare(a.Name, b.Name) })
	out, err := os.OpenFile(filepath.Join(w.dir, "README.md"), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644) //nolint:gosec // it is made to be given away
	if err != nil {
		return err
	}
	err = card.Execute(out, map[string]any{
		"Bays": len(w.Bays), "Packs": len(w.packs), "Days": fmt.Sprintf("%.1f", w.lastS/86400), "Undated": w.undated, "Files": w.files,
	})
	return errors.Join(err, out.Sync(), out.Close())
}
