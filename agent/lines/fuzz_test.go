package lines

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/config/configtest"
	"bayward/agent/lease"
)

// FuzzBefore writes the list over whatever may be in its place. The keeper accepts the
// new one, it has the configuration's lines, no line that can be read
// from before is left out, and writing it again changes nothing.
func FuzzBefore(f *testing.F) {
	f.Add([]byte("user 1\nbay-1 GPIO17 GPIO27\nold bay-2 GPIO16 -\n"))
	f.Add([]byte("user 1\nbay-2 GPIO16 -\nbay-1 GPIO1"))
	f.Add([]byte("old bay-1 GPIO27 GPIO17\nbay-1 GPIO17 -\nGPIO17\n\x00"))
	text, err := os.ReadFile(example)
	require.NoError(f, err)
	good := configtest.File(f, "bayward.yaml", string(text))
	bad := configtest.File(f, "bad.yaml", "bays: ]]\n")
	f.Fuzz(func(t *testing.T, before []byte) {
		for _, path := range []string{good, bad} {
			to := filepath.Join(t.TempDir(), "lines")
			require.NoError(t, os.WriteFile(to, before, 0o600))
			was, _ := lease.ParseList(to, before)
			if err := Write(path, to, 7, io.Discard, io.Discard); err != nil && faultOf(err) == users {
				require.Empty(t, slices.Concat(was.Rows, was.Old))
				continue
			}
			text, err := os.ReadFile(to)
			require.NoError(t, err)
			is, err := lease.ParseList(to, text)
			require.NoError(t, err, "%q", text)
			all := slices.Concat(is.Rows, is.Old)
			for _, r := range slices.Concat(was.Rows, was.Old) {
				for _, l := range r.Lines() {
					require.Contains(t, namesOf(all), l)
				}
			}
			require.NoError(t, Write(path, to, 7, io.Discard, io.Discard))
			again, err := os.ReadFile(to)
			require.NoError(t, err)
			require.Equal(t, string(text), string(again))
		}
	})
}
