package logbook

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// FuzzOpen opens whatever may be in the logbook's place. The agent must get a
// logbook or an error that explains why not, and no byte that was there may be
// lost.
func FuzzOpen(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("SQLite format 3\x00"))
	f.Add([]byte("site: quarry-road\n"))
	dir := f.TempDir()
	b, err := Open(f.Context(), filepath.Join(dir, "l.db"), quiet())
	if err != nil {
		f.Fatal(err)
	}
	if _, err := b.Append(f.Context(), "bay-1", stampAt(0), someEvents(3)); err != nil {
		f.Fatal(err)
	}
	if err := b.Close(); err != nil {
		f.Fatal(err)
	}
	good, err := os.ReadFile(filepath.Join(dir, "l.db"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[:len(good)-1000])
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(t.TempDir(), "l.db")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		b, err := Open(t.Context(), path, quiet())
		if err != nil {
			if (errors.Is(err, ErrForeign) || errors.Is(err, ErrNewer)) && string(fileBytes(t, path)) != string(data) {
				t.Error("a file that is not ours was changed")
			}
			return
		}
		defer b.Close()
		if to := b.SetAside(); to != "" {
			if string(fileBytes(t, to)) != string(data) {
				t.Error("what was set aside is not what was there")
			}
			if seqs, err := b.Append(t.Context(), "bay-1", stampAt(0), someEvents(1)); err != nil || seqs[0] != 1 {
				t.Errorf("the new logbook: numbers %v, %v", seqs, err)
			}
		}
	})
}
