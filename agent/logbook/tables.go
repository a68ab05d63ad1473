package logbook

import (
	"database/sql/driver"
	"fmt"
	"strings"
	"time"
)

// table describes how rows of one type are stored. One list of columns serves for
// writing and reading, so that neither can miss one.
type table[T any] struct {
	name string
	cols []string // besides id, bay_id and pack_id
	// refs returns the fields of cols in a row, in the same order.
	refs func(*T) []any
	// own returns the fields of the id and of the names of bay and pack.
	own func(*T) (id *int64, bayName, packName *string)
}

const spanCols = "origin start_wall_ms start_trusted start_boot_id start_mono_ns end_wall_ms end_trusted end_boot_id end_mono_ns "

func (s *Span) refs(more ...any) []any {
	return append([]any{
		&s.Origin, msOf{&s.Start.Wall}, &s.Start.Trusted, &s.Start.BootID, &s.Start.Mono,
		endOf{&s.End.Wall}, &s.End.Trusted, &s.End.BootID, &s.End.Mono,
	}, more...)
}

func (s *Span) own() (id *int64, bayName, packName *string) { return &s.ID, &s.Bay, &s.Pack }

var chargeTable = table[Charge]{
	name: "charge",
	cols: strings.Fields(spanCols + `in_ah gassing_ah water_ml depth start_c end_c max_c low_level_mm
		flow_s bare_s blind_s is_full evidence ended code notes`),
	refs: func(c *Charge) []any {
		return c.refs(&c.InAh, &c.GassingAh, &c.WaterML, &c.Depth, &c.StartC, &c.EndC, &c.MaxC, &c.LowMM,
			&c.FlowS, &c.BareS, &c.BlindS, &c.Full, &c.Evidence, &c.Ended, &c.Code, &c.Notes)
	},
	own: func(c *Charge) (*int64, *string, *string) { return c.own() },
}

var visitTable = table[Visit]{
	name: "visit",
	cols: strings.Fields(spanCols + `kind opened_by closed_by cautions water_kind us_per_cm
		level_before_mm level_after_mm total_ml notes late_wall_ms late_by`),
	refs: func(v *Visit) []any {
		return v.refs(&v.Kind, &v.By, &v.ClosedBy, &v.Cautions, &v.Water, &v.USPerCM,
			&v.BeforeMM, &v.AfterMM, &v.TotalML, &v.Notes, endOf{&v.LateAt}, &v.LateBy)
	},
	own: func(v *Visit) (*int64, *string, *string) { return v.own() },
}

var cellCols = strings.Fields(`cell ml rod_before_mm rod_after_mm gravity gravity_c
	how drawn_ml dry_before dry_after verdict done_by`)

func (c *VisitCell) refs() []any {
	return []any{
		&c.Cell, &c.ML, &c.BeforeMM, &c.AfterMM, &c.Gravity, &c.AtC,
		&c.How, &c.DrawnML, &c.DryBefore, &c.DryAfter, &c.Verdict, &c.By,
	}
}

var findingTable = table[Finding]{
	name: "finding",
	cols: strings.Fields(spanCols + `code blocks latched value limit_value fault evidence reason`),
	refs: func(f *Finding) []any {
		return f.refs(&f.Code, &f.Blocks, &f.Latched, &f.Value, &f.Limit, &f.Fault, &f.Evidence, &f.Reason)
	},
	own: func(f *Finding) (*int64, *string, *string) { return f.own() },
}

var refusalTable = table[Refusal]{
	name: "refusal",
	cols: strings.Fields(spanCols + `code codes evidence ended reason value limit_value fault`),
	refs: func(r *Refusal) []any {
		return r.refs(&r.Code, wordsOf{&r.Codes}, &r.Evidence, &r.Ended, &r.Reason, &r.Value, &r.Limit, &r.Fault)
	},
	own: func(r *Refusal) (*int64, *string, *string) { return r.own() },
}

var seriesTable = table[Series]{
	name: "series",
	cols: strings.Fields(`start_wall_ms start_trusted start_boot_id start_mono_ns span_s ticks stage permit_s
		pack_v pack_v_min pack_v_max current_a current_a_min current_a_max pack_c pack_c_max ambient_c
		level_mm level_mm_min hydrogen_pct_max settled_mm predict_mm lost_ml soc`),
	refs: func(s *Series) []any {
		return []any{
			msOf{&s.Start.Wall}, &s.Start.Trusted, &s.Start.BootID, &s.Start.Mono, &s.SpanS, &s.Ticks, &s.Stage, &s.PermitS,
			&s.PackV, &s.PackVMin, &s.PackVMax, &s.CurrentA, &s.CurrentAMin, &s.CurrentAMax, &s.PackC, &s.PackCMax, &s.AmbientC,
			&s.LevelMM, &s.LevelMMMin, &s.HydrogenPctMax, &s.SettledMM, &s.PredictMM, &s.LostML, &s.Soc,
		}
	},
	own: func(s *Series) (*int64, *string, *string) { return &s.ID, &s.Bay, &s.Pack },
}

// selects returns the start of a query that reads whole rows. The table has the
// alias t.
func (t *table[T]) selects() string {
	return "SELECT t.id, bay.name, coalesce(pack.name, ''), t." + strings.Join(t.cols, ", t.") +
		" FROM " + t.name + " t JOIN bay ON bay.id = t.bay_id LEFT JOIN pack ON pack.id = t.pack_id "
}

// places returns where a selected row goes.
func (t *table[T]) places(row *T) []any {
	id, bayName, packName := t.own(row)
	return append([]any{id, bayName, packName}, t.refs(row)...)
}

// insert returns the statement that adds a row; its arguments are the bay's id, the
// pack's and refs.
func (t *table[T]) insert() string {
	return "INSERT INTO " + t.name + " (bay_id, pack_id, " + strings.Join(t.cols, ", ") +
		") VALUES (?, ?" + strings.Repeat(", ?", len(t.cols)) + ") RETURNING id"
}

// update returns the statement that replaces the open row of a bay; its arguments
// are the pack's id, refs and the bay's id.
func (t *table[T]) update(also string) string {
	return "UPDATE " + t.name + " SET pack_id = ?, " + strings.Join(t.cols, " = ?, ") +
		" = ? WHERE bay_id = ? AND end_wall_ms IS NULL" + also + " RETURNING id"
}

// msOf stores a time as milliseconds since 1970.
type msOf struct{ t *time.Time }

// Value implements driver.Valuer.
func (m msOf) Value() (driver.Value, error) { return m.t.UnixMilli(), nil }

// Scan implements sql.Scanner.
func (m msOf) Scan(v any) error {
	ms, ok := v.(int64)
	if !ok {
		return fmt.Errorf("%v is not a time", v)
	}
	*m.t = time.UnixMilli(ms).UTC()
	return nil
}

// endOf is msOf for an end, which is NULL until there is one.
type endOf struct{ t *time.Time }

// Value implements driver.Valuer.
func (e endOf) Value() (driver.Value, error) {
	if e.t.IsZero() {
		return nil, nil
	}
	return e.t.UnixMilli(), nil
}

// Scan implements sql.Scanner.
func (e endOf) Scan(v any) error {
	if v == nil {
		*e.t = time.Time{}
		return nil
	}
	return msOf(e).Scan(v)
}

// wordsOf stores words as one text, joined by spaces.
type wordsOf struct{ words *[]string }

// Value implements driver.Valuer.
func (w wordsOf) Value() (driver.Value, error) { return strings.Join(*w.words, " "), nil }

// Scan implements sql.Scanner.
func (w wordsOf) Scan(v any) error {
	text, ok := v.(string)
	if !ok {
		return fmt.Errorf("%v is not a text", v)
	}
	*w.words = strings.Fields(text)
	return nil
}
