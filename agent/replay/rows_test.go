package replay

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"
)

// read returns all rows of a text, as one string, up to and including the first
// error.
func read(next func() ([]string, int, error)) string {
	var b strings.Builder
	for {
		rec, line, err := next()
		if err != nil {
			p, ok := errors.AsType[*csv.ParseError](err)
			if ok {
				return b.String() + strconv.Itoa(p.Line) + ": " + p.Err.Error()
			}
			return b.String() + err.Error()
		}
		b.WriteString(strconv.Itoa(line) + ":")
		for _, f := range rec {
			b.WriteString(strconv.Quote(strings.TrimSpace(f)))
		}
	}
}

func byStandard(in io.Reader) string {
	r := csv.NewReader(in)
	r.Comment, r.TrimLeadingSpace = '#', true
	return read(func() ([]string, int, error) {
		rec, err := r.Read()
		if err != nil {
			return nil, 0, err
		}
		line, _ := r.FieldPos(0)
		return rec, line, nil
	})
}

func byRows(in io.Reader) string {
	r := rows{in: bufio.NewReaderSize(in, 64)}
	return read(func() ([]string, int, error) {
		rec, err := r.next()
		if err != nil {
			return nil, 0, err
		}
		var text []string
		for _, f := range rec {
			text = append(text, string(f))
		}
		return text, r.line, nil
	})
}

// FuzzRows: whatever the bytes, the rows, their lines and the error are those of
// encoding/csv.
func FuzzRows(f *testing.F) {
	for _, text := range []string{
		"", "\n", "a,b\n1,2\n", "a,b\r\n1,2\r\n\r\n#x\r\n3,4", "a\n1,2\n", " #a\n", "a,\"b\nc\",d\n1,2,3\n4,5\n", "1,2\n\"3\",4\n5\n",
		"1, \"2\"\n", "1,2\"\n", "\r", "1\r", "1\r\r\n", "#\n\n#,\"\n1", ",\n,\n", strings.Repeat("1234567890,", 12) + "\n1\n", "\xff\n", "a\n#" + strings.Repeat("x", 90) + "\nb\n",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		want := byStandard(bytes.NewReader(text))
		if got := byRows(bytes.NewReader(text)); got != want {
			t.Errorf("%q:\n%s\nencoding/csv reads\n%s", text, got, want)
		}
		if got := byRows(iotest.OneByteReader(bytes.NewReader(text))); got != want {
			t.Errorf("%q, byte by byte:\n%s\nencoding/csv reads\n%s", text, got, want)
		}
	})
}

// A line whose end is missing does not count as a row.
func TestBrokenLineIsNoRow(t *testing.T) {
	in := io.MultiReader(strings.NewReader("1,2\n3,4"), iotest.ErrReader(io.ErrUnexpectedEOF))
	if got := byRows(in); got != `1:"1""2"unexpected EOF` {
		t.Error(got)
	}
}

// checkNumber compares a row of one field with strconv, bit by bit.
func checkNumber(t interface{ Errorf(string, ...any) }, field string) {
	if strings.ContainsAny(field, ",\"\r\n#") {
		return // not one field
	}
	r := rows{in: bufio.NewReader(strings.NewReader("h\n" + field + "\n")), values: make([]float64, 1)}
	if _, err := r.next(); err != nil {
		t.Errorf("header: %v", err)
	}
	if _, err := r.in.Peek(1); err != nil || field == "" {
		return
	}
	if err := r.numbers(); err != nil {
		t.Errorf("%q: %v", field, err)
	}
	if got := fmt.Sprintf(" %x", math.Float64bits(r.values[0])); got != standard(field) {
		t.Errorf("%q was read as%s, strconv reads%s", field, got, standard(field))
	}
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"", " ", "-", ".", "1.", ".5", "-0", "-0.0", "+1", "1e5", "0x1p-2", "1_0", "NaN", "inf", "123456789012345", "1234567890123456", "0.30000000000000004", "99999999999999.9", " 1.5 ", "1..2", "1-", "--1", "00012.50"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) { checkNumber(t, s) })
}

// TestNumbersOfLoggers: figures with the digits that loggers write, and one more or
// fewer than the fast path accepts.
func TestNumbersOfLoggers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e9, 1e9).Draw(t, "v")
		checkNumber(t, strconv.FormatFloat(v, 'f', rapid.IntRange(0, 9).Draw(t, "digits"), 64))
		checkNumber(t, rapid.StringMatching(`-?[0-9]{1,17}(\.[0-9]{0,17})?`).Draw(t, "text"))
	})
}
