package deploy_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strings"
	"testing"
)

// drivers lists where an output line may be driven.
var drivers = []struct{ folder, why string }{
	{"agent/lease", "closes a relay, and only while somebody renews a lease for it"},
	{"agent/keeper", "opens the lines for it, and drives lines of the past low"},
	{"sensors/sim", "is the simulated line"},
}

// driving are the names with which periph or the kernel drives a line.
var driving = []string{"Out", "PWM", "PinIO", "PinOut", "LineOutput", "StreamOut"}

// TestOneRoomDrivesRelays: outside tests nothing else mentions what drives a line, so
// that nothing else can close a relay.
func TestOneRoomDrivesRelays(t *testing.T) {
	fset, files := repository(t)
	used := map[string]bool{}
	for _, f := range files {
		found := drives(f.ast)
		if len(found) == 0 || f.test || isFake(f.pkg) {
			continue
		}
		if i := slices.IndexFunc(drivers, func(d struct{ folder, why string }) bool { return d.folder == f.pkg }); i >= 0 {
			used[f.pkg] = true
			continue
		}
		for _, at := range found {
			t.Errorf("%s: only a keeper may drive a line (see go doc ./agent/lease)", fset.Position(at))
		}
	}
	for _, d := range drivers {
		if !used[d.folder] {
			t.Errorf("%s drives no line: its row is not needed", d.folder)
		}
	}
}

// drives returns where a file mentions what drives a line. In a file that does not
// know periph, only a call of Out is one: other things have fields of that name.
func drives(f *ast.File) (found []token.Pos) {
	gpio := slices.ContainsFunc(f.Imports, func(i *ast.ImportSpec) bool { return strings.Contains(i.Path.Value, "periph.io/") })
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok && !gpio && s.Sel.Name == "Out" {
				found = append(found, s.Pos())
			}
		case *ast.SelectorExpr:
			if gpio && slices.Contains(driving, n.Sel.Name) {
				found = append(found, n.Pos())
			}
		}
		return true
	})
	return found
}

// TestDrivesIsFound: each way to drive a line is noticed.
func TestDrivesIsFound(t *testing.T) {
	const periph = `import "periph.io/x/conn/v3/gpio"` + "\n"
	for name, row := range map[string]struct {
		text  string
		times int
	}{
		"a call":                {periph + "func f(p gpio.PinIn) { p.(interface{ Out(gpio.Level) error }).Out(gpio.High) }", 1},
		"a method value":        {periph + "func f(p *pin) { g(p.Out) }", 1},
		"a type that can":       {periph + "var p gpio.PinOut", 1},
		"a duty":                {periph + "func f(p *pin) { p.PWM(1, 1) }", 1},
		"a call without periph": {"func f() { bench.pin().Out(true) }", 1},
		"a field":               {"func f() { print(o.Out) }", 0},
		"an input":              {periph + "func f(p gpio.PinIn) { p.Read() }", 0},
	} {
		file, err := parser.ParseFile(token.NewFileSet(), name, "package x\n"+row.text, 0)
		if err != nil {
			t.Fatal(err)
		}
		if got := drives(file); len(got) != row.times {
			t.Errorf("%s: found %d times, want %d", name, len(got), row.times)
		}
	}
}
