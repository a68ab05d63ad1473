package words

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// joinsKey is the key of the words with which a language joins clauses and items:
// like punctuation, they separate the clauses of a sentence.
const joinsKey = "language.joins"

// marked are the keys of the safety texts. A clause that one language has and
// another lacks may cost an eye, so they must have the same number of clauses.
var marked = regexp.MustCompile(`^(aid\..*text|aid\.(call|local)|app\.(cautions|late|lost)|cell\.(add\.\w+|doubt|first|near|over|never|reminder|sure)|` +
	`close\.(clean|missing|read)|confirm\.\w+|do\.\w+|finding\..*\.do|quality\.(lead|refuse|warn)|visit\.open\.(lead|plates)|` +
	`notice\.(visit-forgotten|water-soon|levels-due)\.\w+|water\.note|gravity\.note|hold\.reading|pack\.why|odd\.\w+|sheet\.type\.closed)$`)

var sentenceEnd = regexp.MustCompile(`\S[.?!](\s|$)`)

// sentences returns the number of sentences in a text. An abbreviation does not
// end one.
func sentences(text string) int {
	return len(sentenceEnd.FindAllString(strings.NewReplacer("EE. UU.", "US").Replace(text), -1))
}

// clauses returns the number of clauses and listed items in a text.
func clauses(language, text string) int {
	number := regexp.MustCompile(`\d[.,]\d`) // a decimal point does not end a clause
	text = number.ReplaceAllString(strings.ToLower(text), "0")
	split := regexp.MustCompile(fmt.Sprintf(`[.,;:?!()]|(^|\s)(%s)(\s|$)`, catalogues[language]().texts[joinsKey]))
	n := 0
	for _, part := range split.Split(text, -1) {
		if strings.TrimSpace(part) != "" {
			n++
		}
	}
	return n
}

// lost names each text of a language whose number of sentences differs from the
// English one, and each safety text whose number of clauses differs.
func lost(language string, texts, english map[string]string) []string {
	var all []string
	for _, key := range slices.Sorted(maps.Keys(english)) {
		if a, b := sentences(english[key]), sentences(texts[key]); a != b {
			all = append(all, fmt.Sprintf("%s: %d sentences, English has %d: %s", key, b, a, texts[key]))
		}
		if !marked.MatchString(key) {
			continue
		}
		if a, b := clauses(English, english[key]), clauses(language, texts[key]); a != b {
			all = append(all, fmt.Sprintf("%s: %d clauses, English has %d: %s", key, b, a, texts[key]))
		}
	}
	return all
}

// TestNoLanguageLosesAClause compares the languages text by text.
func TestNoLanguageLosesAClause(t *testing.T) {
	english := catalogues[English]().texts
	for _, language := range Languages() {
		require.NotEmpty(t, catalogues[language]().texts[joinsKey], "%s.json: %s is missing", language, joinsKey)
		require.Empty(t, lost(language, catalogues[language]().texts, english), "%s.json", language)
	}
}

// TestALostClauseIsNamed removes clauses that translations have lost before.
func TestALostClauseIsNamed(t *testing.T) {
	english := catalogues[English]().texts
	for key, words := range map[string]string{
		"finding.held.do":            " y nadie trabaje en la batería",
		"finding.hydrogen-high.do":   "; un sensor sin lectura no significa aire limpio",
		"finding.plates-bare.do":     " Abra una visita.",
		"finding.voltage-unknown.do": "compruebe primero el convertidor, ",
		"quality.lead":               ", nunca ácido",
		"confirm.caps":               ", respiraderos libres",
		"says.charging.full":         " El cargador sigue encendido.",
	} {
		texts := maps.Clone(catalogues["es"]().texts)
		require.Contains(t, texts[key], words)
		texts[key] = strings.Replace(texts[key], words, "", 1)
		found := lost("es", texts, english)
		require.NotEmpty(t, found, key)
		require.True(t, strings.HasPrefix(found[0], key+":"), found)
	}
}
