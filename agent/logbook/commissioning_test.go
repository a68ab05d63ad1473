package logbook

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestCommissioningIsKeptAndSealed: a walk grows step by step, survives the end of
// its program, and is sealed by the signature.
func TestCommissioningIsKeptAndSealed(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	_, ok, err := b.LastCommissioning(t.Context(), "bay-1")
	require.NoError(t, err)
	require.False(t, ok)

	c := Commissioning{Bay: "bay-1", ID: "a", Begun: stampAt(1), Body: []byte(`{"n":1}`)}
	require.NoError(t, b.SaveCommissioning(t.Context(), c))
	c.Body = []byte(`{"n":2}`)
	require.NoError(t, b.SaveCommissioning(t.Context(), c))
	closeBook(t, b)

	b = openBook(t, path)
	body, ok, err := b.LastCommissioning(t.Context(), "bay-1")
	require.NoError(t, err)
	require.True(t, ok)
	require.JSONEq(t, `{"n":2}`, string(body))

	c.Signed, c.Body = true, []byte(`{"n":3}`)
	require.NoError(t, b.SaveCommissioning(t.Context(), c))
	require.ErrorIs(t, b.SaveCommissioning(t.Context(), c), ErrSigned)
	require.NoError(t, b.SaveCommissioning(t.Context(), Commissioning{Bay: "bay-2", ID: "b", Begun: stampAt(2), Body: []byte(`{}`)}))
	body, _, err = b.LastCommissioning(t.Context(), "bay-1")
	require.NoError(t, err)
	require.JSONEq(t, `{"n":3}`, string(body))
	mustCount(t, b, "bay-1", 0) // it uses no event number
	closeBook(t, b)

	for _, change := range []string{"UPDATE commissioning SET body = '{}' WHERE walk = 'a'", "DELETE FROM commissioning WHERE walk = 'a'"} {
		db, err := handle(path, "_busy_timeout=5000")
		require.NoError(t, err)
		_, err = db.ExecContext(t.Context(), change)
		require.ErrorContains(t, err, "never", "even from outside: %s", change)
		require.NoError(t, db.Close())
	}
}
