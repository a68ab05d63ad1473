package terminal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestProgressLine(t *testing.T) {
	p := &Progress{files: 3, total: 8e6}
	p.read.Store(2e6)
	p.Done()
	require.Equal(t, " 25 %, 1 of 3 traces, 2.0 MB read, 30s left", p.line(10*time.Second))
	p.total = 0
	require.Equal(t, "1 of 3 traces, 2.0 MB read", p.line(10*time.Second))
}
