package opinion

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// hazard is a row of the hazard log.
type hazard struct {
	findings []string // that find it
	within   string
	play     string
}

var quoted = regexp.MustCompile("`([a-z-]+)`")

// hazardLog reads its rows.
func hazardLog(t *testing.T) (rows []hazard) {
	t.Helper()
	text, err := os.ReadFile("../interlock/hazards.md")
	require.NoError(t, err)
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if len(cells) != 7 || !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| hazard |") || strings.HasPrefix(line, "| ---") {
			continue
		}
		row := hazard{within: strings.TrimSpace(cells[3]), findings: words(cells[2])}
		if play := words(cells[6]); len(play) > 0 {
			row.play = play[0]
		}
		rows = append(rows, row)
	}
	return rows
}

// words returns what stands between back quotes.
func words(text string) (all []string) {
	for _, m := range quoted.FindAllStringSubmatch(text, -1) {
		all = append(all, m[1])
	}
	return all
}

// said writes a time as the hazard log does.
func said(d time.Duration) string {
	switch {
	case d == 0:
		return "not at all"
	case d%time.Hour == 0:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	}
	return fmt.Sprintf("%d s", d/time.Second)
}

// hazardOf returns a play's row.
func hazardOf(t *testing.T, play string) hazard {
	t.Helper()
	rows := hazardLog(t)
	i := slices.IndexFunc(rows, func(h hazard) bool { return h.play == play })
	require.NotEqual(t, -1, i, "agent/interlock/hazards.md has no row for the play %q", play)
	return rows[i]
}

// TestTheHazardLogIsPlayed holds the log against the plays: each row names a play that
// exists, or says why there is none.
func TestTheHazardLogIsPlayed(t *testing.T) {
	rows := hazardLog(t)
	require.GreaterOrEqual(t, len(rows), len(plays))
	seen := map[string]bool{}
	for _, row := range rows {
		if row.play == "" {
			continue
		}
		require.True(t, slices.ContainsFunc(plays, func(p play) bool { return p.name == row.play }), "no play %q", row.play)
		require.False(t, seen[row.play], "two rows for %q", row.play)
		seen[row.play] = true
	}
	for _, p := range plays {
		require.Equal(t, said(p.within), hazardOf(t, p.name).within, p.name)
	}
}
