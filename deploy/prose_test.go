package deploy_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// calques are words and turns that the project's own English does without, each
// with what to write instead. The first group are names that were replaced; the
// second reads like a translation.
var calques = []struct{ not, but string }{
	{`vent[ _-]floor|VentFloor`, "bottom of the vent well"},
	{`cover fill|cover[ _-]fill|CoverFill`, "cover the plates first"},
	{`(target|charge)[ _]cover|(Target|Charge)Cover|cover_(mm|before|after|high)|CoverMM`, "level, fill mark, lowest level for charging"},
	{`\bdip[ _-]?(rule|reading|again|before|after|mm)`, "level rod, level reading"},
	{`with[h](o|e)ld(s|ing)?`, "block, blocked"},
	{`take(s|n)? back (a|the) hold`, "remove the hold"},
	{`\bsettling\b`, "checking"},

	{`\bmend(s|ed|ing)?\b`, "fix, repair"},
	{`\b(lay|lays|laid|laying) (it |them |this )?by\b`, "store, set aside"},
	{`\bfor ever\b`, "forever"},
	{`(hours|days|weeks|minutes|months|seconds|years) on end\b`, "in a row"},
	{`\banew\b`, "again"},
	{`\b(speak|speaks|spoke|speaking) against\b`, "contradict, block"},
	{`competent person`, "qualified electrician"},
	{`[Ee]lectrolyte stands at`, "Level is … below the plate tops"},
	{`[Tt]he contactor rests`, "Contactor off-time"},
	{`must be good for .{1,12} more`, "Checking readings: … left"},
	{`still gives current`, "The charger is still on"},
}

// kept says which files may carry these words: what was published elsewhere, and
// what reads or holds a record as an earlier version wrote it.
var kept = regexp.MustCompile(`^(testdata/|agent/logbook/(schema/000[1-5]\.sql|testdata/|rename(_test)?\.go)|go\.sum|deploy/prose_test\.go|dashboards/pictures/|.*/package-lock\.json|.*/uplot/)`)

func findForeign(name, text string) (found []string) {
	if !anyForeign.MatchString(text) { // nearly all files: one pass instead of one for each row
		return nil
	}
	for i, line := range strings.Split(text, "\n") {
		for j, re := range foreignREs {
			if hit := re.FindString(line); hit != "" {
				found = append(found, name+":"+strconv.Itoa(i+1)+": "+hit+": write "+calques[j].but)
			}
		}
	}
	return found
}

var foreignREs = func() (all []*regexp.Regexp) {
	for _, f := range calques {
		all = append(all, regexp.MustCompile(`(?i:`+f.not+`)`))
	}
	return all
}()

// anyForeign matches where one of calques does.
var anyForeign = func() *regexp.Regexp {
	var all []string
	for _, f := range calques {
		all = append(all, f.not)
	}
	return regexp.MustCompile(`(?i:` + strings.Join(all, "|") + `)`)
}()

// TestTheTreeSpeaksOneLanguage reads every text file that git knows.
func TestTheTreeSpeaksOneLanguage(t *testing.T) {
	listed, err := exec.CommandContext(t.Context(), "git", "-C", "..", "ls-files", "-z", "--cached", "--others", "--exclude-standard").Output()
	require.NoError(t, err)
	read := 0
	for _, name := range strings.Split(strings.TrimRight(string(listed), "\x00"), "\x00") {
		if kept.MatchString(name) {
			continue
		}
		text, err := os.ReadFile(filepath.Join("..", name))
		if os.IsNotExist(err) || bytes.IndexByte(text, 0) >= 0 {
			continue
		}
		require.NoError(t, err)
		read++
		for _, f := range findForeign(name, string(text)) {
			t.Error(f)
		}
	}
	require.Greater(t, read, 400, "the search is broken")
}

// TestForeignWordsAreSeen shows that the check above can fail.
func TestForeignWordsAreSeen(t *testing.T) {
	for _, line := range []string{
		"the vent floor", "charge_cover_mm: 3", "a dip rule", "dip_before_mm", "Charge withheld", "withholds", "Take back the hold", "stage settling",
		"it is mended", "laid by", "for ever", "two hours on end", "made anew", "Nothing speaks against a charge", "a competent person",
		"Electrolyte stands at -4.8 mm", "Readings must be good for 30 s more.", "The contactor rests", "the charger still gives current",
	} {
		require.NotEmpty(t, findForeign("f", line), line)
	}
	for _, line := range []string{"recommend", "the supply dips", "settled level", "amendment", "at one end", "cover the plates"} {
		require.Empty(t, findForeign("f", line), line)
	}
}
