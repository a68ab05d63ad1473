package deploy_test

import (
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
)

// document is what TestLinks needs of a Markdown file.
type document struct {
	links    []string // and pictures
	wordless []string // pictures without a text for who cannot see them
	anchors  []string // of its headings
}

func documentOf(source []byte) (d document) {
	doc := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithParserOptions(parser.WithAutoHeadingID())).
		Parser().Parse(text.NewReader(source))
	_ = ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) { // our function returns no error
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n := n.(type) {
		case *ast.Link:
			d.links = append(d.links, string(n.Destination))
		case *ast.Image:
			d.links = append(d.links, string(n.Destination))
			if n.FirstChild() == nil {
				d.wordless = append(d.wordless, string(n.Destination))
			}
		case *ast.Heading:
			if id, ok := n.AttributeString("id"); ok {
				d.anchors = append(d.anchors, string(id.([]byte))) //nolint:forcetypeassert // goldmark's own
			}
		}
		return ast.WalkContinue, nil
	})
	return d
}

// dead returns the links of a document, in a folder, that lead nowhere in the repository.
func (d *document) dead(folder string, read func(path string) ([]byte, error)) (all []string) {
	for _, link := range d.links {
		to, err := url.Parse(link)
		if err == nil && to.Scheme != "" {
			continue
		}
		anchors := d.anchors
		if err == nil && to.Path != "" {
			path := filepath.Join(folder, to.Path)
			if filepath.Ext(path) == ".md" {
				var source []byte
				source, err = read(path)
				anchors = documentOf(source).anchors
			} else {
				_, err = os.Stat(path)
			}
		}
		if err != nil || to.Fragment != "" && !slices.Contains(anchors, to.Fragment) {
			all = append(all, link)
		}
	}
	return all
}

// TestLinks: each link and picture of each document in the repository leads to a file,
// and to a heading where it names one; each picture has a text.
func TestLinks(t *testing.T) {
	listed, err := exec.CommandContext(t.Context(), "git", "-C", "..", "ls-files", "-z", "--cached", "--others", "--exclude-standard", "*.md").Output()
	require.NoError(t, err)
	links := 0
	for _, name := range strings.Split(strings.TrimRight(string(listed), "\x00"), "\x00") {
		path := filepath.Join("..", name)
		source, err := os.ReadFile(path)
		if os.IsNotExist(err) {
			continue
		}
		require.NoError(t, err)
		d := documentOf(source)
		links += len(d.links)
		for _, link := range d.dead(filepath.Dir(path), os.ReadFile) {
			t.Errorf("%s: %s leads nowhere", name, link)
		}
		for _, picture := range d.wordless {
			t.Errorf("%s: %s has no text for who cannot see it", name, picture)
		}
	}
	require.Greater(t, links, 80, "the search is broken")
}

// TestDeadLinksAreSeen shows that the check above can fail.
func TestDeadLinksAreSeen(t *testing.T) {
	d := documentOf([]byte("# One\n\n[a](#one) [b](#two) [c](gone.md) [d](other.md#three) [e](other.md#four) [f](https://127.0.0.1/x) ![g](gone.png) ![](wiring.md)\n"))
	read := func(path string) ([]byte, error) {
		if path != filepath.Join("in", "other.md") {
			return nil, os.ErrNotExist
		}
		return []byte("## Three\n"), nil
	}
	require.Equal(t, []string{"#two", "gone.md", "other.md#four", "gone.png", "wiring.md"}, d.dead("in", read))
	require.Equal(t, []string{"wiring.md"}, d.wordless)
}
