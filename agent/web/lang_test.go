package web

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/order"
	"bayward/agent/words"
)

// TestEveryKeyIsThere: every key that pages and code use exists.
func TestEveryKeyIsThere(t *testing.T) {
	asked := regexp.MustCompile(`(?:Say\(|\bt |f\.bad\([a-zA-Z]+(?:\.[a-zA-Z]+)?, )"([a-z]+\.[a-z.-]+[a-z])"`)
	used := map[string]bool{}
	for _, pattern := range []string{"*.go", "page/*.html", "../words/*.go"} {
		paths, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, path := range paths {
			source, err := os.ReadFile(path)
			require.NoError(t, err)
			for _, found := range asked.FindAllStringSubmatch(string(source), -1) {
				used[found[1]] = true
				require.NotContains(t, words.New(words.English, "").Say(found[1]), "⟦", path)
			}
		}
	}
	require.Greater(t, len(used), 150, "the search is broken")
}

func voices() []words.Voice {
	var all []words.Voice
	for _, language := range words.Languages() {
		for _, units := range words.Systems() {
			all = append(all, words.New(language, units))
		}
	}
	return all
}

func whole(t *testing.T, text string, about ...any) {
	t.Helper()
	require.NotEmpty(t, text, "%v", about)
	require.NotContains(t, text, "⟦", "%v", about)
	require.NotContains(t, text, "%!", "%v", about)
}

// TestEveryChoiceIsSaid: each role, and the hint for a visit at each stage, has a
// text.
func TestEveryChoiceIsSaid(t *testing.T) {
	for _, v := range voices() {
		for stage := bay.StageUnknown; stage < bay.NumStages; stage++ {
			whole(t, visitHint(&bay.Picture{Stage: stage}, v), stage)
		}
		for _, r := range order.Rights() {
			whole(t, v.Say("role."+r.String()))
		}
	}
}

// TestPageOffersEveryChoice: the page lists each language and each system of units
// once, by its own name.
func TestPageOffersEveryChoice(t *testing.T) {
	for _, v := range voices() {
		chosen := 0
		for _, c := range append(languages(v), systems(v)...) {
			whole(t, c.Own, c.Name)
			if c.Chosen {
				chosen++
			}
		}
		require.Equal(t, 2, chosen)
		require.Len(t, languages(v), len(words.Languages()))
		require.Len(t, systems(v), len(words.Systems()))
	}
}

// TestAdviceIsSaid: the page shows every doubt about a full charge and every reason
// to equalize, and nothing if there is none. None of them changes what the page
// calls for.
func TestAdviceIsSaid(t *testing.T) {
	for _, v := range voices() {
		p := &bay.Picture{}
		require.Empty(t, advice(v, p))
		calm := words.UrgencyOf(p)
		for p.Charge.Doubt = charge.NoDoubt + 1; p.Charge.Doubt.String() != ""; p.Charge.Doubt++ {
			for due := charge.NotDue + 1; due.String() != ""; due++ {
				p.Charge.Equalize.Due = due
				all := advice(v, p)
				require.Len(t, all, 2)
				for _, a := range all {
					whole(t, a.Name)
					whole(t, a.Text, p.Charge.Doubt, due)
				}
				require.Equal(t, calm, words.UrgencyOf(p))
			}
		}
		require.Equal(t, charge.ContactAlone+1, p.Charge.Doubt)
	}
}
