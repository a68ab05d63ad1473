package notify_test

import (
	"io"
	"mime"
	"mime/quotedprintable"
	"testing"

	"github.com/stretchr/testify/require"
)

type mimeWords = mime.WordDecoder

func readQuoted(t *testing.T, r io.Reader) string {
	t.Helper()
	data, err := io.ReadAll(quotedprintable.NewReader(r))
	require.NoError(t, err)
	return string(data)
}
