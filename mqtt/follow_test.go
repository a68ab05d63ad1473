package mqtt

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/view"
)

// followed is a follower that passes on what it is told, in its order.
type followed struct{ told chan string }

func (f *followed) Connected(up bool) {
	if up {
		f.told <- "up"
	} else {
		f.told <- "down"
	}
}
func (f *followed) Status(agent string, payload []byte) {
	_, state, _ := strings.Cut(string(payload), `"state":"`)
	state, _, _ = strings.Cut(state, `"`)
	f.told <- agent + " " + state
}
func (f *followed) Daily(agent string, payload []byte) { f.told <- agent + " daily " + string(payload) }
func (f *followed) State(agent, bayName string, payload []byte, retained bool) {
	told := agent + " " + bayName
	if retained {
		told += " kept"
	}
	if len(payload) == 0 {
		told += " cleared"
	}
	f.told <- told
}

// until returns what was told up to and with a line.
func (f *followed) until(t *testing.T, line string) (told []string) {
	t.Helper()
	for {
		select {
		case got := <-f.told:
			if told = append(told, got); got == line {
				return told
			}
		case <-time.After(patience):
			t.Fatalf("%q was not told, but %q", line, told)
		}
	}
}

// agentOn runs an agent of the plant's site.
func (p *plant) agentOn(t *testing.T, agent string, follow Follower) (c *Client, stop func()) {
	t.Helper()
	o := p.as(agent + ".quarry-road")
	o.Topics, o.Outbox, o.Log, o.Follow = Topics{Site: "quarry-road", Agent: agent}, newOutbox(), quiet(), follow
	o.BackOff = func(int) time.Duration { return time.Millisecond }
	c, err := New(o)
	require.NoError(t, err)
	return c, runClient(t, c)
}

// TestFollowSite: with the rights of deploy/mosquitto an agent hears the others of its
// site, those that were there before and those that come, go, and are cleared away.
func TestFollowSite(t *testing.T) {
	p := startPlant(t)
	third, stopThird := p.agentOn(t, "shed-3", nil)
	third.State("bay-1", view.View{V: 1, Bay: "bay-1", Stage: "charging"}, testWall())
	seen := p.subscribe(t, "display", "bayward/quarry-road/shed-3/bay-1/state")
	require.Contains(t, string(next(t, seen).Payload()), "charging", "the broker has it")

	f := &followed{make(chan string, 1000)}
	p.agentOn(t, "shed-2", f)
	told := f.until(t, "shed-3 bay-1 kept")
	require.Equal(t, "up", told[0])
	require.Contains(t, told, "shed-3 online")
	third.State("bay-1", view.View{V: 1, Bay: "bay-1", Stage: "cooling"}, testWall())
	f.until(t, "shed-3 bay-1")
	third.Daily(Daily{"2026-03-01", testWall()})
	f.until(t, `shed-3 daily {"v":1,"day":"2026-03-01","time":"`+testWall().stamp()+`","time_trusted":true}`)
	stopThird()
	f.until(t, "shed-3 offline")

	p.kill(t)
	f.until(t, "down")
}

// TestFollowWithoutRights: an agent whose access list does not have the site hears nobody,
// and does all the rest.
func TestFollowWithoutRights(t *testing.T) {
	p := startPlantWith(t, func(acl string) string {
		return strings.NewReplacer("topic read bayward/quarry-road/+/status\n", "", "topic read bayward/quarry-road/+/daily\n", "", "topic read bayward/quarry-road/+/+/state\n", "").Replace(acl)
	})
	f := &followed{make(chan string, 1000)}
	second, stop := p.agentOn(t, "shed-2", f)
	seen := p.subscribe(t, "display", "bayward/quarry-road/shed-2/bay-1/state")
	second.State("bay-1", view.View{V: 1, Bay: "bay-1", Stage: "charging"}, testWall())
	next(t, seen)
	stop()
	require.Equal(t, []string{"up", "down"}, f.until(t, "down"), "not even its own status")
}

// TestStateOfTheLargestPack: the state of a pack of 40 cells, each with all that can be
// recorded at it, reaches other agents whole.
func TestStateOfTheLargestPack(t *testing.T) {
	one := 123.4
	v := view.View{V: 1, Bay: "bay-1", Stage: "watering", Visit: &view.Visit{}}
	long := strings.Repeat("x", 200) // longer than the longest sentence
	for cell := range 40 {
		v.WaterML, v.CoverPlatesML = append(v.WaterML, one), append(v.CoverPlatesML, one)
		v.Visit.GivenML = append(v.Visit.GivenML, one)
		v.Visit.Cells = append(v.Visit.Cells, view.Cell{
			Cell: cell + 1, GivenML: one, How: "to-mark", DrawnML: one, LevelBeforeMM: &one, LevelAfterMM: &one, Gravity: &one, AtC: &one, By: "A. Person of a long name", Done: true,
		})
		v.OddCells = append(v.OddCells, view.OddCell{Cell: cell + 1, Ratio: 1.23, Text: long})
	}
	for range 30 { // more than there are findings
		v.Findings = append(v.Findings, view.Finding{Code: "level-contradicts", Title: long, Severity: "danger", Evidence: long, WhatToDo: long, Basis: long})
	}
	payload, err := stateJSON(v, testWall())
	require.NoError(t, err)
	t.Logf("figure: the largest state has %d bytes", len(payload))
	require.Less(t, len(payload), maxPacket-200)
}
