package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAKilledRun: wherever a run is killed, the next one finds the old folder or the new
// one whole, with its keys, and leaves nothing beside it.
func TestAKilledRun(t *testing.T) {
	whole := filepath.Join(t.TempDir(), "out")
	runs(t, example, whole, began)
	key := "authority/pages-key.pem"
	copyOf := func(t *testing.T) string {
		t.Helper()
		out := filepath.Join(t.TempDir(), "out")
		require.NoError(t, os.CopyFS(out, os.DirFS(whole)))
		return out
	}
	for name, kill := range map[string]func(t *testing.T, out string){
		"before it wrote anything": func(t *testing.T, out string) {
			require.NoError(t, os.Mkdir(out+".new", 0o700))
		},
		"while it wrote": func(t *testing.T, out string) {
			require.NoError(t, os.CopyFS(out+".new", os.DirFS(whole)))
			require.NoError(t, os.RemoveAll(out+".new/pis"))
		},
		"with the old folder set aside": func(t *testing.T, out string) {
			require.NoError(t, os.Rename(out, out+".old"))
			require.NoError(t, os.CopyFS(out+".new", os.DirFS(whole)))
		},
		"before it removed the old folder": func(t *testing.T, out string) {
			require.NoError(t, os.CopyFS(out+".old", os.DirFS(whole)))
		},
	} {
		t.Run(name, func(t *testing.T) {
			out := copyOf(t)
			kill(t, out)
			runs(t, example, out, began)
			want := tree(t, whole)
			assert.Equal(t, want[key], tree(t, out)[key], "the key is the same")
			assert.Equal(t, want, tree(t, out))
			assert.NoDirExists(t, out+".new")
			assert.NoDirExists(t, out+".old")
		})
	}
}

// TestWhatIsNotOursStays: a folder that no run has made is not replaced, and a file that
// somebody put into one is not lost.
func TestWhatIsNotOursStays(t *testing.T) {
	refused := func(t *testing.T, out string) string {
		t.Helper()
		var said, complaints strings.Builder
		assert.Equal(t, 1, run([]string{example, out}, &said, &complaints, began))
		return complaints.String()
	}
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, os.Mkdir(out, 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(out, "letter"), []byte("mine"), 0o600))
	assert.Contains(t, refused(t, out), "no run has made it")
	assert.FileExists(t, filepath.Join(out, "letter"))

	require.NoError(t, os.Remove(filepath.Join(out, "letter")))
	runs(t, example, out, began)
	for _, folder := range []string{out, out + ".old", out + ".new"} {
		letter := filepath.Join(folder, "letter")
		require.NoError(t, os.MkdirAll(folder, 0o700))
		require.NoError(t, os.WriteFile(letter, []byte("mine"), 0o600))
		said := refused(t, out)
		assert.Contains(t, said, folder)
		assert.FileExists(t, letter)
		require.NoError(t, os.Remove(letter))
	}
}

// TestTwoRunsAtOnce: the second one leaves at once.
func TestTwoRunsAtOnce(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	first, err := newOutput(out, began)
	require.NoError(t, err)
	release, err := first.lock()
	require.NoError(t, err)
	var said, complaints strings.Builder
	assert.Equal(t, 1, run([]string{example, out}, &said, &complaints, began))
	assert.Contains(t, complaints.String(), "another run is writing there")
	release()
	runs(t, example, out, began)
}
