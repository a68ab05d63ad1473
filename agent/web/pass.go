package web

import (
	"cmp"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"bayward/agent/yard"
)

// A pass signs a person in at another agent of the site: made by the agent that knows
// them, for that one agent, for a minute, once. Its key comes from the hash of the
// person's PIN, which both agents have in their people; nothing else is shared. Where it
// fails, the person signs in as ever.
//
// A pass is only sent to an address that its agent has proven to be its own, by the
// hashes of all people: whoever can write another agent's status at the broker could
// otherwise collect passes.
const (
	passFor  = time.Minute
	passSkew = time.Minute // how far two agents' clocks may be apart
	mostUsed = 1024        // passes that are remembered as used
	passPath = "/pass"
)

// passKey derives a key from what both agents have in their people.
func passKey(of, secret string) []byte {
	key, err := hkdf.Key(sha256.New, []byte(secret), nil, "bayward "+of, sha256.Size)
	if err != nil {
		panic("bug: " + err.Error()) // the length is fixed and small
	}
	return key
}

func sealed(key []byte, parts ...string) string {
	mac := hmac.New(sha256.New, key)
	for _, part := range parts {
		_, _ = fmt.Fprintf(mac, "%d:%s", len(part), part) // no two lists of parts are the same text
	}
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// PageProof proves to agents with the same people that an address is that of an agent's
// page; "" without people or address.
func PageProof(site, agent, page string, people []Person) string {
	if len(people) == 0 || page == "" {
		return ""
	}
	all := make([]string, len(people))
	for i, p := range people {
		all[i] = strconv.Quote(p.Name) + " " + p.Hash
	}
	slices.Sort(all)
	return sealed(passKey("page", strings.Join(all, "\n")), site, agent, page)
}

// passes remembers the passes that were used.
type passes struct {
	mu   sync.Mutex // guards used
	used []usedPass // oldest first
}

type usedPass struct {
	id string
	at time.Time
}

// use reports whether a pass is used for the first time.
func (u *passes) use(id string, now time.Time) bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.used = slices.DeleteFunc(u.used, func(x usedPass) bool { return now.Sub(x.at) > passFor+2*passSkew })
	if len(u.used) >= mostUsed || slices.ContainsFunc(u.used, func(x usedPass) bool { return x.id == id }) {
		return false
	}
	u.used = append(u.used, usedPass{id, now})
	return true
}

// newPass returns the query that signs a person in at an agent.
func (p Person) newPass(site, agent string, now time.Time) url.Values {
	id, at := rand.Text(), strconv.FormatInt(now.Unix(), 10)
	return url.Values{"name": {p.Name}, "id": {id}, "at": {at}, "seal": {sealed(passKey("pass", p.Hash), site, agent, p.Name, id, at)}}
}

// passed returns the person whom a pass signs in here.
func (s *server) passed(q url.Values) (Person, bool) {
	p, known := s.gate.people[q.Get("name")]
	at, err := strconv.ParseInt(q.Get("at"), 10, 64)
	if !known || p.Hash == "" || err != nil { // a key from no hash would be anybody's
		return Person{}, false
	}
	want := sealed(passKey("pass", p.Hash), s.Site, s.Agent, p.Name, q.Get("id"), q.Get("at"))
	age := s.Now().Sub(time.Unix(at, 0))
	if !hmac.Equal([]byte(want), []byte(q.Get("seal"))) || age < -passSkew || age > passFor+passSkew {
		return Person{}, false
	}
	return p, s.passes.use(q.Get("id"), s.Now())
}

// goThere leads to a bay of another agent: with a pass if somebody is signed in and the
// agent's address is proven.
func (s *server) goThere(w http.ResponseWriter, r *http.Request) {
	o, ok := s.other(r.PathValue("agent"), r.PathValue("bay"))
	if !ok {
		s.nothing(w, r)
		return
	}
	to := "/bays/" + url.PathEscape(o.Name)
	if p := person(r); p.Hash != "" && hmac.Equal([]byte(o.PageProof), []byte(cmp.Or(PageProof(s.Site, o.Agent, o.Page, s.People), "none"))) {
		q := p.newPass(s.Site, o.Agent, s.Now())
		q.Set("to", to)
		to = passPath + "?" + q.Encode()
	}
	http.Redirect(w, r, o.Page+to, http.StatusSeeOther) //nolint:gosec // G710: the address of an agent of the site, shown in the list as a link anyway
}

// other finds a bay of another agent whose page is known.
func (s *server) other(agent, bay string) (yard.Bay, bool) {
	if s.Others == nil {
		return yard.Bay{}, false
	}
	all := s.Others.Bays()
	i := slices.IndexFunc(all, func(o yard.Bay) bool { return o.Agent == agent && o.Name == bay && o.Page != "" })
	if i < 0 {
		return yard.Bay{}, false
	}
	return all[i], true
}

type passPage struct {
	base
	To string
}

// pass signs in who comes with a pass from another agent. The page that it shows goes on
// by itself: a browser does not send the session's cookie along when it follows another
// site's link.
func (s *server) pass(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Referrer-Policy", "no-referrer") // its address holds the pass
	q := r.URL.Query()
	to := safeTarget(q.Get("to"))
	if s.gate != nil {
		if p, ok := s.passed(q); ok {
			token := rand.Text()
			s.gate.begin(token, p.Name)
			setCookie(w, r, sessionCookie, token, sessionFor)
		}
	}
	page := passPage{base: s.base(r, s.view(r).Say("pass.title")), To: to}
	page.Here, page.Onward = "/", to
	s.write(w, r, http.StatusOK, "pass", page)
}
