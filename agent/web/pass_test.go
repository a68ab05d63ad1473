package web_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/view"
	"bayward/agent/web"
	neighbours "bayward/agent/yard"
)

// site is two agents with the same people: shed-2, where somebody is signed in, and
// shed-3, whose bay-7 is in shed-2's list.
type site struct {
	here, there *yard
	others      *told
	cookie      string // at shed-2
}

const thereAt = "https://shed-3.example:8443"

func newSite(t *testing.T) *site {
	t.Helper()
	s := &site{here: newYard(t), there: newYard(t)}
	s.there.Agent, s.there.People = "shed-3", s.here.People
	s.there.handler = web.New(s.there.Options)
	s.others = &told{bays: []neighbours.Bay{{
		Agent: "shed-3", Name: "bay-7", Page: thereAt, State: view.View{Stage: "rested"},
		PageProof: web.PageProof(s.there.Site, "shed-3", thereAt, s.there.People),
	}}}
	s.here.Others = s.others
	s.here.handler = web.New(s.here.Options)
	_, s.cookie, _ = s.here.signIn("Visitor", pin, "/")
	return s
}

// follow opens the bay from shed-2's list and returns where it leads.
func (s *site) follow() *url.URL {
	w := s.here.do(s.here.as(s.cookie, "GET", "/go/shed-3/bay-7", ""))
	u, _ := url.Parse(w.Header().Get("Location"))
	return u
}

// arrive opens a page at shed-3 and returns the session that it begins, "" for none.
func (s *site) arrive(u *url.URL) (cookie, body string) {
	w := s.there.get(u.RequestURI())
	for _, c := range w.Result().Cookies() {
		if c.Name == "bayward-session" {
			cookie = c.Name + "=" + c.Value
		}
	}
	return cookie, w.Body.String()
}

// TestSignedInOnceForTheSite: who is signed in at one agent opens a bay of another one and
// is signed in there, as the same person with the rights that this one gives.
func TestSignedInOnceForTheSite(t *testing.T) {
	s := newSite(t)
	require.Contains(t, s.here.do(s.here.as(s.cookie, "GET", "/", "")).Body.String(), `href="/go/shed-3/bay-7"`)
	u := s.follow()
	require.Equal(t, "https://shed-3.example:8443/pass", (&url.URL{Scheme: u.Scheme, Host: u.Host, Path: u.Path}).String())
	cookie, body := s.arrive(u)
	require.NotEmpty(t, cookie)
	require.Contains(t, body, `content="0; url=/bays/bay-7"`)
	require.Equal(t, 200, s.there.do(s.there.as(cookie, "GET", "/bays/bay-1", "")).Code)
	require.Equal(t, 303, s.there.do(s.there.as(cookie, "POST", visit, opening)).Code)
	require.Equal(t, "Visitor", s.there.picture("bay-1").Visit.By)
	require.Equal(t, 403, s.there.do(s.there.as(cookie, "POST", "/bays/bay-1/hold", "action=release")).Code)
}

// TestPassIsGoodOnce: a pass works once, at its agent, for a short time, unchanged, for a
// person of both. Otherwise nobody is signed in, and nothing else happens.
func TestPassIsGoodOnce(t *testing.T) {
	refused := func(name string, change func(s *site, u *url.URL)) {
		t.Helper()
		s := newSite(t)
		u := s.follow()
		change(s, u)
		cookie, _ := s.arrive(u)
		require.Empty(t, cookie, name)
	}
	set := func(key, value string) func(*site, *url.URL) {
		return func(_ *site, u *url.URL) {
			q := u.Query()
			q.Set(key, value)
			u.RawQuery = q.Encode()
		}
	}
	refused("twice", func(s *site, u *url.URL) { s.arrive(u) })
	refused("late", func(s *site, _ *url.URL) { s.there.later(3 * time.Minute) })
	refused("from the future", func(s *site, _ *url.URL) { s.there.later(-2 * time.Minute) })
	refused("another person", set("name", "Boss"))
	refused("nobody", set("name", "Stranger"))
	refused("another number", set("id", "x"))
	refused("another time", set("at", "1767225601"))
	refused("no time", set("at", "soon"))
	refused("no seal", set("seal", ""))
	refused("at another agent", func(s *site, _ *url.URL) {
		s.there.Agent = "shed-4"
		s.there.handler = web.New(s.there.Options)
	})
	refused("whose PIN is another there", func(s *site, _ *url.URL) {
		s.there.People = append([]web.Person(nil), s.there.People...)
		for i := range s.there.People {
			s.there.People[i].Hash = strings.Replace(s.there.People[i].Hash, "$2a$", "$2b$", 1)
		}
		s.there.handler = web.New(s.there.Options)
	})
	s := newSite(t)
	u := s.follow()
	set("to", "//evil.example/")(s, u)
	_, body := s.arrive(u)
	require.NotContains(t, body, "evil.example", "it leads nowhere else")
}

// TestPassesAreNotCollected: whoever can write another agent's status at the broker, but
// does not have the site's people, gets nobody's pass.
func TestPassesAreNotCollected(t *testing.T) {
	proof := func(f func(*neighbours.Bay)) string {
		s := newSite(t)
		f(&s.others.bays[0])
		return s.follow().String()
	}
	require.Contains(t, proof(func(*neighbours.Bay) {}), "/pass?")
	require.Equal(t, "https://evil.example/bays/bay-7", proof(func(b *neighbours.Bay) { b.Page = "https://evil.example" }))
	require.Equal(t, thereAt+"/bays/bay-7", proof(func(b *neighbours.Bay) { b.PageProof = "" }))
	require.Equal(t, thereAt+"/bays/bay-7", proof(func(b *neighbours.Bay) {
		b.PageProof = web.PageProof("quarry-road", "shed-3", thereAt, []web.Person{{Name: "Visitor", Hash: "$2a$"}})
	}))
	require.Equal(t, thereAt+"/bays/bay-7", proof(func(b *neighbours.Bay) {
		b.PageProof = web.PageProof("quarry-road", "shed-4", thereAt, newYard(t).People)
	}))
	s := newSite(t)
	require.Equal(t, 303, s.here.get("/go/shed-3/bay-7").Code)
	require.Contains(t, s.here.get("/go/shed-3/bay-7").Header().Get("Location"), "/sign-in?", "nobody is signed in here")
	require.Equal(t, 404, s.here.do(s.here.as(s.cookie, "GET", "/go/shed-3/bay-9", "")).Code)
}

// TestPageProof: it depends on site, agent, address and people, not on their order; and
// without people or address there is none.
func TestPageProof(t *testing.T) {
	people := newYard(t).People
	turned := []web.Person{people[2], people[0], people[1]}
	one := web.PageProof("quarry-road", "shed-2", thereAt, people)
	require.Equal(t, one, web.PageProof("quarry-road", "shed-2", thereAt, turned))
	for _, other := range []string{
		web.PageProof("quarry-roads", "hed-2", thereAt, people), web.PageProof("quarry-road", "shed-3", thereAt, people),
		web.PageProof("quarry-road", "shed-2", "https://evil.example", people), web.PageProof("quarry-road", "shed-2", thereAt, people[1:]),
	} {
		require.NotEqual(t, one, other)
	}
	require.Empty(t, web.PageProof("quarry-road", "shed-2", thereAt, nil))
	require.Empty(t, web.PageProof("quarry-road", "shed-2", "", people))
}
