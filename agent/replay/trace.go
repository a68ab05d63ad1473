package replay

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// columns are the fields of a trace in the order of column's values.
var columns = [...]string{"time_s", "pack_v", "current_a", "pack_c", "ambient_c", "level_mm"}

type column int

const (
	timeS column = iota
	packV
	currentA
	packC
	ambientC
	levelMM
	numColumns
)

// bufferSize is the size of the buffers for the trace as read and, with gzip, as
// unpacked.
const bufferSize = 1 << 16

// maxTimeS bounds the times of a trace, s: three centuries in either direction
// would overflow a duration.
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
	// Label, when set, is "trace" in each output line, so that the lines of several
	// traces can be distinguished.
	Label string

	name  string
	rows  rows
	at    [numColumns]int // index of each column, -1 when absent
	start float64
	last  float64
	any   bool // a row was read
	seen  bay.Readings
	to    [numColumns]*reading.Reading // where in seen a column is; nil for the level
}

// Open reads the header of a trace; gzip is recognised by its first bytes. The name
// is used in messages. An error about the content is a *TraceError.
func Open(name string, r io.Reader) (*Trace, error) {
	plain, err := unzip(name, bufio.NewReaderSize(r, bufferSize))
	if err != nil {
		return nil, err
	}
	t := &Trace{name: name, rows: rows{in: plain}}
	t.to = [numColumns]*reading.Reading{
		packV: &t.seen.PackV, currentA: &t.seen.CurrentA, packC: &t.seen.PackC, ambientC: &t.seen.AmbientC,
	}
	head, err := t.rows.next()
	if err != nil {
		return nil, t.broken(err, "a header line such as time_s,pack_v,current_a,pack_c,ambient_c,level_mm")
	}
	return t, t.header(head)
}

func unzip(name string, r *bufio.Reader) (*bufio.Reader, error) {
	magic, err := r.Peek(2)
	if err != nil || magic[0] != 0x1f || magic[1] != 0x8b {
		return r, nil //nolint:nilerr // a file too short for gzip is not gzip; the CSV reader reports what is wrong
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
			return &TraceError{t.name, t.rows.line, "header", name, "each column may appear only once"}
		}
		t.at[c] = i
	}
	t.rows.values = make([]float64, len(head))
	if t.at[timeS] < 0 {
		return &TraceError{t.name, 1, "header", string(bytes.Join(head, []byte{','})), "a column time_s is required"}
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

// Fit removes from a setup what this trace has no column for, so that it is not
// required. Voltage, temperature and level are always required: without them
// nothing is granted.
func (t *Trace) Fit(s *bay.Setup) {
	s.Fitted = reading.SensorsOf().
		With(reading.PackCurrent, t.at[currentA] >= 0).
		With(reading.AmbientTemperature, t.at[ambientC] >= 0)
}

// Next reads one row into readings that hold each column's last value. The time is
// as printed in the trace; the readings count from its first row. At the end it
// returns io.EOF.
func (t *Trace) Next() (atS float64, r *bay.Readings, err error) {
	if err := t.rows.numbers(); err != nil {
		if errors.Is(err, io.EOF) {
			return 0, nil, io.EOF
		}
		return 0, nil, t.broken(err, "as many fields as the header, separated by commas")
	}
	if err := t.time(); err != nil {
		return 0, nil, err
	}
	for c := packV; c < numColumns; c++ {
		v, ok, err := t.number(c)
		if err != nil {
			return 0, nil, err
		}
		if ok {
			t.hold(c, v)
		}
	}
	return t.last, &t.seen, nil
}

func (t *Trace) hold(c column, v float64) {
	if to := t.to[c]; to != nil {
		*to = reading.Good(v, t.seen.Now)
		return
	}
	t.seen.Level = reading.LevelBetween(v, v, t.seen.Now)
}

// time advances the time to that of the row.
func (t *Trace) time() error {
	s, ok, err := t.number(timeS)
	switch {
	case err != nil:
		return err
	case !ok || s > maxTimeS || s < -maxTimeS:
		return t.bad(timeS, "seconds between -9e9 and 9e9")
	case t.any && s < t.last:
		return t.bad(timeS, fmt.Sprintf("time must not go back: the previous row is at %v s", t.last))
	case !t.any:
		t.start = s
	}
	t.any, t.last = true, s
	t.seen.Now = time.Duration((s - t.start) * float64(time.Second))
	return nil
}

// number returns a column of the last row; ok is false where it is absent or empty.
func (t *Trace) number(c column) (v float64, ok bool, err error) {
	i := t.at[c]
	if i < 0 {
		return 0, false, nil
	}
	if v = t.rows.values[i]; reading.Finite(v) {
		return v, true, nil
	}
	if len(bytes.TrimSpace(t.rows.field(i))) == 0 {
		return 0, false, nil
	}
	return 0, false, t.bad(c, "a number, or nothing for no reading")
}

// bad describes what is wrong with a field of the last row.
func (t *Trace) bad(c column, accepted string) error {
	text := string(bytes.TrimSpace(t.rows.field(t.at[c])))
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
