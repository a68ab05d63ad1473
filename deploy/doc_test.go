package deploy_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strings"
	"testing"
)

func TestEveryPackageHasOneComment(t *testing.T) {
	_, files := repository(t)
	comments := map[string][]string{} // folder to the files that carry its package comment
	for _, f := range files {
		if f.ast.Doc == nil {
			comments[f.pkg] = slices.Clip(comments[f.pkg]) // gives a folder without any an entry
			continue
		}
		comments[f.pkg] = append(comments[f.pkg], f.path)
		start := "Package " + f.ast.Name.Name + " "
		if f.ast.Name.Name != "main" && !strings.HasPrefix(f.ast.Doc.Text(), start) {
			t.Errorf("%s: the package comment begins with %q", f.path, start)
		}
	}
	for folder, found := range comments {
		switch {
		case len(found) == 0:
			t.Errorf("%s: the package has no package comment", folder)
		case len(found) > 1:
			t.Errorf("%s: the package comment is in %d files: %s", folder, len(found), strings.Join(found, ", "))
		}
	}
}

func TestEveryExportedNameIsExplained(t *testing.T) {
	fset, files := repository(t)
	for _, f := range files {
		if f.test || ast.IsGenerated(f.ast) {
			continue
		}
		for _, at := range exported(fset, f.ast) {
			t.Errorf("%s:%d: exported %s has no comment", f.path, at.line, at.name)
		}
	}
}

// TestBareNamesAreSeen shows that the check above can fail.
func TestBareNamesAreSeen(t *testing.T) {
	const source = `package p
type Bare struct { Field int }
// Documented is explained.
type Documented interface { M() }
type hidden struct { X int }
func (Documented) Func() {}
func (hidden) Func() {}
func Free() {}
// The group is explained.
const ( One = 1; Two = 2 )
var V = 1
`
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, "p.go", source, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, at := range exported(fset, file) {
		got = append(got, at.name)
	}
	want := []string{"Bare", "Documented.M", "Documented.Func", "Free", "V"}
	if !slices.Equal(got, want) {
		t.Errorf("bare names: got %q, want %q", got, want)
	}
}

// bareName is an exported name without a comment, and its line.
type bareName struct {
	name string
	line int
}

// survey walks one file's exported names.
type survey struct {
	fset *token.FileSet
	bare []bareName
}

// exported returns a file's exported names that have no comment.
func exported(fset *token.FileSet, file *ast.File) []bareName {
	s := survey{fset: fset}
	for _, decl := range file.Decls {
		switch decl := decl.(type) {
		case *ast.FuncDecl:
			s.function(decl)
		case *ast.GenDecl:
			for _, spec := range decl.Specs {
				s.spec(decl, spec)
			}
		}
	}
	return s.bare
}

func (s *survey) name(prefix string, id *ast.Ident, comments ...*ast.CommentGroup) {
	if !id.IsExported() {
		return
	}
	for _, c := range comments {
		if strings.TrimSpace(c.Text()) != "" {
			return
		}
	}
	s.bare = append(s.bare, bareName{prefix + id.Name, s.fset.Position(id.Pos()).Line})
}

func (s *survey) function(decl *ast.FuncDecl) {
	prefix := ""
	if decl.Recv != nil {
		receiver := receiverName(decl.Recv.List[0].Type)
		if !ast.IsExported(receiver) {
			return
		}
		prefix = receiver + "."
	}
	s.name(prefix, decl.Name, decl.Doc)
}

func receiverName(expr ast.Expr) string {
	switch expr := expr.(type) {
	case *ast.StarExpr:
		return receiverName(expr.X)
	case *ast.IndexExpr:
		return receiverName(expr.X)
	case *ast.IndexListExpr:
		return receiverName(expr.X)
	case *ast.Ident:
		return expr.Name
	}
	return ""
}

func (s *survey) spec(decl *ast.GenDecl, spec ast.Spec) {
	switch spec := spec.(type) {
	case *ast.ValueSpec:
		for _, id := range spec.Names {
			s.name("", id, decl.Doc, spec.Doc, spec.Comment)
		}
	case *ast.TypeSpec:
		// The comment of a group of types does not document each type.
		docs := []*ast.CommentGroup{spec.Doc, spec.Comment}
		if !decl.Lparen.IsValid() {
			docs = append(docs, decl.Doc)
		}
		s.name("", spec.Name, docs...)
		if spec.Name.IsExported() {
			s.methods(spec)
		}
	}
}

// methods checks an interface's methods. Struct fields are not checked: the type's comment and their
// names, which carry units, document them, and review covers the rest.
func (s *survey) methods(spec *ast.TypeSpec) {
	kind, ok := spec.Type.(*ast.InterfaceType)
	if !ok {
		return
	}
	for _, method := range kind.Methods.List {
		for _, id := range method.Names {
			s.name(spec.Name.Name+".", id, method.Doc, method.Comment)
		}
	}
}
