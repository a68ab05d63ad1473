package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
	"net/http"
	"net/url"
	"slices"

	"bayward/agent/order"
	"bayward/agent/words"
)

// plainPages are the same for everybody and say nothing about a bay: a phone may keep
// them for as long as the agent is the same.
var plainPages = []string{"/first-aid", "/offline"}

// assets are the files of the pages.
var assets = []string{
	"style.css", "script.js", "store.js", "visit.js", "here.js", "chart.js", "uplot/uplot.js", "uplot/uplot.css",
	"icon.svg", "icon-192.png", "icon-512.png",
}

// shell returns what an installed page keeps of the agent.
func shell() []string {
	all := slices.Clone(plainPages)
	for _, name := range []string{"style.css", "script.js", "store.js", "visit.js", "here.js"} {
		all = append(all, "/"+name)
	}
	return all
}

// keepHeader lets the installed page keep a copy for a dead spot ("yes"), or has it drop
// the one it has ("no").
const keepHeader = "Bayward-Keep"

// offlinePage says what there is without a connection.
type offlinePage struct {
	base
	Before, Leaving []confirm
}

func (s *server) offline(w http.ResponseWriter, r *http.Request) {
	v := s.view(r)
	page := offlinePage{base: s.base(r, v.Say("offline.title")), Before: confirms(v, order.VisitOpen), Leaving: confirms(v, order.VisitClose)}
	s.write(w, r, http.StatusOK, "offline", page)
}

// forSaving takes out what is of a person or of this moment.
func (b *base) forSaving(r *http.Request) {
	if r.URL.Query().Get("saved") != "yes" {
		return
	}
	b.Late, b.SignedIn, b.Who, b.Here = "", "", "", r.URL.Path
}

// worker serves the script that shows kept pages where the network does not reach. It
// changes with whatever it keeps, so a phone renews its copies after an update of the
// agent.
func (s *server) worker(w http.ResponseWriter, _ *http.Request) {
	script, err := files.ReadFile("page/sw.js")
	if err != nil {
		http.Error(w, "the script cannot be read", http.StatusInternalServerError)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/javascript; charset=utf-8")
	h.Set("Cache-Control", "no-cache")
	for _, line := range []struct {
		name  string
		value any
	}{{"version", s.shellVersion()}, {"shell", shell()}, {"plain", plainPages}} {
		text, _ := json.Marshal(line.value) // texts always fit
		_, _ = fmt.Fprintf(w, "const %s = %s;\n", line.name, text)
	}
	_, _ = w.Write(script) // the reader may have gone
}

// shellVersion is a hash of all that the worker keeps, in every language, and of itself.
func (s *server) shellVersion() string {
	sum := sha256.New()
	for _, name := range append(slices.Clone(assets), "sw.js") {
		data, _ := files.ReadFile("page/" + name) // embedded
		_, _ = sum.Write(data)                    // a hash does not fail
	}
	for _, language := range words.Languages() {
		for _, h := range []http.HandlerFunc{s.firstAid, s.offline} {
			r := &http.Request{Method: http.MethodGet, URL: &url.URL{Path: "/", RawQuery: "saved=yes"}, Header: http.Header{}}
			r.AddCookie(&http.Cookie{Name: languageCookie, Value: language}) //nolint:gosec // G124: it goes nowhere
			h(hashed{sum, http.Header{}}, r)
		}
	}
	_, _ = sum.Write([]byte(s.Version))
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

// hashed is an answer of which only the hash is wanted.
type hashed struct {
	hash.Hash
	header http.Header
}

// Header returns what nobody reads.
func (h hashed) Header() http.Header { return h.header }

// WriteHeader does nothing.
func (h hashed) WriteHeader(int) {}

// manifest lets a phone install the page.
func (s *server) manifest(w http.ResponseWriter, r *http.Request) {
	type icon struct {
		Src   string `json:"src"`
		Sizes string `json:"sizes"`
		Type  string `json:"type"`
	}
	text, err := json.Marshal(struct {
		Name       string `json:"name"`
		ShortName  string `json:"short_name"`
		ID         string `json:"id"`
		StartURL   string `json:"start_url"`
		Scope      string `json:"scope"`
		Display    string `json:"display"`
		Lang       string `json:"lang"`
		Background string `json:"background_color"`
		Theme      string `json:"theme_color"`
		Icons      []icon `json:"icons"`
	}{
		s.Site + " / " + s.Agent, s.Agent, "/", "/", "/", "standalone", s.view(r).Language(), "#eef0ee", "#0a4a7a",
		[]icon{{"/icon-192.png", "192x192", "image/png"}, {"/icon-512.png", "512x512", "image/png"}, {"/icon.svg", "any", "image/svg+xml"}},
	})
	if err != nil {
		http.Error(w, "the manifest cannot be made", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	_, _ = w.Write(text) // the reader may have gone
}
