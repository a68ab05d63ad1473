package replay

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// column is a field of a trace. Each sensor's has the number of the sensor.
type column int

const (
	timeS       = column(reading.NoSensor)
	packV       = column(reading.PackVoltage)
	levelMM     = column(reading.ElectrolyteLevel)
	levelHighMM = column(reading.NumSensors)
	packName    = levelHighMM + 1 // a text; the others are numbers
	numColumns  = packName + 1
)

// columns are the names of the fields.
var columns = func() (names [numColumns]string) {
	names[timeS], names[levelHighMM], names[packName] = "time_s", "level_high_mm", "pack"
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		names[s] = s.Column()
	}
	return names
}()

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
	Accepted words.Sentence // what would have been accepted
}

// Error is one line: file, line, field, value, what is accepted.
func (f *TraceError) Error() string { return f.In(words.EnglishSI()) }

// In is the same in a person's language.
func (f *TraceError) In(v words.Voice) string {
	text := fmt.Sprintf("%s:%d: ", f.File, f.Line)
	switch {
	case f.Value != "":
		text += v.Say("replay.value", f.Field, f.Value)
	case f.Field != "":
		text += v.Say("replay.missing", f.Field)
	}
	return text + v.Word(f.Accepted)
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
	to    [numColumns]*reading.Reading // where in seen a column is; nil for level and pack
	has   []column                     // the columns that the trace has, besides the time
	packs []bay.Pack                   // that the bay recognises; see Fit
}

// Open reads the header of a trace; gzip is recognised by its first bytes. The name
// is used in messages. An error about the content is a *TraceError.
func Open(name string, r io.Reader) (*Trace, error) {
	plain, err := unzip(name, bufio.NewReaderSize(r, bufferSize))
	if err != nil {
		return nil, err
	}
	t := &Trace{name: name, rows: rows{in: plain}}
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		t.to[s] = t.seen.Place(s)
	}
	head, err := t.rows.next()
	if err != nil {
		return nil, t.broken(err, words.Of("replay.header"))
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
		return nil, &TraceError{File: name, Line: 1, Accepted: words.Of("replay.gzip", err)}
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
			return &TraceError{t.name, t.rows.line, "header", name, words.Of("replay.column", strings.Join(columns[:], ", "))}
		}
		if t.at[c] >= 0 {
			return &TraceError{t.name, t.rows.line, "header", name, words.Of("replay.column-twice")}
		}
		t.at[c] = i
	}
	t.rows.values = make([]float64, len(head))
	for need, of := range map[column]column{timeS: timeS, levelMM: levelHighMM} {
		if t.at[need] < 0 && (need == of || t.at[of] >= 0) {
			return &TraceError{t.name, 1, "header", string(bytes.Join(head, []byte{','})), words.Of("replay.column-missing", columns[need])}
		}
	}
	for c := packV; c < packName; c++ {
		if t.at[c] >= 0 && c != levelHighMM {
			t.has = append(t.has, c)
		}
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

// Fit makes the setup's optional sensors those that this trace has a column for.
// Voltage, temperature and level are always required: without them nothing is granted.
// Of a bay that recognises its packs the trace must name the one plugged in.
func (t *Trace) Fit(s *bay.Setup) error {
	s.Fitted = reading.SensorsOf()
	for sensor := reading.NoSensor + 1; sensor < reading.NumSensors; sensor++ {
		s.Fitted = s.Fitted.With(sensor, bay.Optional.Has(sensor) && t.at[sensor] >= 0)
	}
	switch named, recognised := t.at[packName] >= 0, s.Recognises && len(s.Packs) > 0; {
	case recognised && !named:
		return &TraceError{t.name, 1, "header", "", words.Of("replay.pack-column")}
	case named && !recognised:
		return &TraceError{t.name, 1, "header", columns[packName], words.Of("replay.no-pack-column")}
	}
	t.packs = s.Packs
	return nil
}

// Next reads one row into readings that hold each column's last value. The time is
// as printed in the trace; the readings count from its first row. At the end it
// returns io.EOF.
func (t *Trace) Next() (atS float64, r *bay.Readings, err error) {
	if err := t.rows.numbers(); err != nil {
		if errors.Is(err, io.EOF) {
			return 0, nil, io.EOF
		}
		return 0, nil, t.broken(err, words.Of("replay.fields"))
	}
	if err := t.time(); err != nil {
		return 0, nil, err
	}
	for _, c := range t.has {
		v, fault, err := t.number(c)
		if err != nil {
			return 0, nil, err
		}
		if fault != reading.Missing {
			t.hold(c, reading.Reading{Value: v, At: t.seen.Now, Fault: fault})
		}
	}
	if t.at[levelHighMM] >= 0 {
		if err := t.levelHigh(); err != nil {
			return 0, nil, err
		}
	}
	if t.at[packName] >= 0 {
		if err := t.pack(); err != nil {
			return 0, nil, err
		}
	}
	return t.last, &t.seen, nil
}

func (t *Trace) hold(c column, r reading.Reading) {
	if to := t.to[c]; to != nil {
		*to = r
		return
	}
	t.seen.Level = reading.Level{LowMM: r.Value, HighMM: r.Value, At: r.At, Fault: r.Fault}
}

// levelHigh reads the upper bound of a level that was read in this row.
func (t *Trace) levelHigh() error {
	v, fault, err := t.number(levelHighMM)
	if l := &t.seen.Level; err == nil && fault == reading.None && l.Usable() && l.At == t.seen.Now {
		*l = reading.LevelBetween(l.LowMM, v, l.At)
	}
	return err
}

// pack reads which pack's own sensor answers.
func (t *Trace) pack() error {
	text := string(bytes.TrimSpace(t.rows.field(t.at[packName])))
	if text == "" {
		return nil
	}
	seen := bay.PackSeen{Name: text, At: t.seen.Now, Fault: reading.None}
	if !slices.ContainsFunc(t.packs, func(p bay.Pack) bool { return p.Name == text }) {
		fault, ok := faultOf(text)
		if !ok {
			return t.bad(packName, words.Of("replay.which-pack"))
		}
		seen.Name, seen.Fault = "", fault
	}
	t.seen.Pack = seen
	return nil
}

// faultOf finds a fault that a sensor can report.
func faultOf(name string) (reading.Fault, bool) {
	fault, ok := reading.ParseFault(name)
	return fault, ok && fault != reading.None && fault != reading.Missing
}

// time advances the time to that of the row.
func (t *Trace) time() error {
	s, fault, err := t.number(timeS)
	switch {
	case err != nil:
		return t.bad(timeS, words.Of("replay.seconds"))
	case fault != reading.None || s > maxTimeS || s < -maxTimeS:
		return t.bad(timeS, words.Of("replay.seconds"))
	case t.any && s < t.last:
		return t.bad(timeS, words.Of("replay.time-back", t.last))
	case !t.any:
		t.start = s
	}
	t.any, t.last = true, s
	t.seen.Now = t.clock(s)
	return nil
}

// clock returns a time of the trace as the readings have it.
func (t *Trace) clock(s float64) time.Duration {
	return time.Duration((s - t.start) * float64(time.Second))
}

// number returns a column of the last row, Missing where it is empty.
func (t *Trace) number(c column) (v float64, fault reading.Fault, err error) {
	i := t.at[c]
	if v = t.rows.values[i]; reading.Finite(v) {
		return v, reading.None, nil
	}
	text := bytes.TrimSpace(t.rows.field(i))
	if len(text) == 0 {
		return 0, reading.Missing, nil
	}
	if fault, ok := faultOf(string(text)); ok && c != timeS {
		return 0, fault, nil
	}
	return 0, reading.Missing, t.bad(c, words.Of("replay.number", faultNames()))
}

func faultNames() string {
	var names []string
	for _, f := range reading.Faults() {
		names = append(names, f.String())
	}
	return strings.Join(names, ", ")
}

// bad describes what is wrong with a field of the last row.
func (t *Trace) bad(c column, accepted words.Sentence) error {
	text := string(bytes.TrimSpace(t.rows.field(t.at[c])))
	return &TraceError{t.name, t.rows.line, columns[c], text, accepted}
}

// broken turns an error of the reader into one that names the place.
func (t *Trace) broken(err error, accepted words.Sentence) error {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return &TraceError{File: t.name, Line: p.Line, Accepted: words.Of("replay.broken", csvFault(p), accepted)}
	}
	if errors.Is(err, io.EOF) {
		return &TraceError{File: t.name, Line: 1, Accepted: words.Of("replay.empty", accepted)}
	}
	return words.Fail("replay.read", t.name, err)
}

// csvFault words what is wrong with a line as CSV.
func csvFault(p *csv.ParseError) any {
	switch {
	case errors.Is(p, csv.ErrFieldCount):
		return words.Of("replay.field-count")
	case errors.Is(p, csv.ErrQuote):
		return words.Of("replay.quote")
	case errors.Is(p, csv.ErrBareQuote):
		return words.Of("replay.bare-quote")
	}
	return p.Err
}
