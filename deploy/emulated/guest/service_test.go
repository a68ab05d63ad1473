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

// packaged reads a unit of the package.
func packaged(t *testing.T, name control.Unit) service {
	t.Helper()
	f, err := os.Open("../../package/" + string(name))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, f.Close()) })
	s, err := readService(f)
	require.NoError(t, err)
	require.Positive(t, s.watchdog)
	require.True(t, s.restarts(1))
	require.True(t, s.restarts(-1))
	require.False(t, s.restarts(2))
	return s
}

// TestPackagedUnits: the init runs what the packaged units run.
func TestPackagedUnits(t *testing.T) {
	const lines = "/run/bayward-keeper/lines"
	agent, keeper := packaged(t, control.Agent), packaged(t, control.Keeper)
	require.Equal(t, []string{control.Binary, "run", "--config", control.ConfigPath}, agent.start)
	require.Empty(t, agent.stopPost)
	require.Equal(t, 2*time.Second, agent.abortTimeout)
	require.Equal(t, []string{control.Binary, "lines", "--config", control.ConfigPath, "--user", "bayward", "--to", lines}, keeper.startPre)
	require.Equal(t, []string{control.KeeperBinary, lines}, keeper.start)
	require.Equal(t, []string{control.KeeperBinary, "low", lines}, keeper.stopPost)
	require.Equal(t, "bayward-keeper", keeper.runtimeFolder)
	require.Zero(t, keeper.abortTimeout, "a hung keeper is killed at once")
	require.EqualValues(t, 50, keeper.priority)
	require.Zero(t, agent.priority)
}

const plain = `[Service]
Type=notify
ExecStart=/usr/bin/bayward run
ExecStartPre=-/usr/bin/bayward lines
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
		"another restart policy":               {"Restart=always", "Restart=on-failure"},
		"another type":                         {"Type=notify", "Type=simple"},
		"two programs":                         {"ExecStart=", "ExecStart=/bin/true\nExecStart="},
		"no watchdog":                          {"WatchdogSec=10\n", ""},
		"no time":                              {"WatchdogSec=10", "WatchdogSec=soon"},
		"a first command whose failure counts": {"ExecStartPre=-", "ExecStartPre="},
		"another signal to a hung program":     {"WatchdogSec=10", "WatchdogSec=10\nWatchdogSignal=SIGQUIT"},
	} {
		_, err := readService(strings.NewReader(strings.Replace(plain, change[0], change[1], 1)))
		require.Error(t, err, name)
	}
}
