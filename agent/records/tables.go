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

const trustMeans = "true: the clock had been set; false: the time may be wrong by years"

// spanColumns are shared by all rows with a beginning and an end.
func spanColumns[T any](of func(*T) *logbook.Span) []column[T] {
	return []column[T]{
		{"id", "number within its table, assigned by the logbook", func(r *T) any { return of(r).ID }},
		{"bay", "", func(r *T) any { return of(r).Bay }},
		{"pack", "empty: unknown", func(r *T) any { return of(r).Pack }},
		{"origin", "agent: recorded by bayward; import: kept by hand; paper: a sheet that was typed in after the visit", func(r *T) any { return of(r).Origin }},
		{"start", "", func(r *T) any { return moment(of(r).Start.Wall) }},
		{"start_trusted", trustMeans, func(r *T) any { return of(r).Start.Trusted }},
		{"end", "empty: still in progress", func(r *T) any { return moment(of(r).End.Wall) }},
		{"end_trusted", "as start_trusted; empty while there is no end", func(r *T) any {
			if of(r).Open() {
				return nil
			}
			return of(r).End.Trusted
		}},
	}
}

func packs() *Table {
	return newTable("packs", "The packs in the record, by name; filters by bay and time do not apply.", "pack bay charges visits", []column[logbook.PackEntry]{
		{"pack", "", func(p *logbook.PackEntry) any { return p.Name }},
		{"bay", "where it was last charged or visited", func(p *logbook.PackEntry) any { return p.Bay }},
		{"charges", "", func(p *logbook.PackEntry) any { return int64(p.Charges) }},
		{"visits", "without rounds of readings", func(p *logbook.PackEntry) any { return int64(p.Visits) }},
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

func charges() *Table {
	type row = logbook.Charge
	own := []column[row]{
		{"in_ah", "ampere-hours in", func(c *row) any { return number(c.InAh) }},
		{"gassing_ah", "of them, the part that split water, in each cell", func(c *row) any { return number(c.GassingAh) }},
		{"water_ml", "water lost by each cell, by Faraday's law", func(c *row) any { return number(c.WaterML) }},
		{"depth", "ampere-hours missing over capacity at the start", func(c *row) any { return number(c.Depth) }},
		{"start_c", "electrolyte at the start, °C", func(c *row) any { return number(c.StartC) }},
		{"end_c", "electrolyte at the end, °C", func(c *row) any { return number(c.EndC) }},
		{"max_c", "maximum of the electrolyte, °C", func(c *row) any { return number(c.MaxC) }},
		{"low_level_mm", "lowest level while current flowed, mm above the plate tops", func(c *row) any { return number(c.LowMM) }},
		{"dry", "charged with bare plates: yes, no, or unknown", func(c *row) any { return dry(c) }},
		{"flow_s", "seconds with current", func(c *row) any { return c.FlowS }},
		{"bare_s", "of them, with the plates bare", func(c *row) any { return c.BareS }},
		{"blind_s", "of them, with the level unknown", func(c *row) any { return c.BlindS }},
		{"full", "proven full", func(c *row) any { return c.Full }},
		{"evidence", "what proved it", func(c *row) any { return c.Evidence }},
		{"ended", "full, stopped, blocked, unplugged or unseen; empty: in progress, or not recorded", func(c *row) any { return c.Ended }},
		{"code", "with blocked: the finding that ended it", func(c *row) any { return c.Code }},
		{"notes", "", func(c *row) any { return c.Notes }},
	}
	return newTable("charges", "Charges, by start.", "id pack bay start start_trusted end in_ah water_ml max_c low_level_mm dry full ended",
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
		{"kind", "water, cover-plates, or readings (hydrometer and level rod only)", func(v *row) any { return v.Kind }},
		{"by", "who opened it", func(v *row) any { return v.By }},
		{"closed_by", "", func(v *row) any { return v.ClosedBy }},
		{"cautions", "what was confirmed when it was opened: keys of the language files, or a sentence of an older version", func(v *row) any { return v.Cautions }},
		{"water_kind", "demineralised, distilled or other; empty: not stated", func(v *row) any { return v.Water }},
		{"us_per_cm", "conductivity of the water, µS/cm", func(v *row) any { return number(v.USPerCM) }},
		{"level_before_mm", "level by the bay's own probe, mm above the plate tops", func(v *row) any { return number(v.BeforeMM) }},
		{"level_after_mm", "", func(v *row) any { return number(v.AfterMM) }},
		{"total_ml", "water given to all cells; empty: unknown", func(v *row) any { return number(totalOf(v)) }},
		{"notes", "", func(v *row) any { return v.Notes }},
	}...)
}

// lateColumns are at the end of both tables: a reader may count columns.
func lateColumns() []column[logbook.Visit] {
	type row = logbook.Visit
	return []column[row]{
		{"late", "when a paper sheet was typed in after the visit; empty: recorded in it", func(v *row) any { return moment(v.LateAt) }},
		{"late_by", "who typed it in", func(v *row) any { return v.LateBy }},
	}
}

func visits() *Table {
	return newTable("visits", "Visits, by start, without their cells.", "id pack bay start start_trusted kind by water_kind us_per_cm level_before_mm level_after_mm total_ml",
		append(visitColumns(), lateColumns()...),
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[logbook.Visit, error] {
			return r.Visits(ctx, q)
		})
}

// cells has a row for each cell of a visit: the visit with that cell alone. A visit
// without entries by cell has one row whose number is 0.
func cells() *Table {
	type row = logbook.Visit
	own := []column[row]{
		{"cell", "1 is the positive end; empty: no entries by cell", func(v *row) any {
			if v.Cells[0].Cell == 0 {
				return nil
			}
			return int64(v.Cells[0].Cell)
		}},
		{"water_ml", "water given; 0: inspected, needed none", func(v *row) any { return number(v.Cells[0].ML) }},
		{"rod_before_mm", "level rod before any water, mm above the plate tops", func(v *row) any { return number(v.Cells[0].BeforeMM) }},
		{"rod_after_mm", "last level reading after the water", func(v *row) any { return number(v.Cells[0].AfterMM) }},
		{"gravity", "specific gravity as read, not corrected", func(v *row) any { return number(v.Cells[0].Gravity) }},
		{"gravity_c", "temperature of the electrolyte at that reading, °C", func(v *row) any { return number(v.Cells[0].AtC) }},
		{"how", "how water_ml was found: measured, to-mark (worked out), as-proposed (not measured); empty: unknown", func(v *row) any { return v.Cells[0].How }},
		{"drawn_ml", "electrolyte drawn off", func(v *row) any { return number(v.Cells[0].DrawnML) }},
		{"dry_before", "before any water the level rod showed the plates", func(v *row) any { return v.Cells[0].DryBefore }},
		{"dry_after", "so did the last look after the water", func(v *row) any { return v.Cells[0].DryAfter }},
		{"gravity_verdict", "what the gravity means; empty: not judged", func(v *row) any { return v.Cells[0].Verdict }},
		{"cell_by", "who recorded it, one name a line; empty: unknown", func(v *row) any { return v.Cells[0].By }},
	}
	return newTable("cells", "Visits again, one row for each cell with an entry, as corrected.", "id pack bay start start_trusted cell_by cell water_ml how rod_before_mm rod_after_mm gravity gravity_c",
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

func corrections() *Table {
	type row = logbook.Correction
	cols := []column[row]{
		{"id", "number within its table", func(c *row) any { return c.ID }},
		{"bay", "where it was made", func(c *row) any { return c.Bay }},
		{"pack", "whose visit it was; empty: unknown", func(c *row) any { return c.Pack }},
		{"time", "", func(c *row) any { return moment(c.At.Wall) }},
		{"time_trusted", trustMeans, func(c *row) any { return c.At.Trusted }},
		{"visit", "number of the visit", func(c *row) any { return c.Visit }},
		{"cell", "1 is the positive end", func(c *row) any { return int64(c.Cell) }},
		{"field", "ml, drawn_ml, level_before_mm, level_after_mm or gravity", func(c *row) any { return c.Field }},
		{"old", "value until then; empty: there was none", func(c *row) any { return number(c.Old) }},
		{"new", "value since; empty: it never happened", func(c *row) any { return number(c.New) }},
		{"by", "who corrected it", func(c *row) any { return c.By }},
		{"reason", "why", func(c *row) any { return c.Reason }},
	}
	return newTable("corrections", "Corrections of what visits recorded at a cell, in the order in which they were made; the last one of a value counts.",
		"id pack time visit cell field old new by reason", cols,
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Corrections(ctx, q)
		})
}

func findings(v words.Voice) *Table {
	type row = logbook.Finding
	own := []column[row]{
		{"code", "see agent/interlock/findings.md", func(f *row) any { return f.Code }},
		{"blocks", "blocks the charge", func(f *row) any { return f.Blocks }},
		{"latched", "had to be released by hand", func(f *row) any { return f.Latched }},
		{"value", "meaning depends on the code", func(f *row) any { return number(f.Value) }},
		{"limit_value", "likewise", func(f *row) any { return number(f.Limit) }},
		{"fault", "of the sensor, where that was the reason", func(f *row) any { return f.Fault }},
		{"evidence", "one sentence, as it was raised", func(f *row) any { return foundText(v, f.Code, &f.Found, f.Evidence) }},
	}
	return newTable("findings", "Findings, by start.", "id pack bay start start_trusted end code blocks evidence",
		append(spanColumns(func(f *row) *logbook.Span { return &f.Span }), own...),
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Findings(ctx, q)
		})
}

func refusals(v words.Voice) *Table {
	type row = logbook.Refusal
	own := []column[row]{
		{"code", "the first reason", func(f *row) any { return f.Code }},
		{"codes", "all reasons in the order in which they came, joined by spaces", func(f *row) any { return strings.Join(f.Codes, " ") }},
		{"evidence", "one sentence on the first", func(f *row) any { return foundText(v, f.Code, &f.Found, f.Evidence) }},
		{"ended", "granted, left, full or restart", func(f *row) any { return f.Ended }},
	}
	return newTable("refusals", "Times in which a pack was connected and not full and its charge was blocked, by start.",
		"id pack bay start start_trusted end codes ended evidence",
		append(spanColumns(func(f *row) *logbook.Span { return &f.Span }), own...),
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Refusals(ctx, q)
		})
}

func series() *Table {
	type row = logbook.Series
	num := func(name, means string, of func(*row) logbook.Num) column[row] {
		return column[row]{name, means, func(s *row) any { return number(of(s)) }}
	}
	cols := []column[row]{
		{"id", "number within its table", func(s *row) any { return s.ID }},
		{"bay", "", func(s *row) any { return s.Bay }},
		{"pack", "", func(s *row) any { return s.Pack }},
		{"start", "", func(s *row) any { return moment(s.Start.Wall) }},
		{"start_trusted", trustMeans, func(s *row) any { return s.Start.Trusted }},
		{"span_s", "duration in seconds", func(s *row) any { return s.SpanS }},
		{"ticks", "how many readings were averaged", func(s *row) any { return int64(s.Ticks) }},
		{"stage", "at its end", func(s *row) any { return s.Stage }},
		{"permit_s", "seconds with the permit granted", func(s *row) any { return s.PermitS }},
		num("pack_v", "mean, V", func(s *row) logbook.Num { return s.PackV }),
		num("pack_v_min", "", func(s *row) logbook.Num { return s.PackVMin }),
		num("pack_v_max", "", func(s *row) logbook.Num { return s.PackVMax }),
		num("current_a", "mean, A, positive while charging", func(s *row) logbook.Num { return s.CurrentA }),
		num("current_a_min", "", func(s *row) logbook.Num { return s.CurrentAMin }),
		num("current_a_max", "", func(s *row) logbook.Num { return s.CurrentAMax }),
		num("pack_c", "mean, °C", func(s *row) logbook.Num { return s.PackC }),
		num("pack_c_max", "", func(s *row) logbook.Num { return s.PackCMax }),
		num("ambient_c", "mean, °C", func(s *row) logbook.Num { return s.AmbientC }),
		num("level_mm", "mean of the minimum that the probe proves, mm above the plate tops", func(s *row) logbook.Num { return s.LevelMM }),
		num("level_mm_min", "", func(s *row) logbook.Num { return s.LevelMMMin }),
		num("hydrogen_pct_max", "% by volume", func(s *row) logbook.Num { return s.HydrogenPctMax }),
		num("settled_mm", "at its end: level at 25 °C without gas", func(s *row) logbook.Num { return s.SettledMM }),
		num("predict_mm", "at its end: the same by the water balance", func(s *row) logbook.Num { return s.PredictMM }),
		num("lost_ml", "at its end: lost by each cell since the last fill", func(s *row) logbook.Num { return s.LostML }),
		num("soc", "at its end: state of charge, 0 to 1", func(s *row) logbook.Num { return s.Soc }),
	}
	return newTable("series", "Thinned readings, one row for a span of time, by start.", "pack bay start stage pack_v current_a pack_c level_mm", cols,
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.Series(ctx, q)
		})
}

func events(v words.Voice) *Table {
	type row = logbook.Record
	cols := []column[row]{
		{"bay", "", func(e *row) any { return e.Bay }},
		{"seq", "1, 2, 3, … for each bay, without a gap", func(e *row) any { return int64(e.Seq) }},
		{"pack", "empty: unknown", func(e *row) any { return e.Pack }},
		{"time", "", func(e *row) any { return moment(e.Stamp.Wall) }},
		{"time_trusted", trustMeans, func(e *row) any { return e.Stamp.Trusted }},
		{"boot_id", "the boot that mono_s counts from", func(e *row) any { return e.Stamp.BootID }},
		{"mono_s", "seconds since that boot", func(e *row) any { return e.Stamp.Mono.Seconds() }},
		{"kind", "such as charge-full; see mqtt/README.md", func(e *row) any { return e.Kind }},
		{"stage", "stage-changed: the new one", func(e *row) any { return e.Stage }},
		{"from", "stage-changed: the old one", func(e *row) any { return e.From }},
		{"code", "code of the finding", func(e *row) any { return e.Code }},
		{"by", "who gave the order", func(e *row) any { return e.By }},
		{"order", "number of the order", func(e *row) any { return e.Order }},
		{"text", "one sentence", func(e *row) any { return EventText(v, e) }},
	}
	return newTable("events", "Events, bay by bay, by number.", "bay seq pack time time_trusted kind code by text", cols,
		func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[row, error] {
			return r.EachEvent(ctx, q)
		})
}
