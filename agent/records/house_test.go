package records_test

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReportHasThePagesColours: a report is a file of its own, and looks like the page.
func TestReportHasThePagesColours(t *testing.T) {
	colours := func(path string) (light, dark map[string]string) {
		css, err := os.ReadFile(path)
		require.NoError(t, err)
		before, after, found := strings.Cut(string(css), "prefers-color-scheme: dark")
		require.True(t, found, path)
		after, _, _ = strings.Cut(after, "\n}")
		read := func(rules string) map[string]string {
			all := map[string]string{}
			for _, m := range regexp.MustCompile(`--([a-z0-9-]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(rules, -1) {
				all[m[1]] = m[2]
			}
			return all
		}
		return read(before), read(after)
	}
	light, dark := colours("report.css")
	pageLight, pageDark := colours("../web/page/style.css")
	require.Len(t, dark, len(light))
	for _, of := range []struct{ report, page map[string]string }{{light, pageLight}, {dark, pageDark}} {
		same := 0
		for name, value := range of.report {
			if theirs, ok := of.page[name]; ok {
				require.Equal(t, theirs, value, name)
				same++
			}
		}
		require.Greater(t, same, 12)
	}
}
