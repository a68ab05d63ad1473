package web

import (
	"bytes"
	"cmp"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"

	"bayward/agent/bay"
)

//go:embed page
var files embed.FS

// refreshSeconds is how often the overview loads itself again. The page of one
// bay does not: a person may be writing on it.
const refreshSeconds = 5

type pages struct{ all *template.Template }

func newPages() *pages {
	return &pages{template.Must(template.ParseFS(files, "page/*.html"))} // embedded: a fault shows in every test
}

func style(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "max-age=300")
	http.ServeFileFS(w, r, files, "page/style.css")
}

// base is what every page needs.
type base struct {
	Title, Site, Agent, Version string
	Refresh                     int
	Late                        string
	Cautions                    string
	Writable                    bool
}

func (s *server) base(title string) base {
	b := base{Title: title, Site: s.Site, Agent: s.Agent, Version: s.Version, Cautions: bay.Cautions, Writable: s.Writable}
	if err := s.healthy(); err != nil {
		b.Late = err.Error()
	}
	return b
}

type overviewPage struct {
	base
	Summary string
	Cards   []card
}

// overview puts first what a person must do now.
func (s *server) overview(w http.ResponseWriter, _ *http.Request) {
	page := overviewPage{base: s.base(s.Site + " / " + s.Agent)}
	page.Refresh = refreshSeconds
	for _, p := range s.Pictures() {
		if p != nil {
			page.Cards = append(page.Cards, newCard(p, s.Units))
		}
	}
	slices.SortStableFunc(page.Cards, func(a, b card) int { return cmp.Compare(a.Urgency.rank, b.Urgency.rank) })
	page.Summary = summary(page.Cards)
	s.pages.write(w, http.StatusOK, "overview", page)
}

func summary(cards []card) string {
	n := 0
	for i := range cards {
		if cards[i].Urgency.CallsPerson() {
			n++
		}
	}
	switch n {
	case 0:
		return "No bay needs a person now."
	case 1:
		return "1 bay needs a person."
	}
	return fmt.Sprintf("%d bays need a person.", n)
}

type bayPage struct {
	base
	Card    card
	OrderID string // of the page's forms, so that sending one twice does nothing
	MaxML   int
}

func (s *server) bayPage(w http.ResponseWriter, r *http.Request) {
	p, missing := s.find(r)
	if missing != nil {
		s.fail(w, r, *missing)
		return
	}
	page := bayPage{base: s.base(p.Bay + " at " + s.Site), Card: newCard(p, s.Units), OrderID: newID(), MaxML: bay.MaxFillML}
	page.Card.Alone = true
	s.pages.write(w, http.StatusOK, "bay", page)
}

type failurePage struct {
	base
	Heading, Message, Back string
}

func (p *pages) failure(w http.ResponseWriter, why problem, bayName string) {
	page := failurePage{base: base{Title: "Not done"}, Heading: "Not done", Message: why.message, Back: "/"}
	if bayName != "" && why.status != http.StatusNotFound {
		page.Back = "/bays/" + url.PathEscape(bayName)
	}
	p.write(w, why.status, "failure", page)
}

// write makes the whole page before a byte is sent, so that a fault cannot
// leave half of one.
func (p *pages) write(w http.ResponseWriter, status int, name string, page any) {
	var out bytes.Buffer
	if err := p.all.ExecuteTemplate(&out, name, page); err != nil {
		http.Error(w, "the page cannot be made", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(out.Bytes()) // a reader that is gone needs no answer
}
