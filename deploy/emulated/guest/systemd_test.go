//go:build linux

package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/deploy/emulated/control"
)

// TestReadState reads the output of systemctl show, systemd 252.
func TestReadState(t *testing.T) {
	const stopped = `MainPID=0
ExecStopPost={ path=/usr/bin/bayward-keeper ; argv[]=/usr/bin/bayward-keeper low /run/bayward-keeper/lines ; ignore_errors=no ; ` +
		`start_time=[Thu 2026-01-15 03:20:11 UTC] ; stop_time=[Thu 2026-01-15 03:20:12 UTC] ; pid=412 ; code=exited ; status=0 }
Result=signal
ActiveState=activating
SubState=auto-restart
`
	s := readState(stopped)
	require.Equal(t, state{pid: "0", active: "activating", sub: "auto-restart", result: "signal", stopPid: "412", stopExit: "0"}, s)
	require.False(t, s.runs())

	during := strings.NewReplacer("stop_time=[Thu 2026-01-15 03:20:12 UTC]", "stop_time=[n/a]", "code=exited", "code=(null)", "auto-restart", "stop-post").Replace(stopped)
	require.Empty(t, readState(during).stopPid, "it has not ended")
	never := strings.Replace(during, "pid=412", "pid=0", 1)
	require.Empty(t, readState(never).stopPid)
	killed := strings.NewReplacer("code=exited", "code=killed", "status=0", "status=9").Replace(stopped)
	require.Equal(t, "killed 9", readState(killed).stopExit)

	running := readState("MainPID=511\nResult=success\nActiveState=active\nSubState=running\n")
	require.True(t, running.ready())
	require.False(t, readState("MainPID=511\nActiveState=activating\nSubState=start\n").ready())
}

// TestChanges: the events of a program that was killed or hung, even when states in
// between were missed.
func TestChanges(t *testing.T) {
	kinds := func(looks ...state) (out []control.Kind) {
		for i := 1; i < len(looks); i++ {
			for _, e := range changes(looks[i-1], looks[i]) {
				out = append(out, e.Kind)
			}
		}
		return out
	}
	running := func(pid string) state { return state{pid: pid, active: "active", sub: "running"} }
	ended := state{pid: "0", active: "activating", sub: "auto-restart", result: "signal", stopPid: "9", stopExit: "0"}
	require.Equal(t, []control.Kind{control.Started, control.Ready}, kinds(state{}, state{pid: "7", active: "activating", sub: "start"}, running("7")))
	require.Equal(t, []control.Kind{control.Ended, control.StopActionRan, control.Started, control.Ready},
		kinds(running("7"), ended, running("11")))
	require.Equal(t, []control.Kind{control.Ended, control.Started, control.Ready}, kinds(running("7"), running("11")))
	hung := state{pid: "7", active: "deactivating", sub: "stop-watchdog", result: "watchdog"}
	require.Equal(t, []control.Kind{control.Hung, control.Ended, control.StopActionRan}, kinds(running("7"), hung, hung, ended))
	late := ended
	late.result = "watchdog"
	require.Equal(t, []control.Kind{control.Hung, control.Ended, control.StopActionRan}, kinds(running("7"), late, late), "the kill itself was missed")

	failed := ended
	failed.stopExit = "killed 9"
	all := changes(running("7"), failed)
	require.NotEmpty(t, all[1].Error, "a stop action that was killed")
}
