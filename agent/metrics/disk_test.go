package metrics

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/require"
)

// The text is the example of proc(5), section "/proc/pid/io".
const procIO = "rchar: 323934931\nwchar: 323929600\nsyscr: 632687\nsyscw: 632675\n" +
	"read_bytes: 0\nwrite_bytes: 323932160\ncancelled_write_bytes: 0\n"

func TestDiskWrites(t *testing.T) {
	path := filepath.Join(t.TempDir(), "io")
	require.Zero(t, testutil.CollectAndCount(disk{path}), "no file, no metric")
	require.NoError(t, os.WriteFile(path, []byte(procIO), 0o600))
	require.InEpsilon(t, 323932160, testutil.ToFloat64(disk{path}), 1e-12)
	require.NoError(t, os.WriteFile(path, []byte("write_bytes: -1\n"), 0o600))
	require.Zero(t, testutil.CollectAndCount(disk{path}), "an unreadable value is absent, not 0")
}
