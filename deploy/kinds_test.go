package deploy_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// kinded is how the name of a subtest begins that checks against a source: with the kind of its
// expected value. agent/referencetest says what the kinds mean; deploy/test counts them.
var kinded = regexp.MustCompile(`^(published|model|measured|memory|arithmetic): `)

// source finds the name of a source in a subtest's name.
var source = regexp.MustCompile(`\b(TM \d|NAVEDTRA|DOE-|IEC\b|IEEE\b|EN (IEC )?\d|UFGS|UFC\b|CFR\b|ISO \d|DIN \d|GOST|ZVEI|BGHW|` +
	`CODATA|IUPAC|IAPWS|NFPA|OSHA|Title \d|Linden\b|Bode\b|PyBaMM|System Advisor|handbook|textbook|leaflet|data sheet|` +
	`[Ll]aw of\b|\w's law\b|et al\b|from memory|common practice|no source|worked example)|\b(measured|porous_electrode|gassing_model)_\w+\.csv|\((19|20)\d\d\)|` + bySource)

// bySource is what a name holds where it takes a row's column "source".
const bySource = "⟨source⟩"

// TestChecksNameTheirKind reads the names of all subtests from the code. A name that is made at run
// time is followed to the literals that it is made of, in its own package.
func TestChecksNameTheirKind(t *testing.T) {
	fset, files := repository(t)
	named := 0
	for _, pkg := range testsByPackage(files) {
		for _, sub := range pkg.subtests() {
			with, without := sub.kinds()
			named += len(with)
			for _, name := range without {
				t.Errorf("%s: subtest %q names a source and no kind: see agent/referencetest", fset.Position(sub.pos), name)
			}
		}
	}
	require.Greater(t, named, 100, "the search is broken")
}

// TestKindsAreSeen shows that the check above can fail.
func TestKindsAreSeen(t *testing.T) {
	const code = `package p
const book = "Bode (1977)"
type row struct { why, name string }
func TestX(t *testing.T) {
	t.Run("TM 5-1185: plain", f)
	t.Run(book+": at 25 °C", f)
	t.Run(fmt.Sprintf("%.1f by %s", x, book), f)
	for _, r := range rows { t.Run(r["source"], f); t.Run(r.Kind(t)+r["source"], f) }
	for name := range map[string]int{"EN 62485-3": 1, "memory: EN 62485-3": 2, "plain": 3} { t.Run(name, f) }
	for _, c := range []struct{ n int; name string }{{1, "UFC 3-410-04N"}, {n: 2, name: "model: UFC 3-410-04N"}} { t.Run(c.name+"!", f) }
	for _, c := range []row{{"DIN 1", "ISO 9"}} { t.Run(c.name, f) }
	for _, s := range []string{"NAVEDTRA 14113"} { kind := "published: "; t.Run(kind+s, f) }
}`
	file, err := parser.ParseFile(token.NewFileSet(), "p_test.go", code, 0)
	require.NoError(t, err)
	var bare, kind []string
	for _, sub := range (testFiles{file}).subtests() {
		with, without := sub.kinds()
		kind, bare = append(kind, with...), append(bare, without...)
	}
	require.Equal(t, []string{
		"TM 5-1185: plain", "Bode (1977): at 25 °C", "… by Bode (1977)", bySource, "EN 62485-3", "UFC 3-410-04N!", "ISO 9",
	}, bare)
	require.Equal(t, []string{"published: " + bySource, "memory: EN 62485-3", "model: UFC 3-410-04N!", "published: NAVEDTRA 14113"}, kind)
}

// testFiles are the test files of one package.
type testFiles []*ast.File

func testsByPackage(files []goFile) map[string]testFiles {
	found := map[string]testFiles{}
	for _, f := range files {
		if f.test {
			found[f.pkg] = append(found[f.pkg], f.ast)
		}
	}
	return found
}

// subtest is one call of t.Run with all names that it may have.
type subtest struct {
	pos   token.Pos
	names []string
}

// kinds returns the names with a kind, and those that name a source without one.
func (s subtest) kinds() (with, without []string) {
	for _, name := range s.names {
		if kinded.MatchString(name) {
			with = append(with, name)
		} else if source.MatchString(name) {
			without = append(without, name)
		}
	}
	return with, without
}

func (p testFiles) subtests() (found []subtest) {
	for _, file := range p {
		for _, decl := range file.Decls {
			for n := range ast.Preorder(decl) {
				call, ok := n.(*ast.CallExpr)
				if !ok || len(call.Args) != 2 {
					continue
				}
				if run, ok := call.Fun.(*ast.SelectorExpr); ok && run.Sel.Name == "Run" {
					found = append(found, subtest{call.Pos(), p.texts(call.Args[0], decl, 8)})
				}
			}
		}
	}
	return found
}

// texts returns what an expression of decl may be, "…" where that is known only at run time. It
// follows at most depth names.
func (p testFiles) texts(e ast.Expr, decl ast.Decl, depth int) []string {
	unknown := []string{"…"}
	if depth == 0 {
		return unknown
	}
	switch e := e.(type) {
	case *ast.BasicLit:
		if text, err := strconv.Unquote(e.Value); err == nil {
			return []string{text}
		}
	case *ast.BinaryExpr:
		return join(p.texts(e.X, decl, depth-1), p.texts(e.Y, decl, depth-1))
	case *ast.ParenExpr:
		return p.texts(e.X, decl, depth-1)
	case *ast.IndexExpr:
		if column, ok := e.Index.(*ast.BasicLit); ok && column.Value == `"source"` {
			return []string{bySource}
		}
		if givesKind(e.X) {
			return []string{someKind}
		}
	case *ast.CallExpr:
		return p.callTexts(e, decl, depth-1)
	case *ast.Ident:
		return p.all(p.values(e.Name, decl), decl, depth-1)
	case *ast.SelectorExpr:
		if pkg, ok := e.X.(*ast.Ident); ok && pkg.Name == "referencetest" {
			return []string{strings.ToLower(e.Sel.Name) + ": "}
		}
		return p.all(p.fields(e, decl), decl, depth-1)
	}
	return unknown
}

// someKind is what an expression that gives a kind may be.
const someKind = "published: "

// givesKind reports whether a function or a map returns kinds: its name says so.
func givesKind(e ast.Expr) bool {
	name := lastName(e)
	return strings.HasSuffix(name, "Kind") || name == "kindOf"
}

func lastName(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}

// callTexts knows fmt.Sprintf and what returns a kind.
func (p testFiles) callTexts(call *ast.CallExpr, decl ast.Decl, depth int) []string {
	switch {
	case givesKind(call.Fun):
		return []string{someKind}
	case lastName(call.Fun) == "Sprintf":
		return p.formatted(call.Args, decl, depth)
	}
	return []string{"…"}
}

var verb = regexp.MustCompile(`%[-+#0 ]*[0-9]*(\.[0-9]+)?[a-zA-Z]`)

func (p testFiles) formatted(args []ast.Expr, decl ast.Decl, depth int) []string {
	formats := p.texts(args[0], decl, depth)
	out, rest := []string{""}, strings.ReplaceAll(formats[0], "%%", "\x00")
	for _, arg := range args[1:] {
		at := verb.FindStringIndex(rest)
		if at == nil {
			break
		}
		out = join(join(out, []string{rest[:at[0]]}), p.texts(arg, decl, depth))
		rest = rest[at[1]:]
	}
	out = join(out, []string{rest})
	for i := range out {
		out[i] = strings.ReplaceAll(out[i], "\x00", "%")
	}
	return out
}

func join(heads, tails []string) (all []string) {
	for _, head := range heads {
		for _, tail := range tails {
			all = append(all, head+tail)
		}
	}
	return all
}

func (p testFiles) all(values []ast.Expr, decl ast.Decl, depth int) (all []string) {
	for _, v := range values {
		all = append(all, p.texts(v, decl, depth)...)
	}
	if len(all) == 0 {
		return []string{"…"}
	}
	return all
}

// values returns the expressions that a name may have in decl, or else in the package.
func (p testFiles) values(name string, decl ast.Decl) (found []ast.Expr) {
	for n := range ast.Preorder(decl) {
		found = append(found, assigned(n, name)...)
	}
	for _, file := range p {
		for _, d := range file.Decls {
			if gen, ok := d.(*ast.GenDecl); ok && len(found) == 0 {
				for n := range ast.Preorder(gen) {
					found = append(found, assigned(n, name)...)
				}
			}
		}
	}
	return found
}

// assigned returns what a statement gives to a name: a value, or the keys or elements that it
// ranges over.
func assigned(n ast.Node, name string) (found []ast.Expr) {
	switch n := n.(type) {
	case *ast.ValueSpec:
		for i, id := range n.Names {
			if id.Name == name && i < len(n.Values) {
				found = append(found, n.Values[i])
			}
		}
	case *ast.AssignStmt:
		for i, left := range n.Lhs {
			if id, ok := left.(*ast.Ident); ok && id.Name == name && len(n.Lhs) == len(n.Rhs) {
				found = append(found, n.Rhs[i])
			}
		}
	case *ast.RangeStmt:
		list, ok := n.X.(*ast.CompositeLit)
		if !ok {
			break
		}
		for _, e := range list.Elts {
			pair, ok := e.(*ast.KeyValueExpr)
			if ok && isNamed(n.Key, name) {
				found = append(found, pair.Key)
			} else if isNamed(n.Value, name) {
				found = append(found, e)
			}
		}
	}
	return found
}

func isNamed(e ast.Expr, name string) bool {
	id, ok := e.(*ast.Ident)
	return ok && id.Name == name
}

// fields returns the values of a row's field, such as c.name: in the table over which a loop around
// it ranges, or else in the tables of the package whose rows have a named type.
func (p testFiles) fields(e *ast.SelectorExpr, decl ast.Decl) (found []ast.Expr) {
	for n := range ast.Preorder(decl) {
		loop, ok := n.(*ast.RangeStmt)
		if !ok || e.Pos() < loop.Pos() || e.Pos() > loop.End() {
			continue
		}
		if row, ok := e.X.(*ast.Ident); ok && isNamed(loop.Value, row.Name) {
			if table, ok := loop.X.(*ast.CompositeLit); ok {
				return p.column(table, e.Sel.Name)
			}
		}
	}
	for _, file := range p {
		for n := range ast.Preorder(file) {
			if table, ok := n.(*ast.CompositeLit); ok && !isAnonymous(table) {
				found = append(found, p.column(table, e.Sel.Name)...)
			}
		}
	}
	return found
}

func isAnonymous(list *ast.CompositeLit) bool {
	array, ok := list.Type.(*ast.ArrayType)
	if !ok {
		return false
	}
	_, ok = array.Elt.(*ast.StructType)
	return ok
}

// column returns a field of each row of a table.
func (p testFiles) column(table *ast.CompositeLit, name string) (found []ast.Expr) {
	fields, at := p.rowType(table), -1
	for i, field := range fields {
		if field == name {
			at = i
		}
	}
	for _, e := range table.Elts {
		row, ok := e.(*ast.CompositeLit)
		if !ok || at < 0 {
			continue
		}
		for i, value := range row.Elts {
			if pair, keyed := value.(*ast.KeyValueExpr); keyed && isNamed(pair.Key, name) {
				found = append(found, pair.Value)
			} else if !keyed && i == at {
				found = append(found, value)
			}
		}
	}
	return found
}

// rowType returns the fields of a table's rows, nil if it is not a list of structs of this package.
func (p testFiles) rowType(table *ast.CompositeLit) (fields []string) {
	array, ok := table.Type.(*ast.ArrayType)
	if !ok {
		return nil
	}
	rows, ok := array.Elt.(*ast.StructType)
	if id, named := array.Elt.(*ast.Ident); named {
		rows, ok = p.typeOf(id.Name)
	}
	if !ok {
		return nil
	}
	for _, field := range rows.Fields.List {
		for _, id := range field.Names {
			fields = append(fields, id.Name)
		}
	}
	return fields
}

func (p testFiles) typeOf(name string) (*ast.StructType, bool) {
	for _, file := range p {
		for n := range ast.Preorder(file) {
			if spec, ok := n.(*ast.TypeSpec); ok && spec.Name.Name == name {
				rows, ok := spec.Type.(*ast.StructType)
				return rows, ok
			}
		}
	}
	return nil, false
}
