package words

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// TestEveryGravityIsExplained: each verdict in each language, with the figures that
// led to it, and a reading that does not count is said not to.
func TestEveryGravityIsExplained(t *testing.T) {
	for _, v := range voices() {
		for verdict := charge.NotRead + 1; verdict < charge.NumGravityVerdicts; verdict++ {
			r := &charge.GravityRound{Of: 12, Sound: 3, Low: 1.23, High: 1.28}
			r.Cells[4] = charge.CellGravity{Verdict: verdict, SG25: 1.234, AtMark: 1.221, AtC: 7, PackC: 31, OverFull: -0.056, OverOthers: -0.047, Others: 2}
			text := v.Gravity(r, 5)
			whole(t, text, verdict)
			require.Contains(t, text, v.sg(1.234))
			if say, ok := map[string]string{"en": "It does not count", "es": "No cuenta"}[v.Language()]; ok { // the words of another are not known here
				require.Equal(t, !verdict.Sound(), strings.Contains(text, say), "%s", text)
			}
			whole(t, v.GravityRound(r))
			r.Full = true
			require.Contains(t, v.GravityRound(r), v.sg(0.050))
		}
		require.Empty(t, v.Gravity(&charge.GravityRound{Of: 12}, 5), "not read")
		require.Empty(t, v.Gravity(nil, 5))
		require.Empty(t, v.Gravity(&charge.GravityRound{Of: 12}, 13))
		require.Empty(t, v.GravityRound(nil))
	}
}
