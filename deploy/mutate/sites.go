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
	pkg      string
	place    string
	function string
	from, to string
	nth      int // among equal mutants of the same function
	killer   string
	tried    int // tests
}

// String names the mutant without its line, so that the name lasts.
func (m *mutant) String() string {
	return fmt.Sprintf("%s: %s: %s -> %s #%d", filepath.Base(m.pkg), m.function, m.from, m.to, m.nth)
}

// others lists the replacements of an operator: its boundary and its opposite.
var others = map[token.Token][]token.Token{
	token.LSS: {token.LEQ, token.GEQ}, token.LEQ: {token.LSS, token.GTR},
	token.GTR: {token.GEQ, token.LEQ}, token.GEQ: {token.GTR, token.LSS},
	token.EQL: {token.NEQ}, token.NEQ: {token.EQL},
	token.LAND: {token.LOR}, token.LOR: {token.LAND},
}

// compares are the functions of helpers that have both mutants of a comparison.
var compares = map[token.Token]string{
	token.LSS: "mutantLess", token.LEQ: "mutantAtMost", token.GTR: "mutantMore", token.GEQ: "mutantAtLeast",
}

// file is one source file whose sites are being rewritten.
type file struct {
	pkg, name string
	source    []byte
	fset      *token.FileSet
	sites     []ast.Expr
	inside    map[ast.Expr]string // function of a site
	count     map[string]int      // of the package
	mutants   *[]*mutant
}

// overlay is what the go command reads in place of the tree.
type overlay struct {
	work    string
	replace map[string]string
}

func (o *overlay) put(path, text string) error {
	abs, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	o.replace[abs] = filepath.Join(o.work, fmt.Sprintf("%d-%s", len(o.replace), filepath.Base(path)))
	return os.WriteFile(o.replace[abs], []byte(text), 0o600)
}

// mutate writes the packages with all their mutants to the work folder. It returns the
// mutants and the overlay file for the go command.
func mutate(pkgs []string, work string) ([]*mutant, string, error) {
	var all []*mutant
	o := &overlay{work, map[string]string{}}
	for _, pkg := range pkgs {
		if err := o.add(pkg, &all); err != nil {
			return nil, "", err
		}
	}
	text, err := json.Marshal(map[string]any{"Replace": o.replace})
	if err != nil {
		return nil, "", err
	}
	name := filepath.Join(work, "overlay.json")
	return all, name, os.WriteFile(name, text, 0o600)
}

// add adds the files of one package.
func (o *overlay) add(pkg string, all *[]*mutant) error {
	paths, err := filepath.Glob(filepath.Join(pkg, "*.go"))
	if err != nil || len(paths) == 0 {
		return fmt.Errorf("no Go file in %s: is this the repository's root? %w", pkg, err)
	}
	slices.Sort(paths)
	count := map[string]int{}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		text, err := rewrite(pkg, path, count, all)
		if err == nil {
			err = o.put(path, text)
		}
		if err != nil {
			return err
		}
	}
	return o.put(filepath.Join(pkg, "mutant_switch.go"), fmt.Sprintf(helpers, filepath.Base(pkg)))
}

// rewrite returns the text of a file with a switch at each site.
func rewrite(pkg, path string, count map[string]int, all *[]*mutant) (string, error) {
	source, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	f := &file{pkg: pkg, name: filepath.Base(path), source: source, fset: token.NewFileSet(), inside: map[ast.Expr]string{}, count: count, mutants: all}
	parsed, err := parser.ParseFile(f.fset, path, source, parser.SkipObjectResolution)
	if err != nil {
		return "", err
	}
	for _, decl := range parsed.Decls {
		name := "(file " + f.name + ")"
		switch d := decl.(type) {
		case *ast.FuncDecl:
			name = receiver(d) + d.Name.Name
		case *ast.GenDecl:
			if d.Tok == token.CONST {
				continue
			}
		}
		ast.Inspect(decl, func(n ast.Node) bool {
			if e, ok := n.(ast.Expr); ok && isSite(e) {
				f.sites = append(f.sites, e)
				f.inside[e] = name
			}
			return !isConst(n)
		})
	}
	slices.SortStableFunc(f.sites, func(a, b ast.Expr) int { return int(a.Pos() - b.Pos()) })
	return f.text(0, len(source), nil), nil
}

// isConst reports whether a node declares constants, which a switch cannot be in.
func isConst(n ast.Node) bool {
	d, ok := n.(*ast.GenDecl)
	return ok && d.Tok == token.CONST
}

// receiver returns the type of a method and a dot, "" for a function.
func receiver(d *ast.FuncDecl) string {
	if d.Recv == nil || len(d.Recv.List) == 0 {
		return ""
	}
	t := d.Recv.List[0].Type
	if star, ok := t.(*ast.StarExpr); ok {
		t = star.X
	}
	if id, ok := t.(*ast.Ident); ok {
		return id.Name + "."
	}
	return ""
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

// site returns the text of a site with its switches. Each operand is in it once.
func (f *file) site(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.BinaryExpr:
		return f.binary(e)
	case *ast.UnaryExpr:
		id := f.add(e, "!")
		return fmt.Sprintf("mutantNot(%d, !%s)", id, f.operand(e.X, e))
	default:
		name := string(f.source[f.at(e.Pos()):f.at(e.End())])
		id := f.add(e, map[string]string{"true": "false", "false": "true"}[name])
		return fmt.Sprintf("mutantNot(%d, %s)", id, name)
	}
}

func (f *file) binary(e *ast.BinaryExpr) string {
	ids := make([]int, len(others[e.Op]))
	for i, op := range others[e.Op] {
		ids[i] = f.add(e, op.String())
	}
	x, y := f.operand(e.X, e), f.operand(e.Y, e)
	switch {
	case e.Op == token.LAND || e.Op == token.LOR:
		// The right side is evaluated only where it was.
		name := map[token.Token]string{token.LAND: "mutantAnd", token.LOR: "mutantOr"}[e.Op]
		return fmt.Sprintf("%s(%d, %s, func() bool { return %s })", name, ids[0], x, y)
	case compares[e.Op] != "":
		return fmt.Sprintf("%s(%d, %s, %s)", compares[e.Op], ids[0], x, y)
	}
	return fmt.Sprintf("mutantNot(%d, %s %s %s)", ids[0], x, e.Op, y)
}

// add makes a mutant of a site and returns its number.
func (f *file) add(e ast.Expr, to string) int {
	from := strings.Join(strings.Fields(string(f.source[f.at(e.Pos()):f.at(e.End())])), " ")
	m := &mutant{id: len(*f.mutants) + 1, pkg: f.pkg, function: f.inside[e], from: from, to: to}
	m.place = fmt.Sprintf("%s/%s:%d", f.pkg, f.name, f.fset.Position(e.Pos()).Line)
	key := m.String()
	f.count[key]++
	m.nth = f.count[key]
	*f.mutants = append(*f.mutants, m)
	return m.id
}
