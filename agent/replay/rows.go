package replay

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
)

// rows splits CSV into fields as encoding/csv does with '#' for comments and
// leading space trimmed. A year at one row a second is 31 million lines of
// plain numbers, so lines without a quote are split where they lie in the
// buffer; from the first quote, or the first line that does not fit, on
// encoding/csv itself reads the rest. A test holds the two against each other.
type rows struct {
	in     *bufio.Reader
	line   int      // of the last row, from 1
	fields [][]byte // of the last row, valid until the next
	want   int      // fields of a row; 0 before the first

	// Of a row that was read as plain decimals: its fields, the line, which is not
	// split, and what follows the first field.
	values      []float64
	plain, tail []byte
	ahead       []byte // what lies in the buffer after it
	taken       int    // bytes before ahead that are still to be discarded

	slow *csv.Reader // nil while lines are plain
	skip int         // lines read before slow took over
}

// decimals reads the next row into values if it is a line of plain decimals that
// lies whole in the buffer, as nearly every row is. Else it takes nothing, and next
// reads the row.
func (r *rows) decimals() bool {
	if r.ahead == nil && r.slow == nil {
		r.ahead, _ = r.in.Peek(r.in.Buffered()) // never more than is there
	}
	n := r.plainLine(r.ahead)
	if n == 0 {
		_, _ = r.in.Discard(r.taken)
		r.ahead, r.taken, r.plain, r.tail = nil, 0, nil, nil
		return false
	}
	r.plain, r.ahead = r.ahead[:n], r.ahead[n:]
	r.taken += n
	r.line++
	return true
}

// plainLine reads the first line of a text into values, and gives its length with
// its end: 0 when it is anything but a plain decimal for each value, or its end is
// not there. Where all but the first field stand as in the row before, as they do
// for many rows of a pack at rest, the values do as well.
func (r *rows) plainLine(text []byte) (length int) {
	v, n := leading(text)
	if n == 0 {
		return 0
	}
	r.values[0] = v
	if len(r.tail) > 0 && bytes.HasPrefix(text[n:], r.tail) {
		return n + len(r.tail)
	}
	first := n
	for k := 1; k < len(r.values); k++ {
		if n == len(text) || text[n] != ',' {
			return 0
		}
		v, more := leading(text[n+1:])
		if more == 0 {
			return 0
		}
		r.values[k] = v
		n += 1 + more
	}
	end := lineEnd(text[n:])
	if end == 0 {
		return 0
	}
	r.tail = text[first : n+end]
	return n + end
}

// lineEnd is the length of the line's end that a text begins with, 0 for none.
func lineEnd(text []byte) int {
	switch {
	case len(text) > 0 && text[0] == '\n':
		return 1
	case len(text) > 1 && text[0] == '\r' && text[1] == '\n':
		return 2
	}
	return 0
}

// field is the text of one field of the last row.
func (r *rows) field(i int) []byte {
	if r.plain == nil {
		return r.fields[i]
	}
	return bytes.Split(r.plain, []byte{','})[i]
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
			return nil, err // what was read of a broken line is no row
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

// rest hands the line and all that follows to encoding/csv.
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

// failing is a reader that has nothing but the error of the one before it.
type failing struct{ err error }

// Read gives the error.
func (f failing) Read([]byte) (int, error) { return 0, f.err }
