package replay

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"strconv"
)

// rows splits CSV into fields as encoding/csv does with '#' for comments and
// leading space trimmed. A year at one row a second is 31 million lines of plain
// numbers, so lines without a quote are split in place in the buffer; from the
// first quote, or the first line that does not fit, on encoding/csv itself reads
// the rest. A test compares the two.
type rows struct {
	in     *bufio.Reader
	line   int      // of the last row, from 1
	fields [][]byte // of the last row, valid until the next
	want   int      // fields of a row; 0 before the first

	values []float64 // of the last row, one for each field of the header
	plain  plain

	slow *csv.Reader // nil while lines are plain
	skip int         // lines read before slow took over
}

// numbers reads the next row into values; an invalid or empty field is NaN there.
// The errors are those of next.
func (r *rows) numbers() error {
	if r.onePass() {
		return nil
	}
	fields, err := r.next()
	if err != nil {
		return err
	}
	for i, f := range fields {
		r.values[i] = number(f)
	}
	return nil
}

func number(field []byte) float64 {
	v, err := strconv.ParseFloat(string(bytes.TrimSpace(field)), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// field returns the text of one field of the last row.
func (r *rows) field(i int) []byte {
	if r.plain.row == nil {
		return r.fields[i]
	}
	return bytes.Split(r.plain.row, []byte{','})[i]
}

// next reads one row; at the end it returns io.EOF, and for a row that is not
// CSV a *csv.ParseError.
func (r *rows) next() ([][]byte, error) {
	for r.slow == nil {
		line, err := r.in.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) || bytes.IndexByte(line, '"') >= 0 {
			r.rest(line, err)
			break
		}
		if err != nil && (len(line) == 0 || !errors.Is(err, io.EOF)) {
			return nil, err // part of a broken line is not a row
		}
		r.line++
		line = bytes.TrimSuffix(line, []byte{'\n'})
		line = bytes.TrimSuffix(line, []byte{'\r'})
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		return r.split(line)
	}
	return r.quoted()
}

func (r *rows) split(line []byte) ([][]byte, error) {
	f := r.fields[:0]
	for i := bytes.IndexByte(line, ','); i >= 0; i = bytes.IndexByte(line, ',') {
		f = append(f, line[:i])
		line = line[i+1:]
	}
	r.fields = append(f, line)
	if r.want == 0 {
		r.want = len(r.fields)
	}
	if len(r.fields) != r.want {
		return nil, &csv.ParseError{StartLine: r.line, Line: r.line, Column: 1, Err: csv.ErrFieldCount}
	}
	return r.fields, nil
}

// rest hands the line and everything after it to encoding/csv.
func (r *rows) rest(line []byte, err error) {
	var after io.Reader = r.in
	if err != nil && !errors.Is(err, bufio.ErrBufferFull) {
		after = failing{err}
	}
	r.skip = r.line
	r.slow = csv.NewReader(io.MultiReader(bytes.NewReader(bytes.Clone(line)), after))
	r.slow.Comment, r.slow.ReuseRecord, r.slow.TrimLeadingSpace = '#', true, true
	r.slow.FieldsPerRecord = r.want
}

func (r *rows) quoted() ([][]byte, error) {
	rec, err := r.slow.Read()
	if err != nil {
		if p, ok := errors.AsType[*csv.ParseError](err); ok {
			p.StartLine, p.Line = p.StartLine+r.skip, p.Line+r.skip
		}
		return nil, err
	}
	r.line, _ = r.slow.FieldPos(0)
	r.line += r.skip
	r.fields = r.fields[:0]
	for _, text := range rec {
		r.fields = append(r.fields, []byte(text))
	}
	r.want = len(rec)
	return r.fields, nil
}

// failing is a reader that only returns the error of the previous one.
type failing struct{ err error }

// Read returns the error.
func (f failing) Read([]byte) (int, error) { return 0, f.err }
