package opinion

import (
	"go/parser"
	"go/token"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestTheOpinionIsItsOwn: an oracle that shares a notion with the code that it judges
// agrees with its errors.
func TestTheOpinionIsItsOwn(t *testing.T) {
	may := []string{"bayward/agent/bay", "bayward/agent/bay/baytest", "bayward/agent/order", "bayward/agent/reading"}
	files, err := os.ReadDir(".")
	require.NoError(t, err)
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") {
			continue
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), f.Name(), nil, parser.ImportsOnly)
		require.NoError(t, err)
		for _, i := range parsed.Imports {
			path, err := strconv.Unquote(i.Path.Value)
			require.NoError(t, err)
			if strings.HasPrefix(path, "bayward/") && !slices.Contains(may, path) {
				t.Errorf("%s imports %s: the second opinion uses no rule and no physics but its own", f.Name(), path)
			}
		}
	}
}
