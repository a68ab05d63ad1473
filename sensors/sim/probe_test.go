package sim

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"

	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// TestOwnCircuits: from the package that reads probes the simulator uses only the
// names of kinds and settings. If it used a circuit or a limit from there, a mistake
// would be on both sides and go unnoticed.
func TestOwnCircuits(t *testing.T) {
	words := kindNames(t)
	words["Kind"], words["Settings"] = true, true
	fset, used := token.NewFileSet(), 0
	for _, path := range sources(t) {
		file, err := parser.ParseFile(fset, path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for n := range ast.Preorder(file) {
			s, ok := n.(*ast.SelectorExpr)
			if !ok {
				continue
			}
			if pkg, ok := s.X.(*ast.Ident); !ok || pkg.Name != "level" {
				continue
			}
			used++
			if !words[s.Sel.Name] {
				t.Errorf("%s: level.%s is more than a name", fset.Position(s.Pos()), s.Sel.Name)
			}
		}
	}
	if used == 0 {
		t.Error("no use of package level was found: nothing was tested")
	}
}

func sources(t *testing.T) []string {
	t.Helper()
	all, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, path := range all {
		if !strings.HasSuffix(path, "_test.go") {
			out = append(out, path)
		}
	}
	return out
}

// kindNames returns the constants of type level.Kind.
func kindNames(t *testing.T) map[string]bool {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "../level/kind.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]bool{}
	for n := range ast.Preorder(file) {
		spec, ok := n.(*ast.ValueSpec)
		if !ok {
			continue
		}
		if of, ok := spec.Type.(*ast.Ident); ok && of.Name == "Kind" {
			for _, name := range spec.Names {
				names[name.Name] = true
			}
		}
	}
	return names
}

// TestShortedTransmitter: nothing limits the current of a shorted transmitter. The
// old instruction of the walk, a clip across its terminals, put 24 V on an input that
// bears no more than its supply, and burned 5.8 W in the shunt.
func TestShortedTransmitter(t *testing.T) {
	const shuntOhm = 100.0
	b := NewBench()
	o, w := common("bay-1")
	w.Level = &wiring.Level{Input: input(0x48, 1), Kind: level.FourTwentyMA, Settings: level.Settings{ShuntOhm: shuntOhm, LowMM: -20, HighMM: 30}}
	y := mustAdd(t, b, o, w)
	at := func() float64 {
		b.mu.Lock()
		defer b.mu.Unlock()
		y.adcs[0].PinV(1)
		return y.inputMaxV
	}
	y.ReplaceProbe(true)
	if v := at(); v < 2.1 || v > 3.3 {
		t.Errorf("with a calibrator the input gets %.2f V", v)
	}
	y.ReplaceProbe(false)
	y.SetFault(ProbeShort, true)
	if v := at(); v != 24 || v*v/shuntOhm < 5 || y.Truth().InputMaxV != v {
		t.Errorf("shorted, the input gets %.1f V and the shunt burns %.1f W", v, v*v/shuntOhm)
	}
}
