package footprint

import (
	"bytes"
	_ "embed"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A changed page is never unmapped: it would be read again from the file.
func TestUnchanged(t *testing.T) {
	const smaps = `00400000-00f9b000 r-xp 00000000 fe:00 1 /usr/bin/bayward
Size:              11884 kB
Anonymous:             0 kB
00f9b000-01bac000 r--p 00b9b000 fe:00 1 /usr/bin/bayward
Anonymous:             0 kB
01bac000-02146000 rw-p 017ac000 fe:00 1 /usr/bin/bayward
Anonymous:             0 kB
02146000-02148000 r--p 01d46000 fe:00 1 /usr/bin/bayward
Anonymous:             8 kB
7f0b6fcc0000-7f0b6fe00000 r--p 00000000 fe:00 2 /opt/usr/bin/bayward-other
Anonymous:             0 kB
7f0b70000000-7f0b70100000 r--p 00000000 00:00 0
Anonymous:             0 kB
`
	require.Equal(t, []mapping{{0x400000, 0xf9b000}, {0xf9b000, 0x1bac000}}, unchanged(strings.NewReader(smaps), "/usr/bin/bayward"))
	require.Empty(t, unchanged(strings.NewReader(smaps), "/usr/bin/baywar"))
	require.Empty(t, unchanged(strings.NewReader("nonsense\n\n"), "/usr/bin/bayward"))
}

//go:embed footprint.go
var constant []byte

// The program goes on with the same constants and code.
func TestUnmapProgram(t *testing.T) {
	before := bytes.Clone(constant)
	for range 3 {
		require.NoError(t, unmapProgram())
		require.Equal(t, before, constant)
	}
	mine, err := os.Readlink("/proc/self/exe")
	require.NoError(t, err)
	f, err := os.Open("/proc/self/smaps")
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	require.NotEmpty(t, unchanged(f, mine), "nothing was unmapped")
}
