package view_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/view"
	"bayward/agent/words"
)

// anyPicture draws what a line of the work list is made from.
func anyPicture(t *rapid.T) *bay.Picture {
	const now = 50 * time.Hour
	some := func(name string) bool { return rapid.Bool().Draw(t, name) }
	ago := func(name string) time.Duration {
		return now - time.Duration(rapid.IntRange(0, 40*3600).Draw(t, name))*time.Second
	}
	first, _ := bay.New(baytest.Setup("bay-1")).Step(&bay.Readings{Now: now})
	p := first.Clone()
	p.StageAt, p.Findings = ago("stage since"), [interlock.NumCodes]bay.Finding{}
	p.Stage = bay.Stage(rapid.IntRange(0, int(bay.NumStages)-1).Draw(t, "stage"))
	for _, i := range rapid.SliceOfNDistinct(rapid.IntRange(1, int(interlock.NumCodes)-1), 0, 3, rapid.ID[int]).Draw(t, "findings") {
		p.Findings[i] = bay.Finding{Raised: true, Since: ago("found")}
	}
	if p.Findings[interlock.Held].Raised {
		p.Holds = bay.Locks{{By: "A. Person", Since: ago("held"), Reason: rapid.SampledFrom([]string{"", "plug burnt"}).Draw(t, "reason")}}
	}
	if p.Visit.Open = some("visit"); p.Visit.Open {
		p.Visit.People, p.Visit.OnlyCoverPlates = bay.Locks{{By: "A. Person", Since: ago("opened")}}, some("only the plates")
	}
	if p.Water.Known = some("water known"); p.Water.Known {
		p.Water.Cells = p.Pack.Cells
		for i := range p.Water.Cells {
			p.Water.NeedML[i] = rapid.SampledFrom([]float64{0, 0.7, 85.2}).Draw(t, "need")
			p.Water.CoverPlatesML[i] = rapid.SampledFrom([]float64{0, 40.9}).Draw(t, "cover")
		}
	}
	if some("to read") {
		p.Water.ReadAsk, p.Water.ReadFirst[0] = 1<<2, 3
	}
	if p.Cool.ReadyKnown = some("cools"); p.Cool.ReadyKnown {
		p.Cool.ReadyIn = 102 * time.Minute
	}
	if p.Charge.Flowing = p.Stage == bay.Charging; p.Charge.Flowing {
		p.Charge.Since = p.StageAt
	}
	return p
}

// TestANeighbourReadsTheSame: what another agent makes of a published state is what the
// bay's own agent says, in each language.
func TestANeighbourReadsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPicture(t)
		text, err := json.Marshal(view.Of(p))
		require.NoError(t, err)
		var heard view.View
		require.NoError(t, json.Unmarshal(text, &heard))
		for _, language := range words.Languages() {
			v := words.New(language, "si")
			own, other := v.Brief(p), heard.Brief(v)
			require.Equal(t, own.Urgency(), other.Urgency())
			require.Equal(t, v.Task(&own), v.Task(&other), "%s", text)
			require.InDelta(t, own.CarryML, other.CarryML, 0)
		}
	})
}

// TestANewerNeighbour: codes that this version does not know are shown as they are, and
// somebody is sent to look.
func TestANewerNeighbour(t *testing.T) {
	v := words.EnglishSI()
	b := (&view.View{Stage: "levitating", Findings: []view.Finding{{Code: "plates-floating", Title: "Plates float", Severity: "grave", ForS: 120}}}).Brief(v)
	require.Equal(t, words.Look, b.Urgency())
	require.Equal(t, words.Task{What: "Plates float", Much: "for 2 min"}, v.Task(&b))
	b = (&view.View{Stage: "levitating", Findings: []view.Finding{{Code: "plates-floating", Severity: "danger", ForS: -1e300}}}).Brief(v)
	require.Equal(t, words.Danger, b.Urgency())
	require.Equal(t, words.Task{What: "Plates-floating", Much: "for 0 s"}, v.Task(&b))
}
