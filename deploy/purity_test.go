package deploy_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// banned lists packages that the core may not import: the same readings must give the same picture
// on every machine, in every replay, forever.
var banned = []struct{ path, why string }{
	{"os", "files and environment differ between machines"},
	{"io/fs", "files differ between machines"},
	{"path/filepath", "files differ between machines"},
	{"embed", "a constant belongs in the code, with its source"},
	{"flag", "the command line is read in main"},
	{"net", "the network cannot be replayed"},
	{"syscall", "the kernel cannot be replayed"},
	{"database", "the record is an edge"},
	{"log", "a decision is in its picture and events; edges write them down"},
	{"expvar", "metrics are made from pictures, at the edge"},
	{"runtime", "scheduling and memory are not evidence"},
	{"sync", "the core has one caller and no goroutine"},
	{"context", "the core never waits, so there is nothing to cancel"},
	{"math/rand", "a decision is never random"},
	{"crypto/rand", "a decision is never random"},
	{"hash/maphash", "its seed is random"},
	{"unsafe", "its results depend on the machine"},
	{"reflect", "decisions are plain code, and it defeats the compiler's checks"},
	{"plugin", "the core is complete"},
	{"testing", "test code is in test files"},
	{"text/template", "text is made by functions that can be read and tested"},
	{"html/template", "pages are an edge"},
}

// clock are the names in package time that read or wait for the clock.
var clock = map[string]bool{
	"Now": true, "Since": true, "Until": true, "Sleep": true, "After": true, "AfterFunc": true,
	"Tick": true, "NewTimer": true, "NewTicker": true, "Local": true, "LoadLocation": true,
}

func TestCoreImports(t *testing.T) {
	_, files := coreFiles(t)
	for _, f := range files {
		for _, path := range f.imports() {
			if !isStandard(path) && local(path) == "" {
				t.Errorf("%s imports %s: the core uses only the standard library", f.path, path)
			}
			for _, ban := range banned {
				if within(path, ban.path) {
					t.Errorf("%s imports %s: %s", f.path, path, ban.why)
				}
			}
		}
	}
}

func TestCoreHasNoClockOrGoroutine(t *testing.T) {
	fset, files := coreFiles(t)
	for _, f := range files {
		ast.Inspect(f.ast, func(n ast.Node) bool {
			if what := impure(n); what != "" {
				t.Errorf("%s:%d: %s: the core is a function of its readings", f.path, fset.Position(n.Pos()).Line, what)
			}
			return true
		})
	}
}

// TestOnlyTheCoreIsTestedWithoutTheRaceDetector holds the list in deploy/test against the core's,
// with the package of tests that does nothing but step it.
func TestOnlyTheCoreIsTestedWithoutTheRaceDetector(t *testing.T) {
	script, err := os.ReadFile("test")
	require.NoError(t, err)
	found := regexp.MustCompile(`(?m)^CORE='/agent/\(([a-z|]+)\)`).FindStringSubmatch(string(script))
	require.NotNil(t, found)
	var named []string
	for _, name := range strings.Split(found[1], "|") {
		named = append(named, "agent/"+name)
	}
	require.ElementsMatch(t, append(slices.Clone(core), "agent/opinion"), named)
}

// TestImpureIsSeen shows that the check above can fail.
func TestImpureIsSeen(t *testing.T) {
	for _, code := range []string{
		"time.Now()", "go f()", "c <- 1", "<-c", "select {}", "make(chan int)", `fmt.Println("x")`,
		"println(1)", "var at = time.Since", "panic(recover())",
	} {
		seen := false
		for node := range ast.Preorder(parseBody(t, code)) {
			seen = seen || impure(node) != ""
		}
		if !seen {
			t.Errorf("%q is taken for pure", code)
		}
	}
	for node := range ast.Preorder(parseBody(t, `x := time.Duration(3); _ = fmt.Sprintf("%v", x); at.Sub(then)`)) {
		if what := impure(node); what != "" {
			t.Errorf("pure code is taken for impure: %s", what)
		}
	}
}

// parseBody parses statements as a function's body.
func parseBody(t *testing.T, code string) ast.Node {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "p.go", "package p; func f() {"+code+"}", 0)
	if err != nil {
		t.Fatal(err)
	}
	return file
}

func coreFiles(t *testing.T) (*token.FileSet, []goFile) {
	t.Helper()
	fset, files := repository(t)
	var found []goFile
	for _, f := range files {
		if !f.test && within(f.pkg, core...) && !testPackage(f.pkg) {
			found = append(found, f)
		}
	}
	if len(found) == 0 {
		t.Fatal("no file of the core found: the list of its folders is out of date")
	}
	return fset, found
}

// testPackage reports whether a package only serves tests, by its name, such as
// agent/charge/chargetest. TestTestPackages checks that nothing else uses it.
func testPackage(pkg string) bool { return strings.HasSuffix(pkg, "test") }

func TestTestPackages(t *testing.T) {
	_, files := repository(t)
	for _, f := range files {
		for _, path := range f.imports() {
			if pkg := local(path); pkg != "" && testPackage(pkg) && !f.test && !testPackage(f.pkg) {
				t.Errorf("%s imports %s: shipped code must not use test code", f.path, path)
			}
		}
	}
}

// impure names what makes a node depend on more than its inputs, or returns "".
func impure(n ast.Node) string {
	switch n := n.(type) {
	case *ast.GoStmt:
		return "goroutine"
	case *ast.SelectStmt, *ast.SendStmt, *ast.ChanType:
		return "channel"
	case *ast.UnaryExpr:
		if n.Op == token.ARROW {
			return "channel"
		}
	case *ast.SelectorExpr:
		return impureSelector(n)
	case *ast.CallExpr:
		return impureBuiltin(n)
	}
	return ""
}

func impureSelector(n *ast.SelectorExpr) string {
	pkg, ok := n.X.(*ast.Ident)
	switch {
	case !ok:
		return ""
	case pkg.Name == "time" && clock[n.Sel.Name]:
		return "clock (time." + n.Sel.Name + ")"
	case pkg.Name == "fmt" && (strings.HasPrefix(n.Sel.Name, "Print") || strings.HasPrefix(n.Sel.Name, "Scan")):
		return "terminal (fmt." + n.Sel.Name + ")"
	}
	return ""
}

func impureBuiltin(n *ast.CallExpr) string {
	name, ok := n.Fun.(*ast.Ident)
	if !ok {
		return ""
	}
	switch name.Name {
	case "print", "println":
		return "terminal (" + name.Name + ")"
	case "recover":
		return "recover (an impossible case must reach the loop, which opens every relay)"
	}
	return ""
}
