package ordertest

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"bayward/agent/order"
)

// Property is the JSON Schema of a field, as YAML on one line. About is its
// description.
func Property(f *order.Field, about string) string {
	switch {
	case f.IsConfirmation():
		return fmt.Sprintf("{ type: boolean, const: true, description: %s }", Quoted(about))
	case f.IsFlag():
		return fmt.Sprintf("{ type: boolean, description: %s }", Quoted(about))
	case f.IsList():
		return fmt.Sprintf("{ type: array, minItems: %v, maxItems: %v, description: %s, items: %s }", f.Low, f.High, Quoted(about), line())
	case len(f.Words) > 0:
		return fmt.Sprintf("{ type: string, enum: [%s], description: %s }", strings.Join(f.Words, ", "), Quoted(about))
	case f.IsText():
		return fmt.Sprintf("{ type: string, minLength: %v, maxLength: %v, description: %s }", f.Low, f.High, Quoted(about))
	case f.IsWhole():
		return fmt.Sprintf("{ type: integer, minimum: %v, maximum: %v, description: %s }", f.Low, f.High, Quoted(about))
	}
	return fmt.Sprintf("{ type: number, minimum: %v, maximum: %v, description: %s }", f.Low, f.High, Quoted(about))
}

// line is the JSON Schema of one line of cells.
func line() string {
	var each []string
	for _, f := range order.Table[order.Entry].Each {
		each = append(each, f.Name+": "+Property(f, About(f)))
	}
	return "{ title: EntryCell, type: object, required: [cell], additionalProperties: false, properties: { " + strings.Join(each, ", ") + " }, " +
		"anyOf: [{ required: [ml] }, { required: [drawn_ml] }, { required: [level_mm] }, { required: [gravity] }, " +
		"{ required: [dry], properties: { dry: { const: true } } }, { required: [how], properties: { how: { const: to-mark } } }], " +
		"allOf: [{ if: { required: [gravity] }, then: { required: [at_c] } }, { if: { required: [at_c] }, then: { required: [gravity] } }, " +
		"{ if: { required: [how], properties: { how: { const: to-mark } } }, then: { not: { required: [ml] } }, else: { if: { required: [how] }, then: { required: [ml] } } }] }"
}

// About describes a field with its unit.
func About(f *order.Field) string {
	switch {
	case f.Empty != "":
		return f.About + `; "" ` + f.Empty
	case f.Unit == order.One || f.IsText() || f.IsFlag() || f.IsList():
		return f.About
	}
	return f.About + ", " + string(f.Unit)
}

// Required says in JSON Schema which fields of an order must be there, "" for none.
func Required(k order.Kind) string {
	var names, each []string
	for _, f := range k.Row().Fields {
		names = append(names, f.Name)
		each = append(each, "{ required: ["+f.Name+"] }")
	}
	if k.Row().AnyOf {
		return "anyOf: [" + strings.Join(each, ", ") + "]"
	}
	if names == nil {
		return ""
	}
	return "required: [" + strings.Join(names, ", ") + "]"
}

// Quoted is a text in YAML's single quotes.
func Quoted(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }

// Made holds the part of a file between the line that begins with from and the
// line that begins with to, both without their indent, to what is made from the
// table; with update it writes that part.
func Made(t *testing.T, file, from, to, want string, update bool) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	first, last := find(lines, from)+1, find(lines, to)
	if first < 1 || last < first {
		t.Fatalf("%s has no part from %q to %q", file, from, to)
	}
	if update {
		whole := strings.Join(lines[:first], "") + want + strings.Join(lines[last:], "")
		if err := os.WriteFile(file, []byte(whole), 0o644); err != nil { //nolint:gosec // a document of the tree
			t.Fatal(err)
		}
		return
	}
	got, wanted := lines[first:last], strings.SplitAfter(want, "\n")
	for i := range max(len(got), len(wanted)-1) {
		have, should := at(got, i), at(wanted, i)
		if have != should {
			t.Errorf("%s, line %d is not what agent/order says (renew it with -update):\nis   %swant %s", file, first+i+1, have, should)
		}
	}
}

func find(lines []string, begins string) int {
	for i, l := range lines {
		if strings.HasPrefix(strings.TrimSpace(l), begins) {
			return i
		}
	}
	return -1
}

func at(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return "(nothing)\n"
}
