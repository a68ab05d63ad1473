package deploy_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// wordless are the rooms that give codes and numbers. Sentences for people are
// made from those in agent/words, once for each language.
var wordless = []string{
	"agent/bay", "agent/charge", "agent/cooldown", "agent/interlock", "agent/order", "agent/water", "agent/reading",
	"agent/airflow", "agent/check", "agent/commission", "agent/walk",
}

// spoken are the fields that may hold a sentence there all the same: they document a
// row, in English, and no person is led by them.
var spoken = map[string]bool{
	"ClearWhen": true, "Why": true, "Basis": true, "Source": true, "What": true, "Does": true, "About": true,
	"Description": true, "Confirms": true, "Note": true,
}

// sentence is text as a person reads it: several words and an end.
var sentence = regexp.MustCompile(`[a-z]+ [a-z]+ .*[a-z0-9][.!?]( |$)`)

// sentences finds them in a file. Errors and panics are for programmers.
func sentences(file *ast.File) (found []*ast.BasicLit) {
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.KeyValueExpr:
			if key, ok := n.Key.(*ast.Ident); ok && spoken[key.Name] {
				return false
			}
		case *ast.CallExpr:
			if forProgrammers(n) {
				return false
			}
		case *ast.BasicLit:
			if text, err := strconv.Unquote(n.Value); n.Kind == token.STRING && err == nil && sentence.MatchString(text) {
				found = append(found, n)
			}
		}
		return true
	})
	return found
}

func forProgrammers(call *ast.CallExpr) bool {
	switch fun := call.Fun.(type) {
	case *ast.Ident:
		return fun.Name == "panic"
	case *ast.SelectorExpr:
		return fun.Sel.Name == "Errorf" || fun.Sel.Name == "New"
	}
	return false
}

func TestTheCoreHasNoSentences(t *testing.T) {
	fset, files := repository(t)
	seen := map[string]bool{}
	for _, f := range files {
		for _, room := range wordless {
			if f.pkg != room || f.test {
				continue
			}
			seen[room] = true
			for _, s := range sentences(f.ast) {
				t.Errorf("%s:%d: %s is a sentence: give a code, and word it in agent/words", f.path, fset.Position(s.Pos()).Line, s.Value)
			}
		}
	}
	require.Len(t, seen, len(wordless), "a room of the list has gone")
}

// keyOf matches a key of agent/words, or its beginning, in the rooms whose texts are all
// named by a literal.
var keyOf = regexp.MustCompile(`^(airflow|check|sensor|unwise|walk)\.[a-z0-9_.-]*$`)

// TestEveryTextIsNamed: a key in the code has a text, and a text of these rooms is used.
// A literal that ends with a point is the beginning of keys.
func TestEveryTextIsNamed(t *testing.T) {
	texts, used := map[string]string{}, map[string]bool{}
	data, err := os.ReadFile("../agent/words/en.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &texts))
	_, files := repository(t)
	for _, f := range files {
		ast.Inspect(f.ast, func(n ast.Node) bool {
			literal, ok := n.(*ast.BasicLit)
			if !ok || f.test || literal.Kind != token.STRING {
				return true
			}
			key, err := strconv.Unquote(literal.Value)
			if err != nil || !keyOf.MatchString(key) {
				return true
			}
			found := false
			for text := range texts {
				if text == key || strings.HasSuffix(key, ".") && strings.HasPrefix(text, key) {
					used[text], found = true, true
				}
			}
			if !found {
				t.Errorf("%s: %s has no text in agent/words", f.path, literal.Value)
			}
			return true
		})
	}
	for key := range texts {
		if keyOf.MatchString(key) && !used[key] {
			t.Errorf("agent/words: %s is not used", key)
		}
	}
}

// TestSentencesAreSeen shows that the check above can fail.
func TestSentencesAreSeen(t *testing.T) {
	const source = `package p
var a = Row{Title: "The level is not known.", Why: "Two readings are needed here."}
func f() string { return "No pack is connected at " + "this bay now." }
var err = errors.New("the memory cannot be used. Really.")
`
	file, err := parser.ParseFile(token.NewFileSet(), "p.go", source, 0)
	require.NoError(t, err)
	var got []string
	for _, s := range sentences(file) {
		got = append(got, strings.Trim(s.Value, `"`))
	}
	require.Equal(t, []string{"The level is not known.", "this bay now."}, got)
}
