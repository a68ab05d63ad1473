package sim

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"
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
