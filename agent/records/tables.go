package records

import (
	"context"
	"iter"
	"slices"
	"strings"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

func fieldsOf(text string) []string { return strings.Fields(text) }

// spanColumns are shared by all rows with a beginning and an end.
func spanColumns[T any](of func(*T) *logbook.Span) []column[T] {
	return []column[T]{
		{"id", func(r *T) any { return of(r).ID }},
		{"bay", func(r *T) any { return of(r).Bay }},
		{"pack", func(r *T) any { return of(r).Pack }},
		{"origin", func(r *T) any { return of(r).Origin }},
		{"start", func(r *T) any { return moment(of(r).Start.Wall) }},
		{"start_trusted", func(r *T) any { return of(r).Start.Trusted }},
		{"end", func(r *T) any { return moment(of(r).End.Wall) }},
		{"end_trusted", func(r *T) any {
			if of(r).Open() {
				return nil
			}
			return of(r).End.Trusted
		}},
	}
}

func packs(v words.Voice) *Table {
	return newTable(v, "packs", "pack bay charges visits", []column[logbook.PackEntry]{
		{"pack", func(p *logbook.PackEntry) any { return p.Name }},
		{"bay", func(p *logbook.PackEntry) any { return p.Bay }},
		{"charges", func(p *logbook.PackEntry) any { return int64(p.Charges) }},
		{"visits", func(p *logbook.PackEntry) any { return int64(p.Visits) }},
	}, readPacks)
}

func readPacks(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[logbook.PackEntry, error] {
	return func(yield func(logbook.PackEntry, error) bool) {
		all, err := r.Packs(ctx)
		if err != nil {
			yield(logbook.PackEntry{}, err)
			return
		}
		for _, p := range all {
			if (q.Pack == "" || q.Pack == p.Name) && (q.Bay == "" || q.Bay == p.Bay) && !yield(p, nil) {
				return
			}
		}
	}
}

func charges(v words.Voice) *Table {
	type row = logbook.Charge
	own := []column[row]{
		{"in_ah", func(c *row) any { return number(c.InAh) }},
		{"gassing_ah", func(c *row) any { return number(c.GassingAh) }},
		{"water_ml", func(c *row) any { return number(c.WaterML) }},
		{"depth", func(c *row) any { return number(c.Depth) }},
		{"start_c", func(c *row) any { return number(c.StartC) }},
		{"end_c", func(c *row) any { return number(c.EndC) }},
		{"max_c", func(c *row) any { return number(c.MaxC) }},
		{"low_level_mm", func(c *row) any { return number(c.LowMM) }},
		{"dry", func(c *row) any { return dry(c) }},
		{"flow_s", func(c *row) any { return c.FlowS }},
		{"bare_s", func(c *row) any { return c.BareS }},
		{"blind_s", func(c *row) any { return c.BlindS }},
		{"full", func(c *row) any { return c.Full }},
		{"evidence", func(c *row) any { return c.Evidence }},
		{"ended", func(c *row) any { return c.Ended }},
		{"code", func(c *row) any { return c.Code }},
		{"notes", func(c *row) any { return c.Notes }},
	}
	return newTable(v, "charges", "id pack bay start start_trusted end in_ah water_ml max_c low_level_mm dry full ended",
		append(spanColumns(func(c *row) *logbook.Span { return &c.Span }), own...),
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Charges(ctx, q)
		})
}

// dry answers the question that every warranty asks.
func dry(c *logbook.Charge) string {
	switch wasDry, known := c.Dry(); {
	case wasDry:
		return "yes"
	case known:
		return "no"
	}
	return "unknown"
}

// visitColumns are the columns of a visit as a whole.
func visitColumns() []column[logbook.Visit] {
	type row = logbook.Visit
	return append(spanColumns(func(v *row) *logbook.Span { return &v.Span }), []column[row]{
		{"kind", func(v *row) any { return v.Kind }},
		{"by", func(v *row) any { return v.By }},
		{"closed_by", func(v *row) any { return v.ClosedBy }},
		{"cautions", func(v *row) any { return v.Cautions }},
		{"water_kind", func(v *row) any { return v.Water }},
		{"us_per_cm", func(v *row) any { return number(v.USPerCM) }},
		{"level_before_mm", func(v *row) any { return number(v.BeforeMM) }},
		{"level_after_mm", func(v *row) any { return number(v.AfterMM) }},
		{"total_ml", func(v *row) any { return number(totalOf(v)) }},
		{"notes", func(v *row) any { return v.Notes }},
	}...)
}

// lateColumns are at the end of both tables: a reader may count columns.
func lateColumns() []column[logbook.Visit] {
	type row = logbook.Visit
	return []column[row]{
		{"late", func(v *row) any { return moment(v.LateAt) }},
		{"late_by", func(v *row) any { return v.LateBy }},
	}
}

func visits(v words.Voice) *Table {
	return newTable(v, "visits", "id pack bay start start_trusted kind by water_kind us_per_cm level_before_mm level_after_mm total_ml",
		append(visitColumns(), lateColumns()...),
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[logbook.Visit, error] {
			return r.Visits(ctx, q)
		})
}

// cells has a row for each cell of a visit: the visit with that cell alone. A visit
// without entries by cell has one row whose number is 0.
func cells(v words.Voice) *Table {
	type row = logbook.Visit
	own := []column[row]{
		{"cell", func(v *row) any {
			if v.Cells[0].Cell == 0 {
				return nil
			}
			return int64(v.Cells[0].Cell)
		}},
		{"water_ml", func(v *row) any { return number(v.Cells[0].ML) }},
		{"rod_before_mm", func(v *row) any { return number(v.Cells[0].BeforeMM) }},
		{"rod_after_mm", func(v *row) any { return number(v.Cells[0].AfterMM) }},
		{"gravity", func(v *row) any { return number(v.Cells[0].Gravity) }},
		{"gravity_c", func(v *row) any { return number(v.Cells[0].AtC) }},
		{"how", func(v *row) any { return v.Cells[0].How }},
		{"drawn_ml", func(v *row) any { return number(v.Cells[0].DrawnML) }},
		{"dry_before", func(v *row) any { return v.Cells[0].DryBefore }},
		{"dry_after", func(v *row) any { return v.Cells[0].DryAfter }},
		{"gravity_verdict", func(v *row) any { return v.Cells[0].Verdict }},
		{"cell_by", func(v *row) any { return v.Cells[0].By }},
	}
	return newTable(v, "cells", "id pack bay start start_trusted cell_by cell water_ml how rod_before_mm rod_after_mm gravity gravity_c",
		append(append(visitColumns(), own...), lateColumns()...), readCells)
}

func readCells(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[logbook.Visit, error] {
	return func(yield func(logbook.Visit, error) bool) {
		for v, err := range r.Visits(ctx, q) {
			if err != nil {
				yield(logbook.Visit{}, err)
				return
			}
			if len(v.Cells) == 0 {
				v.Cells = []logbook.VisitCell{{}}
			}
			for one := range slices.Chunk(v.Cells, 1) {
				if v.Cells = one; !yield(v, nil) {
					return
				}
			}
		}
	}
}

func corrections(v words.Voice) *Table {
	type row = logbook.Correction
	cols := []column[row]{
		{"id", func(c *row) any { return c.ID }},
		{"bay", func(c *row) any { return c.Bay }},
		{"pack", func(c *row) any { return c.Pack }},
		{"time", func(c *row) any { return moment(c.At.Wall) }},
		{"time_trusted", func(c *row) any { return c.At.Trusted }},
		{"visit", func(c *row) any { return c.Visit }},
		{"cell", func(c *row) any { return int64(c.Cell) }},
		{"field", func(c *row) any { return c.Field }},
		{"old", func(c *row) any { return number(c.Old) }},
		{"new", func(c *row) any { return number(c.New) }},
		{"by", func(c *row) any { return c.By }},
		{"reason", func(c *row) any { return c.Reason }},
	}
	return newTable(v, "corrections", "id pack time visit cell field old new by reason", cols,
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Corrections(ctx, q)
		})
}

func findings(v words.Voice) *Table {
	type row = logbook.Finding
	own := []column[row]{
		{"code", func(f *row) any { return f.Code }},
		{"blocks", func(f *row) any { return f.Blocks }},
		{"latched", func(f *row) any { return f.Latched }},
		{"value", func(f *row) any { return number(f.Value) }},
		{"limit_value", func(f *row) any { return number(f.Limit) }},
		{"fault", func(f *row) any { return f.Fault }},
		{"evidence", func(f *row) any { return foundText(v, f.Code, &f.Found, f.Evidence) }},
	}
	return newTable(v, "findings", "id pack bay start start_trusted end code blocks evidence",
		append(spanColumns(func(f *row) *logbook.Span { return &f.Span }), own...),
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Findings(ctx, q)
		})
}

func refusals(v words.Voice) *Table {
	type row = logbook.Refusal
	own := []column[row]{
		{"code", func(f *row) any { return f.Code }},
		{"codes", func(f *row) any { return strings.Join(f.Codes, " ") }},
		{"evidence", func(f *row) any { return foundText(v, f.Code, &f.Found, f.Evidence) }},
		{"ended", func(f *row) any { return f.Ended }},
	}
	return newTable(v, "refusals", "id pack bay start start_trusted end codes ended evidence",
		append(spanColumns(func(f *row) *logbook.Span { return &f.Span }), own...),
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Refusals(ctx, q)
		})
}

func series(v words.Voice) *Table {
	type row = logbook.Series
	num := func(name string, of func(*row) logbook.Num) column[row] {
		return column[row]{name, func(s *row) any { return number(of(s)) }}
	}
	cols := []column[row]{
		{"id", func(s *row) any { return s.ID }},
		{"bay", func(s *row) any { return s.Bay }},
		{"pack", func(s *row) any { return s.Pack }},
		{"start", func(s *row) any { return moment(s.Start.Wall) }},
		{"start_trusted", func(s *row) any { return s.Start.Trusted }},
		{"span_s", func(s *row) any { return s.SpanS }},
		{"ticks", func(s *row) any { return int64(s.Ticks) }},
		{"stage", func(s *row) any { return s.Stage }},
		{"permit_s", func(s *row) any { return s.PermitS }},
		num("pack_v", func(s *row) logbook.Num { return s.PackV }),
		num("pack_v_min", func(s *row) logbook.Num { return s.PackVMin }),
		num("pack_v_max", func(s *row) logbook.Num { return s.PackVMax }),
		num("current_a", func(s *row) logbook.Num { return s.CurrentA }),
		num("current_a_min", func(s *row) logbook.Num { return s.CurrentAMin }),
		num("current_a_max", func(s *row) logbook.Num { return s.CurrentAMax }),
		num("pack_c", func(s *row) logbook.Num { return s.PackC }),
		num("pack_c_max", func(s *row) logbook.Num { return s.PackCMax }),
		num("ambient_c", func(s *row) logbook.Num { return s.AmbientC }),
		num("level_mm", func(s *row) logbook.Num { return s.LevelMM }),
		num("level_mm_min", func(s *row) logbook.Num { return s.LevelMMMin }),
		num("hydrogen_pct_max", func(s *row) logbook.Num { return s.HydrogenPctMax }),
		num("settled_mm", func(s *row) logbook.Num { return s.SettledMM }),
		num("predict_mm", func(s *row) logbook.Num { return s.PredictMM }),
		num("lost_ml", func(s *row) logbook.Num { return s.LostML }),
		num("soc", func(s *row) logbook.Num { return s.Soc }),
	}
	return newTable(v, "series", "pack bay start stage pack_v current_a pack_c level_mm", cols,
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Series(ctx, q)
		})
}

func events(v words.Voice) *Table {
	type row = logbook.Record
	cols := []column[row]{
		{"bay", func(e *row) any { return e.Bay }},
		{"epoch", func(e *row) any { return e.Epoch }},
		{"seq", func(e *row) any { return int64(e.Seq) }},
		{"pack", func(e *row) any { return e.Pack }},
		{"time", func(e *row) any { return moment(e.Stamp.Wall) }},
		{"time_trusted", func(e *row) any { return e.Stamp.Trusted }},
		{"boot_id", func(e *row) any { return e.Stamp.BootID }},
		{"mono_s", func(e *row) any { return e.Stamp.Mono.Seconds() }},
		{"kind", func(e *row) any { return e.Kind }},
		{"stage", func(e *row) any { return e.Stage }},
		{"from", func(e *row) any { return e.From }},
		{"code", func(e *row) any { return e.Code }},
		{"by", func(e *row) any { return e.By }},
		{"order", func(e *row) any { return e.Order }},
		{"text", func(e *row) any { return EventText(v, e) }},
	}
	return newTable(v, "events", "bay seq pack time time_trusted kind code by text", cols,
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.EachEvent(ctx, q)
		})
}
