package web

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

var verb = regexp.MustCompile(`%(\.\d)?(\[\d\])?[a-z%]`)

// TestEveryLanguageSaysEverything: the same keys with the same values in them,
// and none empty.
func TestEveryLanguageSaysEverything(t *testing.T) {
	langs := newLangs()
	require.Len(t, langs, len(Languages()))
	base := langs[Languages()[0]].words
	for _, name := range Languages()[1:] {
		other := langs[name].words
		for key, text := range base {
			require.Contains(t, other, key, name)
			require.NotEmpty(t, other[key], "%s: %s", name, key)
			require.Equal(t, verbs(text), verbs(other[key]), "%s: %s", name, key)
		}
		for key := range other {
			if !strings.HasPrefix(key, "finding.") || key == "finding.for" {
				require.Contains(t, base, key, "%s has a key that nobody else has", name)
			}
		}
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			for _, part := range []string{".title", ".do"} {
				require.NotEmpty(t, other["finding."+c.String()+part], "%s does not name the finding %s", name, c)
			}
		}
	}
}

func verbs(text string) []string {
	all := verb.FindAllString(text, -1)
	slices.Sort(all)
	return all
}

// TestEveryKeyIsThere: what pages and code ask for.
func TestEveryKeyIsThere(t *testing.T) {
	words := newLangs()[Languages()[0]].words
	asked := regexp.MustCompile(`(?:say\(|\bt |f\.bad\([a-zA-Z]+(?:\.[a-zA-Z]+)?, )"([a-z]+\.[a-z.-]+[a-z])"`)
	used := map[string]bool{}
	for _, pattern := range []string{"*.go", "page/*.html"} {
		paths, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, path := range paths {
			source, err := os.ReadFile(path)
			require.NoError(t, err)
			for _, found := range asked.FindAllStringSubmatch(string(source), -1) {
				used[found[1]] = true
				require.Contains(t, words, found[1], path)
			}
		}
	}
	require.Greater(t, len(used), 150, "the search is broken")
}

// views are all ways to read.
func views() []view {
	var all []view
	for _, l := range newLangs() {
		all = append(all, view{l, false}, view{l, true})
	}
	return all
}

func whole(t *testing.T, text string, about ...any) {
	t.Helper()
	require.NotEmpty(t, text, "%v", about)
	require.NotContains(t, text, "⟦", "%v", about)
	require.NotContains(t, text, "%!", "%v", about)
}

// TestEveryFindingIsExplained: in every language and unit, whatever its reason
// and fault; the English one says the same numbers as the core's own sentence.
func TestEveryFindingIsExplained(t *testing.T) {
	number := regexp.MustCompile(`-?\d+(\.\d+)?`)
	for _, v := range views() {
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			whole(t, v.title(c))
			whole(t, v.whatToDo(c))
			for reason := interlock.Usual; reason <= interlock.ByAmpereHours; reason++ {
				for _, fault := range append(reading.Faults(), reading.None, reading.Missing) {
					e := interlock.Evidence{Value: 4.25, Limit: 17.5, Fault: fault, Reason: reason}
					whole(t, v.explain(c, e), c, reason, fault)
				}
			}
			if v.name == "en" && !v.us && c != interlock.PlatesBare {
				e := interlock.Evidence{Value: -4, Limit: 3, Fault: reading.None}
				require.Equal(t, number.FindAllString(interlock.Explain(c, e), -1), number.FindAllString(v.explain(c, e), -1), c)
			}
		}
	}
}

// TestEveryStateIsSaid: stages, waits, faults, urgencies and permits.
func TestEveryStateIsSaid(t *testing.T) {
	limits, pack := bay.DefaultLimits(), bay.Pack{Cells: 12}
	for _, v := range views() {
		for stage := bay.StageUnknown; stage < bay.NumStages; stage++ {
			for wait := cooldown.NothingLeft; wait.String() != "an unknown reason"; wait++ {
				for _, yes := range []bool{false, true} {
					p := &bay.Picture{Limits: &limits, Pack: &pack, Stage: stage, Now: time.Hour}
					p.Permit.Granted, p.Charge.Full, p.Charge.Flowing = yes, yes, !yes
					p.Cool.WaitingFor, p.Cool.ReadyKnown, p.Water.ForecastOK, p.Visit.OnlyCoverPlates = wait, yes, yes, yes
					for _, text := range []string{v.says(p), v.next(p), v.toDo(p), v.say("stage." + stage.String()), visitHint(p, v)} {
						whole(t, text, stage, wait)
					}
				}
			}
		}
		for _, f := range append(reading.Faults(), reading.None, reading.Missing) {
			whole(t, v.fault(f))
		}
		for _, u := range []urgency{isDanger, isLook, isTodo, isPerson, isHeld, isRuns, isFine} {
			whole(t, v.say("urgency."+u.Class))
		}
		for _, r := range []Role{Look, Visit, Release} {
			whole(t, v.say("role."+r.String()))
		}
	}
}

// TestAdviceIsSaid: every doubt about full and every reason to equalize, and
// nothing where there is none. None of it changes what the page calls for.
func TestAdviceIsSaid(t *testing.T) {
	for _, v := range views() {
		p := &bay.Picture{}
		require.Empty(t, v.advice(p))
		calm := urgencyOf(p)
		for p.Charge.Doubt = charge.NoDoubt + 1; p.Charge.Doubt.String() != ""; p.Charge.Doubt++ {
			for due := charge.NotDue + 1; due.String() != ""; due++ {
				p.Charge.Equalize.Due = due
				all := v.advice(p)
				require.Len(t, all, 2)
				for _, a := range all {
					whole(t, a.Name)
					whole(t, a.Text, p.Charge.Doubt, due)
				}
				require.Equal(t, calm, urgencyOf(p))
			}
		}
		require.Equal(t, charge.DrawsTooMuch+1, p.Charge.Doubt)
	}
}

// TestUnitsForPeople: NIST SP 811 (2008), appendix B: 1 in = 25.4 mm, 1 US
// fluid ounce = 29.57353 ml, and °F = 1.8 °C + 32.
func TestUnitsForPeople(t *testing.T) {
	v := view{newLangs()["en"], true}
	require.Equal(t, "1.00 in", v.height(25.4, 0))
	require.Equal(t, "1.0 fl oz (30 ml)", v.volume(29.57353))
	require.Equal(t, "104 °F", v.temperature(40))
	require.Equal(t, "-40 °F", v.temperature(-40))
	require.Equal(t, "18.0 °F", v.degrees(10))
	require.InDelta(t, 25.4, v.lengthMM(1), 1e-12)
	require.InDelta(t, 37.7778, v.degreesC(100), 1e-4)
}

// TestWordsAreSorted keeps two people's changes apart.
func TestWordsAreSorted(t *testing.T) {
	for _, name := range Languages() {
		data, err := files.ReadFile("words/" + name + ".json")
		require.NoError(t, err)
		decoder, keys := json.NewDecoder(strings.NewReader(string(data))), []string(nil)
		for {
			token, err := decoder.Token()
			if err != nil {
				break
			}
			if text, ok := token.(string); ok && decoder.InputOffset() > 0 {
				keys = append(keys, text)
			}
		}
		var only []string
		for i := 0; i < len(keys); i += 2 {
			only = append(only, keys[i])
		}
		require.True(t, slices.IsSorted(only), name)
	}
}
