package main

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"bayward/agent/words"
)

// TestHelpInEveryLanguage: every command, flag and argument has its help in every language, none
// has one in the code, and every help in the words belongs to one.
func TestHelpInEveryLanguage(t *testing.T) {
	for _, language := range words.Languages() {
		v := words.New(language, "")
		built, err := kong.New(&cli{}, kong.Name("bayward"), kong.Vars{"version": "x"})
		require.NoError(t, err)
		var look func(n *kong.Node, visit func(of, help string))
		look = func(n *kong.Node, visit func(of, help string)) {
			visit(n.Path(), n.Help)
			for _, f := range n.Flags {
				visit(n.Path()+" --"+f.Name, f.Help)
			}
			for _, a := range n.Positional {
				visit(n.Path()+" "+a.Name, a.Help)
			}
			for _, c := range n.Children {
				look(c, visit)
			}
		}
		look(built.Model.Node, func(of, help string) {
			if !strings.HasSuffix(of, "--help") { // the library's own
				require.Empty(t, help, "%s: its help is in the code; agent/words has it", of)
			}
		})
		describe(built.Model.Node, "", v)
		look(built.Model.Node, func(of, help string) {
			if of != "" && of != "bayward" {
				require.NotEmpty(t, help, of)
			}
			require.NotContains(t, help, "⟦", "%s: no help for %s", language, of)
			require.NotContains(t, help, "${", "%s: %s", language, of)
		})
	}
}

// TestTheTerminalsLanguage follows POSIX.1-2017, Base Definitions, section 8.2: LC_ALL goes before
// LC_MESSAGES, and that before LANG.
func TestTheTerminalsLanguage(t *testing.T) {
	for env, want := range map[string]string{
		"": "en", "LANG=es_ES.UTF-8": "es", "LANG=es": "es", "LANG=C": "en", "LANG=xx_YY": "en",
		"LANG=en_GB.UTF-8 LC_MESSAGES=es_MX.UTF-8": "es", "LANG=es_ES LC_ALL=C.UTF-8": "en", "LC_ALL= LANG=es_ES": "es",
	} {
		v := voiceOfTerminal(func(name string) string {
			for pair := range strings.FieldsSeq(env) {
				if key, value, _ := strings.Cut(pair, "="); key == name {
					return value
				}
			}
			return ""
		})
		require.Equal(t, want, v.Language(), env)
	}
}

// TestSpanishTerminal: help and complaints are in the language of the terminal, and the files of the
// package are not.
func TestSpanishTerminal(t *testing.T) {
	run := func(args ...string) string {
		var out bytes.Buffer
		execute(t.Context(), args, &program{strings.NewReader(""), &out, &out, words.New("es", "")})
		return out.String()
	}
	require.Contains(t, run("run", "--help"), "Todo lo desconocido bloquea la carga.")
	require.Contains(t, run("records", "list", "--help"), "packs,charges,")
	require.Contains(t, run("--help"), "No es un dispositivo de seguridad certificado")
	require.Contains(t, run("manual", "--date", "2026-03-01"), "Look after the bays of this machine until stopped.")
}

var sentence = regexp.MustCompile(`[A-Za-z]{2,}[,;:]? [a-z]{2,}[,;:]? [a-z]{2,}`)

// worded are the folders of which everything that a person reads is in agent/words.
var worded = []string{".", "records", "replay"}

// unworded are those of their files that hold English for programs, or names.
var unworded = map[string]string{
	"records/dataset.go": "a dataset is published, in English",
	"records/http.go":    "the answers of the HTTP interface are for programs",
	"records/orders.go":  "names of columns",
	"records/tables.go":  "names of columns",
}

// wordedFiles are their sources.
func wordedFiles(t *testing.T) (all []string) {
	t.Helper()
	for _, folder := range worded {
		names, err := filepath.Glob(filepath.Join(folder, "*.go"))
		require.NoError(t, err)
		names = slices.DeleteFunc(names, func(name string) bool {
			return strings.HasSuffix(name, "_test.go") || unworded[filepath.ToSlash(name)] != ""
		})
		require.NotEmpty(t, names, folder)
		all = append(all, names...)
	}
	return all
}

// TestNoSentenceInTheCommands: what a person reads of a command is in agent/words. Logs are for
// machines and for those who look after the program, and are English; so is what says "bug:".
func TestNoSentenceInTheCommands(t *testing.T) {
	looked := 0
	for _, name := range wordedFiles(t) {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr: // a log, the panic about a bug, and names of columns
				if f, ok := n.Fun.(*ast.SelectorExpr); ok && (f.Sel.Name == "Info" || f.Sel.Name == "Warn") {
					return false
				}
				if f, ok := n.Fun.(*ast.Ident); ok && (f.Name == "panic" || f.Name == "fieldsOf") {
					return false
				}
			case *ast.Field:
				return n.Tag == nil
			case *ast.BasicLit:
				looked++
				if n.Kind == token.STRING && sentence.MatchString(n.Value) && !strings.HasPrefix(n.Value, `"bug: `) {
					t.Errorf("%s: %s belongs into agent/words", name, n.Value)
				}
			}
			return true
		})
	}
	require.Greater(t, looked, 100, "the search is broken")
}

// TestWordsOfTheCommands: every key that a command names is there.
func TestWordsOfTheCommands(t *testing.T) {
	found := 0
	for _, name := range wordedFiles(t) {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, match := range regexp.MustCompile(`\bwords\.(?:Of|Fail)\("([a-z0-9.-]+)"[,)]`).FindAllStringSubmatch(string(text), -1) {
			found++
			require.True(t, words.EnglishSI().Has(match[1]), "%s: agent/words has no %s", name, match[1])
		}
		for _, match := range regexp.MustCompile(`\b(?:wrong|failed)\("([a-z0-9-]+)"`).FindAllStringSubmatch(string(text), -1) {
			found++
			require.True(t, words.EnglishSI().Has("usage."+match[1]), "%s: agent/words has no usage.%s", name, match[1])
		}
	}
	require.Greater(t, found, 30, "the search is broken")
}
