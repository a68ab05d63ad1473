package systemd_test

import (
	"context"
	"log/slog"
	"net"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/systemd"
)

func TestWithoutAManager(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	m := systemd.New(slog.New(slog.DiscardHandler), time.Second)
	require.Nil(t, m)
	m.Ticked() // does nothing
}

// TestMessages: only the newest status is sent, ready comes with the first tick and
// once, and the end is announced.
func TestMessages(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "s")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	require.NoError(t, err)
	defer l.Close()
	t.Setenv("NOTIFY_SOCKET", socket)
	t.Setenv("WATCHDOG_USEC", "")
	heard := func() string {
		buf := make([]byte, 256)
		n, err := l.Read(buf)
		require.NoError(t, err)
		return string(buf[:n])
	}
	m := systemd.New(slog.New(slog.DiscardHandler), time.Second)
	m.Status("old")
	m.Status("new")
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- m.Run(ctx) }()
	require.Equal(t, "STATUS=new", heard())
	m.Ticked()
	require.Equal(t, "READY=1", heard())
	m.Ticked()
	m.Status("later")
	require.Equal(t, "STATUS=later", heard(), "ready is told once")
	cancel()
	require.Equal(t, "STOPPING=1", heard())
	require.NoError(t, <-ended)
}
