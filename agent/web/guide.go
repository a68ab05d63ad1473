package web

import (
	"bytes"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
)

// guideStart is the guide's first document.
const guideStart = "wiring.md"

type guidePage struct {
	base
	Body template.HTML
}

// guide serves a document or a drawing of the wiring guide.
func (s *server) guide(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("document")
	if name == "" {
		http.Redirect(w, r, "/guide/"+guideStart, http.StatusFound)
		return
	}
	source, err := fs.ReadFile(s.Guide, name)
	switch {
	case err != nil:
		s.nothing(w, r)
	case path.Ext(name) == ".md":
		body, err := s.rendered(name, source)
		if err != nil {
			s.fail(w, r, *failed(http.StatusInternalServerError, "guide", err.Error()))
			return
		}
		s.write(w, r, http.StatusOK, "guide", guidePage{s.base(r, s.view(r).Say("guide.title")), body})
	default:
		http.ServeContent(w, r, path.Base(name), time.Time{}, bytes.NewReader(source))
	}
}

// markdown is what the guide is written in. Raw HTML in it stays text.
var markdown = goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID()))

// rendered returns a document as HTML. A link to what is not served becomes its text, and
// a drawing a link to itself alone: on a phone its labels are small.
func (s *server) rendered(name string, source []byte) (template.HTML, error) {
	doc := markdown.Parser().Parse(text.NewReader(source))
	var (
		dead     []*ast.Link
		drawings []*ast.Image
	)
	err := ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		switch n := n.(type) {
		case *ast.Link:
			if entering && !s.served(name, string(n.Destination)) {
				dead = append(dead, n)
			}
		case *ast.Image:
			if entering {
				drawings = append(drawings, n)
			}
		}
		return ast.WalkContinue, nil
	})
	if err != nil {
		return "", fmt.Errorf("render %s: %w", name, err)
	}
	for _, l := range dead {
		for c := l.FirstChild(); c != nil; c = l.FirstChild() {
			l.Parent().InsertBefore(l.Parent(), l, c)
		}
		l.Parent().RemoveChild(l.Parent(), l)
	}
	for _, drawing := range drawings {
		alone := ast.NewLink()
		alone.Destination = drawing.Destination
		drawing.Parent().ReplaceChild(drawing.Parent(), drawing, alone)
		alone.AppendChild(alone, drawing)
	}
	var out bytes.Buffer
	if err := markdown.Renderer().Render(&out, source, doc); err != nil {
		return "", fmt.Errorf("render %s: %w", name, err)
	}
	return template.HTML(out.String()), nil //nolint:gosec // from the program's own file, without raw HTML
}

// served reports whether a link in a document leads to another of the guide, or within
// the document.
func (s *server) served(from, to string) bool {
	file, _, _ := strings.Cut(to, "#")
	if file == "" {
		return true
	}
	_, err := fs.Stat(s.Guide, path.Join(path.Dir(from), file))
	return err == nil
}
