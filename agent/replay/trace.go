package replay

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// columns are the fields of a trace in the order of column's values.
var columns = [...]string{"time_s", "pack_v", "current_a", "pack_c", "ambient_c", "cover_mm"}

type column int

const (
	timeS column = iota
	packV
	currentA
	packC
	ambientC
	coverMM
	numColumns
)

// bufferSize is that of the trace as read and, of gzip, as unpacked.
const bufferSize = 1 << 16

// maxTimeS bounds the times of a trace, s: three centuries either way would
// overflow a duration.
const maxTimeS = 9e9

// TraceError is bad input in a trace. It names the place.
type TraceError struct {
	File     string
	Line     int
	Field    string // "" for the line as a whole
	Value    string
	Accepted string // what would have been accepted
}

// Error is one line: file, line, field, value, what is accepted.
func (f *TraceError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d: ", f.File, f.Line)
	if f.Field != "" {
		fmt.Fprintf(&b, "field %s: ", f.Field)
	}
	switch {
	case f.Value != "":
		fmt.Fprintf(&b, "value %q is not accepted: ", f.Value)
	case f.Field != "":
		b.WriteString("a value is missing: ")
	}
	return b.String() + f.Accepted
}

// Trace reads the rows of one trace.
type Trace struct {
	// Label, when set, stands as "trace" in each line that is written, so that
	// the lines of several traces can be told apart.
	Label string

	name  string
	rows  rows
	at    [numColumns]int // index of each column, -1 when absent
	start float64
	last  float64
	any   bool // a row was read
	seen  bay.Readings
}

// Open reads the header of a trace; gzip is recognised by its first bytes. The
// name stands in messages. An error about the content is a *TraceError.
func Open(name string, r io.Reader) (*Trace, error) {
	plain, err := unzip(name, bufio.NewReaderSize(r, bufferSize))
	if err != nil {
		return nil, err
	}
	t := &Trace{name: name, rows: rows{in: plain}}
	head, err := t.rows.next()
	if err != nil {
		return nil, t.broken(err, "a header line such as time_s,pack_v,current_a,pack_c,ambient_c,cover_mm")
	}
	return t, t.header(head)
}

func unzip(name string, r *bufio.Reader) (*bufio.Reader, error) {
	magic, err := r.Peek(2)
	if err != nil || magic[0] != 0x1f || magic[1] != 0x8b {
		return r, nil //nolint:nilerr // a file too short for gzip is not gzip; the CSV reader says what is wrong
	}
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, &TraceError{File: name, Line: 1, Accepted: "the file begins like gzip but is not: " + err.Error()}
	}
	return bufio.NewReaderSize(z, bufferSize), nil
}

func (t *Trace) header(head [][]byte) error {
	for c := range t.at {
		t.at[c] = -1
	}
	for i, raw := range head {
		name := strings.TrimSpace(strings.TrimPrefix(string(bytes.TrimSpace(raw)), "\ufeff"))
		c := columnOf(name)
		if c < 0 {
			return &TraceError{t.name, t.rows.line, "header", name, "a column must be one of " + strings.Join(columns[:], ", ")}
		}
		if t.at[c] >= 0 {
			return &TraceError{t.name, t.rows.line, "header", name, "each column may stand only once"}
		}
		t.at[c] = i
	}
	if t.at[timeS] < 0 {
		return &TraceError{t.name, 1, "header", string(bytes.Join(head, []byte{','})), "a column time_s is needed"}
	}
	return nil
}

func columnOf(name string) column {
	for c, n := range columns {
		if n == name {
			return column(c)
		}
	}
	return -1
}

// Fit takes out of a setup what this trace has no column for, so that it is
// not asked for. The voltage, the temperature and the cover are always asked
// for: without them nothing is granted.
func (t *Trace) Fit(s *bay.Setup) {
	s.HasCurrent = t.at[currentA] >= 0
	s.HasAmbient = t.at[ambientC] >= 0
	s.HasHydrogen, s.HasAirflow, s.HasFeedback, s.HasChargerContact = false, false, false, false
}

// Next reads one row into readings that hold each column's last value. The
// time is as printed in the trace; the readings count from its first row. At
// the end it returns io.EOF.
func (t *Trace) Next() (timeS float64, r *bay.Readings, err error) {
	rec, err := t.rows.next()
	if err != nil {
		if errors.Is(err, io.EOF) {
			return 0, nil, io.EOF
		}
		return 0, nil, t.broken(err, "as many fields as the header, separated by commas")
	}
	s, err := t.time(rec)
	if err != nil {
		return 0, nil, err
	}
	now := time.Duration((s - t.start) * float64(time.Second))
	t.seen.Now = now
	for c := packV; c < numColumns; c++ {
		v, ok, err := t.number(rec, c)
		if err != nil {
			return 0, nil, err
		}
		if ok {
			t.hold(c, v, now)
		}
	}
	return s, &t.seen, nil
}

func (t *Trace) hold(c column, v float64, now time.Duration) {
	switch c {
	case packV:
		t.seen.PackV = reading.Good(v, now)
	case currentA:
		t.seen.CurrentA = reading.Good(v, now)
	case packC:
		t.seen.PackC = reading.Good(v, now)
	case ambientC:
		t.seen.AmbientC = reading.Good(v, now)
	default:
		t.seen.Cover = reading.Covered(v, v, now)
	}
}

func (t *Trace) time(rec [][]byte) (float64, error) {
	s, ok, err := t.number(rec, timeS)
	if err != nil {
		return 0, err
	}
	if !ok || math.Abs(s) > maxTimeS {
		return 0, t.bad(rec, timeS, "seconds between -9e9 and 9e9")
	}
	if t.any && s < t.last {
		return 0, t.bad(rec, timeS, fmt.Sprintf("time must not go back: the row before is at %v s", t.last))
	}
	if !t.any {
		t.start = s
	}
	t.any, t.last = true, s
	return s, nil
}

func (t *Trace) number(rec [][]byte, c column) (v float64, ok bool, err error) {
	i := t.at[c]
	if i < 0 {
		return 0, false, nil
	}
	v, ok, err = parse(rec[i])
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, false, t.bad(rec, c, "a number, or nothing for no reading")
	}
	return v, ok, nil
}

// bad says what is wrong with a field of the last row.
func (t *Trace) bad(rec [][]byte, c column, accepted string) error {
	text := string(bytes.TrimSpace(rec[t.at[c]]))
	return &TraceError{t.name, t.rows.line, columns[c], text, accepted}
}

// broken turns an error of the reader into one that names the place.
func (t *Trace) broken(err error, accepted string) error {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return &TraceError{File: t.name, Line: p.Line, Accepted: p.Err.Error() + "; accepted: " + accepted}
	}
	if errors.Is(err, io.EOF) {
		return &TraceError{File: t.name, Line: 1, Accepted: "the file is empty; accepted: " + accepted}
	}
	return fmt.Errorf("read %s: %w", t.name, err)
}
