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

// standard is a field as strconv reads it, bit by bit; for an invalid or empty
// field it is the number that a row has for it.
func standard(field string) string {
	v, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
	if err != nil {
		v = math.NaN()
	}
	return fmt.Sprintf(" %x", math.Float64bits(v))
}

// end is the error of the reading, with its line.
func end(err error) string {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return fmt.Sprintf("%d: %v", p.Line, p.Err)
	}
	return err.Error()
}

// numbersByStandard returns all rows after the header, by encoding/csv and strconv.
func numbersByStandard(in io.Reader) string {
	r := csv.NewReader(in)
	r.Comment, r.TrimLeadingSpace = '#', true
	var b strings.Builder
	for rows := 0; ; rows++ {
		rec, err := r.Read()
		if err != nil {
			return b.String() + end(err)
		}
		if rows == 0 {
			continue
		}
		line, _ := r.FieldPos(0)
		fmt.Fprint(&b, line)
		for _, field := range rec {
			b.WriteString(standard(field))
		}
		b.WriteByte('\n')
	}
}

// numbersByRows returns the same as a trace reads them; plain counts the rows read
// in one pass.
func numbersByRows(in io.Reader) (text string, plain int) {
	r := rows{in: bufio.NewReaderSize(in, 64)}
	head, err := r.next()
	if err != nil {
		return end(err), 0
	}
	r.values = make([]float64, len(head))
	var b strings.Builder
	for {
		if err := r.numbers(); err != nil {
			return b.String() + end(err), plain
		}
		fmt.Fprint(&b, r.line)
		for i, v := range r.values {
			got := fmt.Sprintf(" %x", math.Float64bits(v))
			if field := string(r.field(i)); got != standard(field) {
				return fmt.Sprintf("line %d: %q was read as%s, strconv reads%s", r.line, field, got, standard(field)), plain
			}
			b.WriteString(got)
		}
		b.WriteByte('\n')
		if r.plain.row != nil {
			plain++
		}
	}
}

func checkPlain(t interface{ Errorf(string, ...any) }, text []byte) (plain int) {
	want := numbersByStandard(bytes.NewReader(text))
	got, plain := numbersByRows(bytes.NewReader(text))
	if got != want {
		t.Errorf("%q:\n%s\nencoding/csv and strconv read\n%s", text, got, want)
	}
	if got, _ := numbersByRows(iotest.OneByteReader(bytes.NewReader(text))); got != want {
		t.Errorf("%q, byte by byte:\n%s\nencoding/csv and strconv read\n%s", text, got, want)
	}
	return plain
}

// FuzzPlain: whatever the bytes, a row read in one pass is the row that
// encoding/csv splits and strconv reads, and none is lost or read twice.
func FuzzPlain(f *testing.F) {
	for _, text := range []string{
		"a,b\n1,2\n1,2\n2,2\n2,2.0\n", "a,b\n1,2\r\n2,2\r\n3,2\n4,2\r\n", "a\n1\n2\n\n#c\n2\n3", "a,b\n1,2\n1,\n2,\n1,2\n",
		"a,b\n1,2\n2,2,\n", "a,b\n1,2\n2\n", "a,b\n1,2\n2,2\"\n", "a,b\n1,-2.5\n2,-2.5\n3,-2.5x\n", "a,b\n1,123456789012345\n2,1234567890123456\n",
		"a,b\n1,2\r\r\n2,2\n", "a,b\n1, 2\n2,2 \n3,2\n", "a,b\n1.,2.\n-0,-0.0\n.5,5\n", "a,b\n" + strings.Repeat("1,2.50\n", 40), "\"a\",b\n1,2\n",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) { checkPlain(t, text) })
}

// TestPlainRows: rows of loggers, most of them like the previous one, among others
// that only the slow path can read.
func TestPlainRows(t *testing.T) {
	plain := 0
	rapid.Check(t, func(t *rapid.T) {
		field := rapid.OneOf(rapid.StringMatching(`-?[0-9]{1,6}(\.[0-9]{0,3})?`), rapid.StringMatching(`-?[0-9]{1,17}(\.[0-9]{0,17})?`),
			rapid.SampledFrom([]string{"", " 1", "1e3", "+2", "x", "\"3\"", "NaN", "4\t", ".5", "-"}))
		columns := rapid.IntRange(1, 6).Draw(t, "columns")
		text := strings.Repeat("h,", columns-1) + "h\n"
		fields := make([]string, columns)
		for range rapid.IntRange(0, 30).Draw(t, "rows") {
			for i := range fields {
				if fields[i] == "" || i == 0 || rapid.IntRange(0, 9).Draw(t, "moves") == 0 {
					fields[i] = field.Draw(t, "field")
				}
			}
			text += strings.Join(fields, ",") + rapid.SampledFrom([]string{"\n", "\n", "\n", "\r\n", "\n\n", "\n# c\n"}).Draw(t, "end")
		}
		plain += checkPlain(t, []byte(text))
	})
	if plain == 0 {
		t.Error("no row was read in one pass")
	}
}
