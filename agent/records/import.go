package records

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"io"
	"iter"
	"reflect"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// ImportOptions define how to read hand-kept history.
type ImportOptions struct {
	Name string         // of the file, for error messages
	Zone *time.Location // for times without a zone
	Now  time.Time      // no time may be later
}

// Bounds of one file: far above a pack's lifetime at one visit a week and one
// charge a day.
const (
	maxImportBytes = 8 << 20
	maxComplaints  = 20
)

// ImportError lists everything that is wrong with a file, by line.
type ImportError struct {
	File     string
	Problems []words.Sentence // such as `line 3: field cell: value "x" is not accepted: 1 to 48`
	More     int              // not listed
}

// Error returns the problems, one on each line.
func (e *ImportError) Error() string { return e.In(words.EnglishSI()) }

// In returns the same in a person's language.
func (e *ImportError) In(v words.Voice) string {
	var b strings.Builder
	for i, p := range e.Problems {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(e.File + ": " + v.Word(p))
	}
	if e.More > 0 {
		b.WriteString("\n" + e.File + ": " + v.Say("import.more", e.More))
	}
	return b.String()
}

// says is a sentence of the import.
func says(key string, values ...any) words.Sentence { return words.Of("import."+key, values...) }

// ReadImport reads history that was kept by hand: visits with a line for each cell,
// or charges. The columns decide which; see columns.md. Our own exports of cells
// and charges are such files. Any fault is an *ImportError, and then no rows are
// returned.
func ReadImport(in io.Reader, o ImportOptions) (logbook.Rows, error) {
	text, wrong := importText(in)
	if wrong.Key != "" {
		return logbook.Rows{}, &ImportError{File: o.Name, Problems: []words.Sentence{wrong}}
	}
	im := importer{ImportOptions: o}
	im.read(text)
	if len(im.problems) > 0 {
		e := &ImportError{File: o.Name, Problems: im.problems}
		if len(e.Problems) > maxComplaints {
			e.Problems, e.More = e.Problems[:maxComplaints], len(e.Problems)-maxComplaints
		}
		return logbook.Rows{}, e
	}
	return im.rows, nil
}

func importText(in io.Reader) (text []byte, wrong words.Sentence) {
	text, err := io.ReadAll(io.LimitReader(in, maxImportBytes+1))
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	switch {
	case err != nil:
		return nil, says("unreadable", err.Error())
	case len(text) > maxImportBytes:
		return nil, says("too-large", maxImportBytes>>20)
	case bytes.HasPrefix(text, []byte{0xff, 0xfe}), bytes.HasPrefix(text, []byte{0xfe, 0xff}):
		return nil, says("line", 1, says("utf-16"))
	}
	if !utf8.Valid(text) || bytes.IndexByte(text, 0) >= 0 {
		n := 1 + bytes.Count(text[:firstInvalid(text)], []byte("\n"))
		return nil, says("line", n, says("not-utf-8"))
	}
	return text, words.Sentence{}
}

func firstInvalid(text []byte) int {
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRune(text[i:])
		if r == utf8.RuneError && size <= 1 || r == 0 {
			return i
		}
		i += size
	}
	return len(text)
}

type importer struct {
	ImportOptions
	rows     logbook.Rows
	problems []words.Sentence
	names    []string // of the columns
	line     int      // of the current row
	cells    []string
	comma    bool           // decimals may have a comma, because columns have semicolons
	seen     map[string]int // which line has what
}

func (im *importer) complain(key string, values ...any) {
	im.problems = append(im.problems, says("line", im.line, says(key, values...)))
}

func (im *importer) reject(field string, accepted words.Sentence) {
	im.complain("rejected", field, im.text(field), accepted)
}

func (im *importer) read(text []byte) {
	in := csv.NewReader(bytes.NewReader(text))
	head, _, _ := bytes.Cut(text, []byte("\n"))
	if bytes.Contains(head, []byte(";")) && !bytes.Contains(head, []byte(",")) {
		in.Comma, im.comma = ';', true
	}
	im.seen, im.line = map[string]int{}, 1
	var err error
	if im.names, err = in.Read(); err != nil {
		im.complain("no-header", err.Error())
		return
	}
	take := im.header()
	for take != nil {
		im.cells, err = in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if bad, ok := errors.AsType[*csv.ParseError](err); ok {
			im.line = bad.StartLine
			im.complain("broken-line", bad.Err.Error())
			return
		}
		im.line, _ = in.FieldPos(0)
		take()
	}
	if take != nil && len(im.seen) == 0 && len(im.problems) == 0 {
		im.complain("no-rows")
	}
}

// givenColumns come from our own export; the logbook assigns new ones.
var givenColumns = []string{"id", "origin", "total_ml", "dry"}

// header finds out what the file contains and rejects unknown columns.
func (im *importer) header() (take func()) {
	for i, name := range im.names {
		im.names[i] = strings.ToLower(strings.TrimSpace(name))
	}
	var t *Table
	switch {
	case slices.Contains(im.names, "cell"):
		t, take = TableNamed("cells"), im.visitLine
	case slices.Contains(im.names, "in_ah"):
		t, take = TableNamed("charges"), im.chargeLine
	default:
		im.complain("no-kind")
		return nil
	}
	for i, name := range im.names {
		if t.index(name) < 0 {
			im.complain("unknown-column", name, strings.Join(accepted(t), ", "))
		} else if slices.Index(im.names, name) != i {
			im.complain("column-twice", name)
		}
	}
	for _, name := range []string{"bay", "pack", "start"} {
		if !slices.Contains(im.names, name) {
			im.complain("column-missing", name)
		}
	}
	if len(im.problems) > 0 {
		return nil
	}
	return take
}

func accepted(t *Table) []string {
	var names []string
	for _, c := range t.Columns {
		if !slices.Contains(givenColumns, c.Name) {
			names = append(names, c.Name)
		}
	}
	return names
}

// Known are rows of a file that the record already has: same kind, bay, pack and
// beginning.
type Known struct {
	Same    int              // identical in the record
	Differs []words.Sentence // that differ from the record, such as "visit 3 of lift-a at …"
}

// Fresh returns the rows of a file that the record does not have, and describes the
// others. So a file can grow and be imported again; a row that the record has is
// never changed.
func Fresh(ctx context.Context, r *logbook.Reader, rows logbook.Rows) (fresh logbook.Rows, known Known, err error) {
	if fresh.Charges, err = freshOf(r.Charges(ctx, logbook.Query{}), rows.Charges, "charge", &known, func(c *logbook.Charge) *logbook.Span { return &c.Span }); err != nil {
		return logbook.Rows{}, known, err
	}
	fresh.Visits, err = freshOf(uncorrected(r.Visits(ctx, logbook.Query{})), rows.Visits, "visit", &known, func(v *logbook.Visit) *logbook.Span { return &v.Span })
	return fresh, known, err
}

// uncorrected leaves out which values were corrected: a file has only the new ones.
func uncorrected(visits iter.Seq2[logbook.Visit, error]) iter.Seq2[logbook.Visit, error] {
	return func(yield func(logbook.Visit, error) bool) {
		for v, err := range visits {
			v.Corrections = nil
			if !yield(v, err) {
				return
			}
		}
	}
}

func freshOf[T any](have iter.Seq2[T, error], rows []T, kind string, known *Known, span func(*T) *logbook.Span) (fresh []T, err error) {
	key := func(s *logbook.Span) string {
		return strings.Join([]string{s.Bay, s.Pack, s.Start.Wall.UTC().Format(timeForm)}, "\x00")
	}
	if len(rows) == 0 {
		return nil, nil
	}
	stored := map[string]T{}
	for row, err := range have {
		if err != nil {
			return nil, err
		}
		stored[key(span(&row))] = row
	}
	for _, row := range rows {
		was, twice := stored[key(span(&row))]
		s := span(&was)
		id, pack, start := s.ID, s.Pack, s.Start.Wall
		switch {
		case !twice:
			fresh = append(fresh, row)
		case reflect.DeepEqual(told(was, span), told(row, span)):
			known.Same++
		default:
			known.Differs = append(known.Differs, says("differs."+kind, id, pack, start.UTC().Format(timeForm)))
		}
	}
	return fresh, nil
}

// told returns a row without the fields that no file can contain.
func told[T any](row T, span func(*T) *logbook.Span) T {
	s := span(&row)
	s.ID, s.Origin = 0, ""
	for _, at := range []*logbook.Stamp{&s.Start, &s.End} {
		*at = logbook.Stamp{Wall: at.Wall.UTC(), Trusted: at.Trusted}
	}
	return row
}
