package records

import (
	"bufio"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"bayward/agent/logbook"
)

// timeForm is RFC 3339 in UTC, to the resolution of the logbook.
const timeForm = "2006-01-02T15:04:05.000Z"

// WriteCSV writes a table as RFC 4180: a line of names, then a line for each row;
// lines end with CRLF. A text with a line break keeps it, as a line feed. Only the
// current row is in memory.
func (t *Table) WriteCSV(ctx context.Context, w io.Writer, r *logbook.Reader, q logbook.Query) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	line := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		line[i] = c.Name
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for row, err := range t.rows(ctx, r, q) {
		if err != nil {
			return err
		}
		for i, v := range row {
			line[i] = cellText(v)
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// cellText returns a value as a cell of a CSV file. Only texts are guarded: a
// negative number is a number in every spreadsheet.
func cellText(v any) string {
	if s, ok := v.(string); ok {
		return guard(s)
	}
	return plain(v)
}

// plain returns a value as text, "" when unknown.
func plain(v any) string {
	switch x := v.(type) {
	case nil:
		return ""
	case string:
		return x
	case bool:
		return strconv.FormatBool(x)
	case int64:
		return strconv.FormatInt(x, 10)
	case float64:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case time.Time:
		return x.UTC().Format(timeForm)
	case json.RawMessage:
		return string(x)
	}
	return fmt.Sprintf("bug: %T", v)
}

// WriteJSON writes a table as a JSON array with one object on each line, whose
// members are the columns in order; an unknown value is null. Only the current row
// is in memory.
func (t *Table) WriteJSON(ctx context.Context, w io.Writer, r *logbook.Reader, q logbook.Query) error {
	out := bufio.NewWriter(w)
	before := "[\n"
	for row, err := range t.rows(ctx, r, q) {
		if err != nil {
			return err
		}
		object, err := t.object(row)
		if err != nil {
			return err
		}
		if _, err := out.WriteString(before + object); err != nil {
			return err
		}
		before = ",\n"
	}
	end := "\n]\n"
	if before == "[\n" {
		end = "[]\n"
	}
	if _, err := out.WriteString(end); err != nil {
		return err
	}
	return out.Flush()
}

// object returns a row as JSON, its members in the order of the columns.
func (t *Table) object(row []any) (string, error) {
	var b strings.Builder
	for i, v := range row {
		if at, ok := v.(time.Time); ok {
			v = at.UTC().Format(timeForm)
		}
		value, err := json.Marshal(v)
		if err != nil {
			return "", fmt.Errorf("column %s of %s: %w", t.Columns[i].Name, t.Name, err)
		}
		_, _ = fmt.Fprintf(&b, `,"%s":%s`, t.Columns[i].Name, value) // a builder does not fail
	}
	return "{" + strings.TrimPrefix(b.String(), ",") + "}", nil
}
