package config

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/words"
	"bayward/sensors/level"
)

// sources are the package's own Go files.
func sources(t *testing.T) string {
	t.Helper()
	names, err := filepath.Glob("*.go")
	require.NoError(t, err)
	var all strings.Builder
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		all.Write(text)
	}
	return all.String()
}

var saidKey = regexp.MustCompile(`\b(?:say|fault)\("([a-z0-9-]+)"`)

// TestEveryComplaintIsWorded: what the code says has a sentence. A complaint takes a sentence
// and no text, so the compiler finds one that is written in the code.
func TestEveryComplaintIsWorded(t *testing.T) {
	found := saidKey.FindAllStringSubmatch(sources(t), -1)
	require.Greater(t, len(found), 150, "the search is broken")
	for _, match := range found {
		require.True(t, words.EnglishSI().Has("config."+match[1]), "agent/words has no config.%s", match[1])
	}
	for _, kind := range level.Kinds() {
		if code := kind.Rods().Code; code != "" {
			require.True(t, words.EnglishSI().Has("config.level."+code), code)
		}
	}
}

// symbols are what follows bounds and is the same in every language.
var symbols = regexp.MustCompile(`^(%|[A-Za-z°Ω]{0,3}|K/h)$`)

// TestEveryUnitIsWorded: what follows the bounds of a key is a symbol or a text of the words.
func TestEveryUnitIsWorded(t *testing.T) {
	check := func(of, text string) {
		bare := strings.TrimLeft(text, " ,:")
		require.True(t, symbols.MatchString(bare) || words.EnglishSI().Has("config."+restKey(bare)), "%s: agent/words has no config.%s for %q", of, restKey(bare), bare)
	}
	for _, p := range places(reflect.TypeFor[Config](), "", nil) {
		switch r := &p.rule; {
		case !p.ruled:
		case r.ranged:
			check(p.field, r.text[len(rangeForm.FindString(r.text)):])
		default:
			_, after, _ := strings.Cut(r.text, " or "+r.choices[len(r.choices)-1])
			check(p.field, after)
		}
	}
	for i := range bay.LimitTable {
		check(bay.LimitTable[i].Key, bay.LimitTable[i].Unit)
	}
	for _, kind := range level.Kinds() {
		for _, key := range kind.Keys() {
			check(key.Name, key.Unit)
		}
	}
	for _, key := range level.RodKeys {
		check(key.Name, key.Unit)
	}
}

// english are words that no sentence of another language has.
var english = regexp.MustCompile(`\b(must|the|and|with|which|only|left|such|accepted)\b`)

// inEveryLanguage words complaints in each language.
func inEveryLanguage(t *testing.T, err error) {
	t.Helper()
	for _, language := range words.Languages() {
		text := words.New(language, "").Error(err)
		require.NotContains(t, text, "⟦")
		require.NotContains(t, text, "%!")
		if language != words.English && !strings.Contains(text, "YAML") { // the library's own words
			require.Empty(t, english.FindAllString(quotedForm.ReplaceAllString(text, ""), -1), "%s: %s", language, text)
		}
	}
}

var quotedForm = regexp.MustCompile("\"[^\"]*\"|`[^`]*`")
