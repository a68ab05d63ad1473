package sensors

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bayward/agent/reading"
)

// TestEveryDriverErrorHasItsFault: a driver's error without a row in fault.go would
// be reported as a device that does not answer.
func TestEveryDriverErrorHasItsFault(t *testing.T) {
	rows, err := os.ReadFile("fault.go")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, driver := range []string{"converter", "w1therm", "level", "max31865", "modbus"} {
		files, err := filepath.Glob(filepath.Join(driver, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			source, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(source, func(node ast.Node) bool {
				spec, ok := node.(*ast.ValueSpec)
				if !ok {
					return true
				}
				for _, name := range spec.Names {
					if !strings.HasPrefix(name.Name, "Err") {
						continue
					}
					if n++; !strings.Contains(string(rows), "{"+driver+"."+name.Name+", reading.") {
						t.Errorf("%s.%s has no row in fault.go", driver, name.Name)
					}
				}
				return false
			})
		}
	}
	if n < 15 {
		t.Errorf("%d errors found: the search is broken", n)
	}
}

// TestUnknownErrorIsAFault: whatever went wrong, there is no usable answer.
func TestUnknownErrorIsAFault(t *testing.T) {
	if got := faultOf(errors.New("something new")); got != reading.NoAnswer {
		t.Errorf("got %s", got)
	}
	if got := faultOf(fmt.Errorf("read: %w: %w", errImplausible, errors.New("cause"))); got != reading.Implausible {
		t.Errorf("wrapped: got %s", got)
	}
	if got := faultOf(nil); got != reading.None {
		t.Errorf("no error: got %s", got)
	}
}

// TestConverterFaults: what is on the wires, by the converter's data sheet
// (SBAS444, "Register map": after power-on the thresholds are 0x8000 and 0x7fff; a
// reading is signed, and its ends are the ends of the range), and the fault that a
// technician must then look for.
func TestConverterFaults(t *testing.T) {
	for name, tc := range map[string]struct {
		wires func(*converterBus)
		want  reading.Fault
	}{
		"no chip acknowledges":       {func(c *converterBus) { c.err = errAbsent }, reading.NoAnswer},
		"nothing drives the bus":     {func(c *converterBus) { c.reg[2], c.reg[3] = 0xffff, 0xffff }, reading.NoAnswer},
		"the data line is held low":  {func(c *converterBus) { c.err = errStuck }, reading.BusStuck},
		"another chip answers":       {func(c *converterBus) { c.reg[2], c.reg[3] = 0x0012, 0x0034 }, reading.Contradictory},
		"more than the range":        {func(c *converterBus) { c.pins[0] = 4.2 }, reading.OverRange},
		"less than the range":        {func(c *converterBus) { c.pins[0] = -4.2 }, reading.OverRange},
		"all is well":                {func(c *converterBus) { c.pins[0] = 2.26 }, reading.None},
		"one code below the highest": {func(c *converterBus) { c.pins[0] = 4.096 * 32766 / 32768 }, reading.None},
	} {
		b := newBench(t)
		tc.wires(b.bus)
		if got := sample(t, mustOpen(t, wired(), b.hardware())[0]).PackV; got.Fault != tc.want {
			t.Errorf("%s: got %+v, want %s", name, got, tc.want)
		}
	}
}
