package web

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/words"
)

// TestNumbersAsPeopleWriteThem: 1 US fluid ounce is 29.57353 ml, 1 in is 25.4 mm and
// °F are 1.8 °C + 32 (NIST SP 811, 2008, appendix B).
func TestNumbersAsPeopleWriteThem(t *testing.T) {
	for _, row := range []struct {
		units string
		of    *order.Field
		text  string
		want  float64
	}{
		{"si", order.MLField, "110", 110}, {"si", order.MLField, " 75,5 ", 75.5}, {"si", order.MLField, "0", 0}, {"si", order.MLField, "110 ml", 110},
		{"si", order.MLField, "3.7 fl oz", 109.422061}, {"si", order.MLField, "2000", 2000},
		{"us", order.MLField, "3.7", 109.422061}, {"us", order.MLField, "3,7", 109.422061}, {"us", order.MLField, "3 1/2", 103.507355},
		{"us", order.MLField, "110ml", 110}, {"us", order.MLField, "3.7 oz", 109.422061}, {"us", order.MLField, "67.628", 1999.99868684},
		{"si", order.LevelField, "13", 13}, {"si", order.LevelField, "13 mm", 13}, {"si", order.LevelField, "1/2 in", 12.7}, {"si", order.LevelField, `1/2"`, 12.7},
		{"us", order.LevelField, "1/2", 12.7}, {"us", order.LevelField, "0.5", 12.7}, {"us", order.LevelField, "0,5", 12.7}, {"us", order.LevelField, ".5", 12.7},
		{"us", order.LevelField, "7/16", 11.1125}, {"us", order.LevelField, "1 3/16", 30.1625}, {"us", order.LevelField, "1-3/16", 30.1625},
		{"us", order.LevelField, "½", 12.7}, {"us", order.LevelField, "1½", 38.1}, {"us", order.LevelField, "1⁄8", 3.175}, {"us", order.LevelField, "1/64 in", 0.396875},
		{"us", order.LevelField, "12 mm", 12}, {"us", order.LevelField, "0", 0},
		{"si", order.GravityField, "1265", 1.265}, {"si", order.GravityField, "1.265", 1.265}, {"si", order.GravityField, "1,265", 1.265},
		{"us", order.GravityField, "1265", 1.265}, {"us", order.GravityField, "1", 1}, {"us", order.GravityField, "1400", 1.4},
		{"si", order.AtCField, "25", 25}, {"si", order.AtCField, "-5", -5}, {"si", order.AtCField, "−5", -5}, {"si", order.AtCField, "77 °F", 25},
		{"us", order.AtCField, "77", 25}, {"us", order.AtCField, "77F", 25}, {"us", order.AtCField, "25 C", 25}, {"us", order.AtCField, "-22", -30},
		{"si", order.USPerCMField, "4,5", 4.5},
	} {
		x, ok := typed(words.New("en", row.units), row.of, row.text)
		require.True(t, ok, "%s %s %q", row.units, row.of.Name, row.text)
		require.InDelta(t, row.want, x, 1e-6, "%s %s %q", row.units, row.of.Name, row.text)
	}
}

// TestWhatIsNoNumber: nothing is guessed.
func TestWhatIsNoNumber(t *testing.T) {
	for _, row := range []struct {
		units string
		of    *order.Field
		texts []string
	}{
		{"si", order.MLField, []string{"", " ", "plenty", "NaN", "Inf", "1e2", "0x10", "-3", "5000", "1.170,5", "1 170", "--5", "+-5", "5-", "ml", "1/2", "110 mm", "1_0", "99999999999999"}},
		{"us", order.MLField, []string{"68", "1/0", "1/3", "3/2", "1/128", "-1/2", "1/", "/2", "1 2 3/4", "3 mm", "2/2"}},
		{"si", order.LevelField, []string{"200.1", "1/2", "½", "12 ml", "7 °C"}},
		{"us", order.LevelField, []string{"8", "1/2/4", "1/2.5", "1.5/4", "a/b", "1234/2", "0x1/2"}},
		{"si", order.GravityField, []string{"0.9", "1.5", "999", "1401", "12650", "126.5", "1/2"}},
		{"us", order.AtCField, []string{"159", "-23", "1/2", "80 mm"}},
	} {
		for _, text := range row.texts {
			x, ok := typed(words.New("en", row.units), row.of, text)
			require.False(t, ok, "%s %s %q was taken as %g", row.units, row.of.Name, text, x)
		}
	}
}

// FuzzTyped: whatever is typed, a number that is taken is within its bounds, is
// the same again with spaces around it, and is never longer than a person writes.
func FuzzTyped(f *testing.F) {
	for _, text := range []string{"110", "3,7", "1 3/16", `1/2"`, "½", "1265", "-5 °C", "NaN", "1e9", "1/0", "fl oz", "₂/4", "\xff/2", "0000000000001"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, v := range voices() {
			for _, of := range order.Fields() {
				if of.IsText() || of.IsWhole() {
					continue
				}
				x, ok := typed(v, of, text)
				if !ok {
					continue
				}
				require.True(t, of.Holds(x), "%s %q: %g", of.Name, text, x)
				require.True(t, strings.ContainsAny(text, "0123456789½¼¾⅛⅜⅝⅞"), "%q", text)
				again, ok := typed(v, of, " "+text+"\t")
				require.True(t, ok && math.Float64bits(again) == math.Float64bits(x), "%q", text)
			}
		}
	})
}
