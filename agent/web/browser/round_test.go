package browser_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/view"
	"bayward/agent/web"
	neighbours "bayward/agent/yard"
)

// published is what other agents publish.
type published []neighbours.Bay

func (p published) Bays() []neighbours.Bay { return p }
func (published) Deaf() bool               { return false }
func (published) Dropped() bool            { return false }

// TestRoundOverTwoAgents: a technician signs in once, and one tap in the list of all bays
// leads to a bay of another agent, signed in. The two agents are different sites for the
// browser, as two Pis are.
func TestRoundOverTwoAgents(t *testing.T) {
	hash, err := web.HashPIN("4711-quarry")
	require.NoError(t, err)
	people := []web.Person{{Name: "A. Person", Right: order.MayRelease, Hash: hash}}
	there := newReadyYard(t, 6, func(o *web.Options) { o.Agent, o.People = "shed-3", people })
	state := view.Of(there.pictures()[0])
	ready := neighbours.Bay{
		Agent: "shed-3", Name: "bay-1", Page: there.url, State: state, AgeKnown: true, Age: time.Second,
		PageProof: web.PageProof(there.options.Site, "shed-3", there.url, people),
	}
	away := neighbours.Bay{Agent: "shed-4", Name: "bay-7", State: view.View{Stage: "charging"}, Reach: neighbours.Offline, AgeKnown: true, Age: time.Hour}
	here := newReadyYard(t, 6, func(o *web.Options) { o.People, o.Others = people, published{ready, away} })
	at, err := url.Parse(here.url)
	require.NoError(t, err)
	h := &thumb{screen: tab(browser(t), t, "http://shed-2.local:"+at.Port(), phoneWide, phoneHigh)}
	h.open("/sign-in")
	h.write("input[name=name]", "A. Person")
	h.write("input[name=pin]", "4711-quarry")
	h.click("form[action='/sign-in'] button")
	h.on(says("2 bays need someone."))
	h.on(says("Agent shed-4 is offline"))
	h.look("yard-list")
	h.tap(`[id="shed-3/bay-1"] a`)
	require.Eventually(t, func() bool { // the page of the pass goes on by itself, under whoever asks
		there, err := chromedp.Run(h.ctx, chromedp.Evaluate[bool](`location.href === "`+there.url+`/bays/bay-1" && document.readyState === "complete"`))
		return err == nil && there
	}, time.Minute, 50*time.Millisecond)
	h.on(says("A. Person"))
	require.False(t, of[bool](h.screen, `Boolean(document.querySelector("form[action='/sign-in']"))`))
	require.False(t, strings.Contains(of[string](h.screen, `document.referrer`), "seal="), "no pass leaves the browser as a referrer")
}
