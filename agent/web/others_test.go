package web_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/view"
	"bayward/agent/web"
	neighbours "bayward/agent/yard"
)

// told is what other agents publish.
type told struct {
	bays          []neighbours.Bay
	deaf, dropped bool
}

func (t *told) Bays() []neighbours.Bay { return t.bays }
func (t *told) Deaf() bool             { return t.deaf }
func (t *told) Dropped() bool          { return t.dropped }

func ofOther(name string, v view.View) neighbours.Bay {
	return neighbours.Bay{Agent: "shed-3", Name: name, Page: "https://shed-3.example:8443", State: v, AgeKnown: true, Age: 12 * time.Minute}
}

// TestWorkListOfTheYard: the work list has the bays of all agents in the order of need,
// with the water for the whole round, and a way to each.
func TestWorkListOfTheYard(t *testing.T) {
	bare := view.View{Stage: "waiting", Findings: []view.Finding{{Code: "plates-bare", Severity: "danger", Blocks: true, ForS: 600}}, CoverPlatesML: []float64{40, 40}}
	ready := view.View{Stage: "ready-to-water", WaterML: []float64{120, 130.9, 0.4}}
	others := &told{bays: []neighbours.Bay{
		ofOther("bay-1", view.View{Stage: "charging"}), ofOther("bay-7", ready), ofOther("bay-8", bare), ofOther("bay-9", view.View{Stage: "rested"}),
	}}
	b := newBench(func(o *web.Options) { o.Others = others }, "bay-1")
	page := b.get("/").Body.String()
	in := func(texts ...string) {
		t.Helper()
		at := 0
		for _, text := range texts {
			i := strings.Index(page[at:], text)
			require.GreaterOrEqual(t, i, 0, "%s after %d in %s", text, at, page)
			at += i
		}
	}
	in("2 bays need someone.", "Water to bring: 330 ml", "bay-8", "Plates", "bay-7", "Fill to the mark", "250 ml", "bay-1", "Nothing to do: 1 · bay-9")
	require.Contains(t, page, "bay-1 · shed-3", "two bays of one name are told apart")
	require.NotContains(t, page, "bay-7 · shed-3")
	require.Contains(t, page, `href="https://shed-3.example:8443/bays/bay-8"`)
	require.Contains(t, b.get("/wall").Body.String(), "bay-8")

	others.bays = append(others.bays, ofOther("bay-10", view.View{Stage: "rested"}), ofOther("bay-2", view.View{Stage: "rested"}), ofOther("annex", view.View{Stage: "rested"}))
	page = b.get("/").Body.String()
	in("Nothing to do: 4 · annex · bay-2 · bay-9 · bay-10")
	others.bays = others.bays[:4]

	others.bays[1].Reach, others.bays[2].Reach, others.bays[3].Reach = neighbours.Quiet, neighbours.Offline, neighbours.NoBroker
	others.bays[3].AgeKnown, others.bays[3].Page = false, ""
	page = b.get("/").Body.String()
	in("1 bay needs someone.", "bay-8", "Agent shed-3 is offline. Last heard: Plates", "12 min ago")
	in("bay-7", "Not heard", "Nothing new from agent shed-3. Last heard: Fill to the mark")
	in("bay-9", "No connection to the broker. Agent shed-3, last heard: ", "not known when")
	require.NotContains(t, page, "Water to bring", "nobody carries water for what may have changed")
	require.NotContains(t, page, "/bays/bay-9")

	others.deaf, others.dropped = true, true
	page = b.get("/").Body.String()
	in("The broker does not let this agent read", "more agents or bays")
}

// TestWallOfALargeYard: a wall's screen holds sixteen lines. Of more bays the most urgent
// are on it, and the last line says how many are not.
func TestWallOfALargeYard(t *testing.T) {
	others := &told{}
	b := newBench(func(o *web.Options) { o.Others = others }, "bay-1")
	lines := func() int { return strings.Count(b.get("/wall").Body.String(), "<li ") }
	for i := range 15 {
		others.bays = append(others.bays, ofOther(fmt.Sprintf("bay-%d", i+2), view.View{Stage: "rested"}))
	}
	require.Equal(t, 16, lines())
	require.NotContains(t, b.get("/wall").Body.String(), "more bays")
	for i := range 24 {
		stage := "charging"
		if i == 20 {
			stage = "ready-to-water"
		}
		others.bays = append(others.bays, ofOther(fmt.Sprintf("bay-%d", i+17), view.View{Stage: stage}))
	}
	require.Equal(t, 16, lines())
	page := b.get("/wall").Body.String()
	require.Contains(t, page, "And 25 more bays, none of them more urgent")
	require.Contains(t, page, "<b>bay-37</b>")
	require.NotContains(t, page, "<b>bay-2</b>", "it is ready for work")
	require.Equal(t, 40, strings.Count(b.get("/").Body.String(), "<li "), "the list has all")
}

// TestOthersTakeNoOrders: another agent's bay has no page and takes no order here.
func TestOthersTakeNoOrders(t *testing.T) {
	others := &told{bays: []neighbours.Bay{ofOther("bay-7", view.View{Stage: "charging"})}}
	b := newBench(func(o *web.Options) { o.Others = others }, "bay-1")
	require.Equal(t, http.StatusNotFound, b.get("/bays/bay-7").Code)
	require.Equal(t, http.StatusNotFound, b.post("/api/v1/bays/bay-7/hold", `{"action":"hold","by":"A. Person"}`).Code)
	require.NotContains(t, b.get("/api/v1/bays").Body.String(), "bay-7")
}

// TestALyingNeighbour: what others publish is text, never markup.
func TestALyingNeighbour(t *testing.T) {
	lie := `<script>alert(1)</script>`
	bay := ofOther("bay-7", view.View{
		Stage: lie, Findings: []view.Finding{{Code: lie, Title: lie, Severity: "danger"}},
		Holds: []view.Lock{{By: lie, Reason: lie}}, Visit: &view.Visit{People: []view.Lock{{By: lie}}},
	})
	bay.Agent, bay.Page = lie, "javascript:alert(1)"
	b := newBench(func(o *web.Options) { o.Others = &told{bays: []neighbours.Bay{bay, bay}} }, "bay-1")
	for _, path := range []string{"/", "/wall"} {
		page := b.get(path).Body.String()
		require.NotContains(t, page, lie)
		require.NotContains(t, page, `"javascript:`)
	}
}
