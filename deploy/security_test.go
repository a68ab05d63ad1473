package deploy_test

import (
	"fmt"
	"go/ast"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestSecurityStatement: the statement says that it is no certification, has a row for each of the 13
// provisions of ETSI EN 303 645, clause 5 (from memory), and names only tests that exist.
func TestSecurityStatement(t *testing.T) {
	text := readFile(t, "security.md")
	if !strings.Contains(text, "This is no certification and no declaration of conformity.") {
		t.Error("it does not say what it is not")
	}
	var got, want []string
	for _, m := range regexp.MustCompile(`(?m)^\| (5\.[0-9]+) `).FindAllStringSubmatch(text, -1) {
		got = append(got, m[1])
	}
	for n := range 13 {
		want = append(want, fmt.Sprint("5.", n+1))
	}
	if !slices.Equal(got, want) {
		t.Errorf("provisions: got %q, want %q", got, want)
	}

	tests := map[string]bool{}
	_, files := repository(t)
	for _, f := range files {
		for _, d := range f.ast.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && f.test {
				tests[fn.Name.Name] = true
			}
		}
	}
	named := regexp.MustCompile("`(Test[A-Za-z0-9]+)`").FindAllStringSubmatch(text, -1)
	for _, m := range named {
		if !tests[m[1]] {
			t.Errorf("there is no test %s", m[1])
		}
	}
	if len(named) < 10 {
		t.Errorf("only %d tests are named", len(named))
	}
}
