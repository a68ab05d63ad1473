package main

import (
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// mutant is one change of one place.
type mutant struct {
	id       int // from 1; 0 is the unchanged code
	place    string
	function string
	from, to string
	nth      int // among equal mutants of the same function
	killer   string
}

// String names the mutant without its line, so that the name lasts.
func (m *mutant) String() string {
	return fmt.Sprintf("%s: %s -> %s #%d", m.function, m.from, m.to, m.nth)
}

// others lists the replacements of an operator: its boundary and its opposite.
var others = map[token.Token][]token.Token{
	token.LSS: {token.LEQ, token.GEQ}, token.LEQ: {token.LSS, token.GTR},
	token.GTR: {token.GEQ, token.LEQ}, token.GEQ: {token.GTR, token.LSS},
	token.EQL: {token.NEQ}, token.NEQ: {token.EQL},
	token.LAND: {token.LOR}, token.LOR: {token.LAND},
}

// helpers is added to the package. The switch is read once.
const helpers = `package %s

import (
	"os"
	"strconv"
)

var mutantOn, _ = strconv.Atoi(os.Getenv("BAYWARD_MUTANT"))

func mutantIs(id int) bool { return mutantOn == id }

func mutantPick(id int, changed, whole bool) bool {
	if mutantOn == id {
		return changed
	}
	return whole
}
`

// file is one source file whose sites are being rewritten.
type file struct {
	name    string
	source  []byte
	fset    *token.FileSet
	sites   []ast.Expr
	inside  map[ast.Expr]string // function of a site
	count   map[string]int
	mutants *[]*mutant
}

// mutate writes the package with all its mutants to the work folder. It returns
// the mutants and the overlay file for the go command.
func mutate(folder, work string) ([]*mutant, string, error) {
	paths, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil || len(paths) == 0 {
		return nil, "", fmt.Errorf("no Go file in %s: is this the repository's root? %w", folder, err)
	}
	slices.Sort(paths)
	var all []*mutant
	replace := map[string]string{}
	put := func(path, text string) error {
		abs, err := filepath.Abs(path)
		if err != nil {
			return err
		}
		replace[abs] = filepath.Join(work, filepath.Base(path))
		return os.WriteFile(replace[abs], []byte(text), 0o600)
	}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		text, err := rewrite(path, &all)
		if err == nil {
			err = put(path, text)
		}
		if err != nil {
			return nil, "", err
		}
	}
	if err := put(filepath.Join(folder, "mutant_switch.go"), fmt.Sprintf(helpers, filepath.Base(folder))); err != nil {
		return nil, "", err
	}
	overlay := filepath.Join(work, "overlay.json")
	text, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return nil, "", err
	}
	return all, overlay, os.WriteFile(overlay, text, 0o600)
}

// rewrite returns the text of a file with a switch at each site.
func rewrite(path string, all *[]*mutant) (string, error) {
	source, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	f := &file{name: filepath.Base(path), source: source, fset: token.NewFileSet(), inside: map[ast.Expr]string{}, count: map[string]int{}, mutants: all}
	parsed, err := parser.ParseFile(f.fset, path, source, parser.SkipObjectResolution)
	if err != nil {
		return "", err
	}
	for _, decl := range parsed.Decls {
		name := "(file " + f.name + ")"
		if fn, ok := decl.(*ast.FuncDecl); ok {
			name = fn.Name.Name
		}
		ast.Inspect(decl, func(n ast.Node) bool {
			if e, ok := n.(ast.Expr); ok && isSite(e) {
				f.sites = append(f.sites, e)
				f.inside[e] = name
			}
			return true
		})
	}
	slices.SortStableFunc(f.sites, func(a, b ast.Expr) int { return int(a.Pos() - b.Pos()) })
	return f.text(0, len(source), nil), nil
}

func isSite(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.BinaryExpr:
		return others[e.Op] != nil
	case *ast.UnaryExpr:
		return e.Op == token.NOT
	case *ast.Ident:
		return e.Name == "true" || e.Name == "false"
	}
	return false
}

func (f *file) at(p token.Pos) int { return f.fset.Position(p).Offset }

// text returns the source between two offsets with its outermost sites
// rewritten, except the one that is being rewritten already.
func (f *file) text(from, to int, but ast.Expr) string {
	var out strings.Builder
	for _, e := range f.sites {
		start, end := f.at(e.Pos()), f.at(e.End())
		if e == but || start < from || end > to {
			continue
		}
		out.Write(f.source[from:start])
		out.WriteString(f.site(e))
		from = end
	}
	out.Write(f.source[from:to])
	return out.String()
}

func (f *file) operand(e ast.Expr, of ast.Expr) string {
	return f.text(f.at(e.Pos()), f.at(e.End()), of)
}

// site returns the text of a site with its switches.
func (f *file) site(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.BinaryExpr:
		return f.binary(e)
	case *ast.UnaryExpr:
		id := f.add(e, "!")
		x := f.operand(e.X, e)
		return fmt.Sprintf("mutantPick(%d, %s, !%s)", id, x, x)
	default:
		name := string(f.source[f.at(e.Pos()):f.at(e.End())])
		id := f.add(e, map[string]string{"true": "false", "false": "true"}[name])
		return fmt.Sprintf("mutantPick(%d, !%s, %s)", id, name, name)
	}
}

func (f *file) binary(e *ast.BinaryExpr) string {
	ids := make([]int, len(others[e.Op]))
	for i, op := range others[e.Op] {
		ids[i] = f.add(e, op.String())
	}
	x, y := f.operand(e.X, e), f.operand(e.Y, e)
	if e.Op == token.LAND || e.Op == token.LOR { // the right side is evaluated only where it was
		op := others[e.Op][0]
		return fmt.Sprintf("(mutantIs(%d) && (%s %s %s) || !mutantIs(%d) && (%s %s %s))", ids[0], x, op, y, ids[0], x, e.Op, y)
	}
	text := fmt.Sprintf("%s %s %s", x, e.Op, y)
	for i, op := range others[e.Op] {
		text = fmt.Sprintf("mutantPick(%d, %s %s %s, %s)", ids[i], x, op, y, text)
	}
	return text
}

// add makes a mutant of a site and returns its number.
func (f *file) add(e ast.Expr, to string) int {
	from := strings.Join(strings.Fields(string(f.source[f.at(e.Pos()):f.at(e.End())])), " ")
	m := &mutant{id: len(*f.mutants) + 1, function: f.inside[e], from: from, to: to}
	m.place = fmt.Sprintf("%s/%s:%d", target, f.name, f.fset.Position(e.Pos()).Line)
	key := m.String()
	f.count[key]++
	m.nth = f.count[key]
	*f.mutants = append(*f.mutants, m)
	return m.id
}
