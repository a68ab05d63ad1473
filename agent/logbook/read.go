package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"sync/atomic"
	"time"
)

// Reader reads a logbook. A Book is one; OpenReadOnly returns one that can be used
// beside a running agent. Its methods may be called from any goroutine.
type Reader struct {
	db       *sql.DB
	patience atomic.Int64  // nanoseconds, see AnswerWithin
	slots    chan struct{} // holds a token for each query that runs within the patience
	between  func()        // in tests, called between two steps of a long read
}

// readers is how many queries run at once: a slow one does not delay the outbox.
const readers = 4

func newReader(path string) (*Reader, error) {
	db, err := handle(path, readSettings)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(readers)
	db.SetMaxIdleConns(1)
	return &Reader{db: db, slots: make(chan struct{}, readers)}, nil
}

// Close closes the file.
func (r *Reader) Close() error { return r.db.Close() }

// pause is where a long read holds nothing.
func (r *Reader) pause() {
	if r.between != nil {
		r.between()
	}
}

// Query selects rows. The zero value of each field selects all of them.
type Query struct {
	Pack string
	Bay  string
	// Since and Until select rows that touch the time from Since up to, but not
	// including, Until. A row whose clock was not trusted is in every range: it may
	// belong there.
	Since, Until time.Time
	// Limit is the highest number of rows.
	Limit int
	// Newest returns the newest rows first.
	Newest bool
}

// page is how many rows are read at once. Between two pages no query runs, so a
// slow consumer delays neither the agent nor the tidying of its file.
const page = 256

// Charges returns charges in the order of their start; those with the same start in
// the order of their ids. An error ends the sequence.
func (r *Reader) Charges(ctx context.Context, q Query) iter.Seq2[Charge, error] {
	return rows(ctx, r, &chargeTable, q, spanEnd, func(c *Charge) Stamp { return c.Start })
}

// Visits returns visits with their cells, as corrected, in the order of Charges.
func (r *Reader) Visits(ctx context.Context, q Query) iter.Seq2[Visit, error] {
	return func(yield func(Visit, error) bool) {
		for v, err := range rows(ctx, r, &visitTable, q, spanEnd, func(v *Visit) Stamp { return v.Start }) {
			if err == nil {
				v, err = r.whole(ctx, v)
			}
			if !yield(v, err) || err != nil {
				return
			}
		}
	}
}

// whole adds what belongs to a visit and is in other tables.
func (r *Reader) whole(ctx context.Context, row Visit) (Visit, error) {
	return ask(ctx, r, func(ctx context.Context, db querier) (Visit, error) {
		v := row
		err := v.readAll(ctx, db)
		return v, err
	})
}

// Findings returns findings in the order of Charges.
func (r *Reader) Findings(ctx context.Context, q Query) iter.Seq2[Finding, error] {
	return rows(ctx, r, &findingTable, q, spanEnd, func(f *Finding) Stamp { return f.Start })
}

// Refusals returns refusals in the order of Charges.
func (r *Reader) Refusals(ctx context.Context, q Query) iter.Seq2[Refusal, error] {
	return rows(ctx, r, &refusalTable, q, spanEnd, func(f *Refusal) Stamp { return f.Start })
}

// Series returns the thinned readings in the order of Charges.
func (r *Reader) Series(ctx context.Context, q Query) iter.Seq2[Series, error] {
	const end = "t.start_wall_ms + CAST(t.span_s * 1000 AS INTEGER)"
	return rows(ctx, r, &seriesTable, q, end, func(s *Series) Stamp { return s.Start })
}

// spanEnd is where a row ends; an open one has not ended.
const spanEnd = "coalesce(t.end_wall_ms, 9223372036854775807)"

// rows reads page by page, each after the last row of the previous page.
func rows[T any](ctx context.Context, r *Reader, t *table[T], q Query, end string, start func(*T) Stamp) iter.Seq2[T, error] {
	where, args := q.where("t.start_wall_ms", "t.start_trusted", end)
	return pages(q.Limit, func(last *T, n int) ([]T, error) {
		next, at := "", []any(nil)
		if last != nil {
			id, _, _ := t.own(last)
			next, at = q.behind(), []any{start(last).Wall.UnixMilli(), *id}
		}
		got, err := ask(ctx, r, func(ctx context.Context, db querier) ([]T, error) {
			return t.page(ctx, db, where+next+q.order(), slices.Concat(args, at, []any{n}))
		})
		if err != nil {
			err = fmt.Errorf("logbook: read table %s: %w", t.name, err)
		}
		return got, err
	})
}

// pages yields what read reads: up to n after the last one, or from the first with
// nil.
func pages[T any](limit int, read func(last *T, n int) ([]T, error)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var last *T
		for left := limit; limit == 0 || left > 0; {
			n := page
			if limit > 0 {
				n = min(n, left)
			}
			got, err := read(last, n)
			if !give(yield, got, err) || len(got) < n {
				return
			}
			left, last = left-len(got), &got[len(got)-1]
		}
	}
}

// give reports whether the consumer wants more.
func give[T any](yield func(T, error) bool, got []T, err error) bool {
	for i := range got {
		if !yield(got[i], nil) {
			return false
		}
	}
	if err != nil {
		yield(*new(T), err)
	}
	return err == nil
}

// where returns the condition of a query and its arguments.
func (q *Query) where(start, trusted, end string) (text string, args []any) {
	conds := []string{"1"}
	add := func(cond string, arg any) { conds, args = append(conds, cond), append(args, arg) }
	if q.Pack != "" {
		add("pack.name = ?", q.Pack)
	}
	if q.Bay != "" {
		add("bay.name = ?", q.Bay)
	}
	if !q.Since.IsZero() {
		add("("+trusted+" = 0 OR "+end+" >= ?)", q.Since.UnixMilli())
	}
	if !q.Until.IsZero() {
		add("("+trusted+" = 0 OR "+start+" < ?)", q.Until.UnixMilli())
	}
	return "WHERE " + strings.Join(conds, " AND "), args
}

func (q *Query) order() string {
	if q.Newest {
		return " ORDER BY t.start_wall_ms DESC, t.id DESC LIMIT ?"
	}
	return " ORDER BY t.start_wall_ms, t.id LIMIT ?"
}

func (q *Query) behind() string {
	if q.Newest {
		return " AND (t.start_wall_ms, t.id) < (?, ?)"
	}
	return " AND (t.start_wall_ms, t.id) > (?, ?)"
}

func (t *table[T]) page(ctx context.Context, db querier, where string, args []any) ([]T, error) {
	found, err := db.QueryContext(ctx, t.selects()+where, args...)
	if err != nil {
		return nil, err
	}
	defer found.Close()
	var out []T
	for found.Next() {
		var row T
		if err := found.Scan(t.places(&row)...); err != nil {
			return out, err
		}
		out = append(out, row)
	}
	return out, found.Err()
}

func (v *Visit) readCells(ctx context.Context, db querier) error {
	found, err := db.QueryContext(ctx, `SELECT `+strings.Join(cellCols, ", ")+` FROM visit_cell WHERE visit_id = ? ORDER BY cell`, v.ID)
	if err != nil {
		return fmt.Errorf("logbook: read the cells of visit %d: %w", v.ID, err)
	}
	defer found.Close()
	for found.Next() {
		var c VisitCell
		if err := found.Scan(c.refs()...); err != nil {
			return fmt.Errorf("logbook: read the cells of visit %d: %w", v.ID, err)
		}
		v.Cells = append(v.Cells, c)
	}
	return found.Err()
}

// OpenRows returns the rows without an end, by bay: a Follower continues them after
// a restart.
func (r *Reader) OpenRows(ctx context.Context) (map[string]Rows, error) {
	var all Rows
	const where = "WHERE t.end_wall_ms IS NULL ORDER BY t.id"
	var errs [4]error
	all.Charges, errs[0] = chargeTable.page(ctx, r.db, where, nil)
	all.Visits, errs[1] = visitTable.page(ctx, r.db, where, nil)
	all.Findings, errs[2] = findingTable.page(ctx, r.db, where, nil)
	all.Refusals, errs[3] = refusalTable.page(ctx, r.db, where, nil)
	err := errors.Join(errs[:]...)
	for i := range all.Visits {
		err = errors.Join(err, all.Visits[i].readCells(ctx, r.db))
	}
	if err != nil {
		return nil, fmt.Errorf("logbook: read the open rows: %w", err)
	}
	return all.byBay(), nil
}

// PackEntry is a pack in the record.
type PackEntry struct {
	Name    string
	Bay     string // where it was last charged or visited; "" for never
	Charges int
	Visits  int // without rounds of readings
}

// Packs lists the packs of the record by name.
func (r *Reader) Packs(ctx context.Context) ([]PackEntry, error) { return ask(ctx, r, packs) }

func packs(ctx context.Context, db querier) ([]PackEntry, error) {
	found, err := db.QueryContext(ctx, `SELECT name,
		coalesce((SELECT bay.name FROM (
			SELECT bay_id, start_wall_ms FROM charge WHERE pack_id = pack.id UNION ALL
			SELECT bay_id, start_wall_ms FROM visit WHERE pack_id = pack.id
			ORDER BY start_wall_ms DESC LIMIT 1) JOIN bay ON bay.id = bay_id), ''),
		(SELECT count(*) FROM charge WHERE pack_id = pack.id),
		(SELECT count(*) FROM visit WHERE pack_id = pack.id AND kind <> 'readings')
		FROM pack ORDER BY name`)
	if err != nil {
		return nil, fmt.Errorf("logbook: list the packs: %w", err)
	}
	defer found.Close()
	var out []PackEntry
	for found.Next() {
		var p PackEntry
		if err := found.Scan(&p.Name, &p.Bay, &p.Charges, &p.Visits); err != nil {
			return nil, fmt.Errorf("logbook: list the packs: %w", err)
		}
		out = append(out, p)
	}
	return out, found.Err()
}

// Bays lists the names of the bays of the record.
func (r *Reader) Bays(ctx context.Context) ([]string, error) { return ask(ctx, r, bays) }

func bays(ctx context.Context, db querier) ([]string, error) {
	found, err := db.QueryContext(ctx, `SELECT name FROM bay ORDER BY name`)
	if err != nil {
		return nil, fmt.Errorf("logbook: list the bays: %w", err)
	}
	defer found.Close()
	var out []string
	for found.Next() {
		var name string
		if err := found.Scan(&name); err != nil {
			return nil, fmt.Errorf("logbook: list the bays: %w", err)
		}
		out = append(out, name)
	}
	return out, found.Err()
}

const selectEvents = `SELECT bay.name, coalesce(pack.name, ''), seq, wall_ms, trusted, boot_id, mono_ns,
	kind, stage, from_stage, code, person, order_id, note, detail, coalesce(epoch.id, '')
	FROM event JOIN bay ON bay.id = bay_id LEFT JOIN epoch ON epoch.n = event.epoch LEFT JOIN pack ON pack.id = pack_id `

// Events returns up to limit events of a bay with numbers above afterSeq, in
// order.
func (r *Reader) Events(ctx context.Context, bayName string, afterSeq uint64, limit int) ([]Record, error) {
	out, err := r.events(ctx, "WHERE bay.name = ? AND seq > ? ORDER BY seq LIMIT ?", bayName, int64(afterSeq), limit)
	if err != nil {
		return nil, fmt.Errorf("logbook: read events of %s: %w", bayName, err)
	}
	return out, nil
}

// EachEvent returns the events that a query selects: bay by bay, by number, or in
// reverse with Newest.
func (r *Reader) EachEvent(ctx context.Context, q Query) iter.Seq2[Record, error] {
	where, args := q.where("wall_ms", "trusted", "wall_ms")
	behind, order := " AND (bay.name, seq) > (?, ?)", " ORDER BY bay.name, seq LIMIT ?"
	if q.Newest {
		behind, order = " AND (bay.name, seq) < (?, ?)", " ORDER BY bay.name DESC, seq DESC LIMIT ?"
	}
	return pages(q.Limit, func(last *Record, n int) ([]Record, error) {
		next, at := "", []any(nil)
		if last != nil {
			next, at = behind, []any{last.Bay, int64(last.Seq)}
		}
		got, err := r.events(ctx, where+next+order, slices.Concat(args, at, []any{n})...)
		if err != nil {
			err = fmt.Errorf("logbook: read events: %w", err)
		}
		return got, err
	})
}

func (r *Reader) events(ctx context.Context, where string, args ...any) ([]Record, error) {
	return ask(ctx, r, func(ctx context.Context, db querier) ([]Record, error) { return events(ctx, db, where, args) })
}

func events(ctx context.Context, db querier, where string, args []any) ([]Record, error) {
	found, err := db.QueryContext(ctx, selectEvents+where, args...)
	if err != nil {
		return nil, err
	}
	defer found.Close()
	var out []Record
	for found.Next() {
		var e Record
		s := &e.Stamp
		err := found.Scan(&e.Bay, &e.Pack, &e.Seq, msOf{&s.Wall}, &s.Trusted, &s.BootID, &s.Mono,
			&e.Kind, &e.Stage, &e.From, &e.Code, &e.By, &e.Order, &e.Text, jsonOf{&e.Detail}, &e.Epoch)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, found.Err()
}
