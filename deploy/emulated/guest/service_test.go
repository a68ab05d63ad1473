//go:build linux

package main

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/deploy/emulated/control"
)

// TestPackagedUnit: the init runs what the packaged unit runs.
func TestPackagedUnit(t *testing.T) {
	f, err := os.Open("../../package/bayward.service")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, f.Close()) })
	s, err := readService(f)
	require.NoError(t, err)
	require.Equal(t, []string{control.Binary, "run", "--config", control.ConfigPath}, s.start)
	require.Equal(t, []string{control.Binary, "outputs-safe", "--config", control.ConfigPath}, s.stopPost)
	require.Positive(t, s.watchdog)
	require.True(t, s.restarts(1))
	require.True(t, s.restarts(-1))
}

const plain = `[Service]
Type=notify
ExecStart=/usr/bin/bayward run
ExecStopPost=/usr/bin/bayward outputs-safe
WatchdogSec=10
TimeoutStartSec=1m
TimeoutStopSec=20s
TimeoutAbortSec=2s
Restart=always
RestartSec=500ms
RestartPreventExitStatus=2
`

func TestReadService(t *testing.T) {
	s, err := readService(strings.NewReader(plain))
	require.NoError(t, err)
	require.Equal(t, 10*time.Second, s.watchdog)
	require.Equal(t, time.Minute, s.startTimeout)
	require.Equal(t, 500*time.Millisecond, s.restartPause)
	require.False(t, s.restarts(2))

	for name, change := range map[string][2]string{
		"another restart policy": {"Restart=always", "Restart=on-failure"},
		"another type":           {"Type=notify", "Type=simple"},
		"two programs":           {"ExecStart=", "ExecStart=/bin/true\nExecStart="},
		"no watchdog":            {"WatchdogSec=10\n", ""},
		"no time":                {"WatchdogSec=10", "WatchdogSec=soon"},
		"no stop action":         {"ExecStopPost=/usr/bin/bayward outputs-safe", "ExecStopPost="},
	} {
		_, err := readService(strings.NewReader(strings.Replace(plain, change[0], change[1], 1)))
		require.Error(t, err, name)
	}
}
