package deploy_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const module = "bayward"

// goFile is one parsed file of the repository.
type goFile struct {
	path string // from the repository's root, with slashes
	pkg  string // folder from the root: "agent/bay"
	test bool
	ast  *ast.File
}

// repository parses every Go file below the root that the go tool would build.
func repository(t *testing.T) (*token.FileSet, []goFile) {
	t.Helper()
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	fset, files := token.NewFileSet(), []goFile(nil)
	err = fs.WalkDir(os.DirFS(root), ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() {
			return skipFolder(root, path)
		}
		if filepath.Ext(path) != ".go" {
			return nil
		}
		parsed, err := parser.ParseFile(fset, filepath.Join(root, path), nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		files = append(files, goFile{path, filepath.ToSlash(filepath.Dir(path)), strings.HasSuffix(path, "_test.go"), parsed})
		return nil
	})
	if err != nil {
		t.Fatalf("read the repository: %v", err)
	}
	if len(files) == 0 {
		t.Fatal("no Go file found: the walk is broken")
	}
	return fset, files
}

// skipFolder skips what the go tool skips: hidden folders, test data, other modules.
func skipFolder(root, path string) error {
	name := filepath.Base(path)
	if _, err := os.Stat(filepath.Join(root, path, "go.mod")); err == nil && path != "." {
		return fs.SkipDir
	}
	hidden := path != "." && (strings.HasPrefix(name, ".") || strings.HasPrefix(name, "_"))
	if hidden || name == "testdata" || name == "node_modules" || path == "dist" {
		return fs.SkipDir
	}
	return nil
}

// imports returns the paths that a file imports.
func (f goFile) imports() []string {
	var paths []string
	for _, spec := range f.ast.Imports {
		paths = append(paths, strings.Trim(spec.Path.Value, `"`))
	}
	return paths
}

// local returns an import's folder in this repository, or "" for a foreign one.
func local(path string) string {
	folder, ok := strings.CutPrefix(path, module+"/")
	if !ok {
		return ""
	}
	return folder
}

// within reports whether a folder is one of the roots or is below one.
func within(folder string, roots ...string) bool {
	return slices.ContainsFunc(roots, func(root string) bool {
		return folder == root || strings.HasPrefix(folder, root+"/")
	})
}

// badNames are names without a subject; their content belongs in a package or file named after its
// subject.
var badNames = []string{"util", "utils", "common", "helper", "helpers", "types", "models", "misc", "base", "shared"}

func TestNames(t *testing.T) {
	_, files := repository(t)
	fileName := regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*\.go$`)
	folderName := regexp.MustCompile(`^[a-z][a-z0-9]*$`)
	for _, f := range files {
		name := filepath.Base(f.path)
		if !fileName.MatchString(name) {
			t.Errorf("%s: a file name must be lower-case words and digits joined by _", f.path)
		}
		subject := strings.TrimSuffix(strings.TrimSuffix(name, ".go"), "_test")
		if slices.Contains(badNames, subject) {
			t.Errorf("%s: %q names no subject", f.path, subject)
		}
		for folder := range strings.SplitSeq(f.pkg, "/") {
			if !folderName.MatchString(folder) || slices.Contains(badNames, folder) {
				t.Errorf("%s: a folder name must be a subject in one lower-case word, not %q", f.path, folder)
			}
		}
	}
}

// maxLines keeps a file to one subject. The aim is 300; a file longer than this has two.
const maxLines = 400

func TestFileLength(t *testing.T) {
	fset, files := repository(t)
	for _, f := range files {
		if f.test || ast.IsGenerated(f.ast) {
			continue
		}
		if lines := fset.File(f.ast.FileStart).LineCount(); lines > maxLines {
			t.Errorf("%s: %d lines, more than %d: split it by subject", f.path, lines, maxLines)
		}
	}
}
