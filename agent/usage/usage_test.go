package usage_test

import (
	"errors"
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/usage"
)

func TestMarkIsFound(t *testing.T) {
	for name, err := range map[string]error{
		"marked":         usage.Error(io.EOF),
		"formatted":      usage.Errorf("line 3: %w", io.EOF),
		"wrapped":        fmt.Errorf("read: %w", usage.Error(io.EOF)),
		"one of several": errors.Join(io.ErrClosedPipe, usage.Error(io.EOF)),
	} {
		require.True(t, usage.Is(err), name)
		require.ErrorIs(t, err, io.EOF, name)
	}
	require.EqualError(t, usage.Errorf("line 3: %w", io.EOF), "line 3: EOF")
}

func TestNoMark(t *testing.T) {
	require.NoError(t, usage.Error(nil), "nothing wrong is not an error")
	require.False(t, usage.Is(nil))
	require.False(t, usage.Is(fmt.Errorf("read: %w", io.EOF)))
}
