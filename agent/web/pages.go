package web

import (
	"bytes"
	"embed"
	"html/template"
	"net/http"
	"strings"
	"sync"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/words"
)

//go:embed page openapi.yaml
var files embed.FS

// refreshSeconds is how often the overview reloads itself without scripts. The page
// of one bay does not reload: a person may be typing on it.
const refreshSeconds = 10

// pages holds the templates of each language. They are parsed for the first page:
// many agents never serve one, and a start should not wait for it.
type pages map[string]func() *template.Template

func newPages() pages {
	all := pages{}
	for _, name := range words.Languages() {
		all[name] = sync.OnceValue(func() *template.Template {
			funcs := template.FuncMap{"t": words.New(name, "").Say, "lines": strings.Fields, "digits": digits}
			return template.Must(template.New(name).Funcs(funcs).ParseFS(files, "page/*.html")) // embedded: every test would show a fault
		})
	}
	return all
}

// digits returns five keys of a keypad.
func digits(from int) []int { return []int{from, from + 1, from + 2, from + 3, from + 4} }

// base is what every page needs.
type base struct {
	Title, Site, Agent, Version string
	Lang                        string
	Languages, Systems          []choice
	Here                        string // address of this page
	Refresh                     int
	Onward                      string // address that the browser goes on to by itself
	Live                        bool   // kept up to date by the script
	LiveAt                      string
	Chart                       bool // has curves to zoom in on
	Visit                       bool // has a visit's entries to send
	Late                        string
	Anybody                     bool // in reach may give orders
	Writable                    bool // visits may be opened
	SignedIn                    string
	People                      bool // people sign in here
	Aid                         words.SiteAid
	Records                     bool // the record is available
	Guide                       bool // so is the wiring guide
	Who                         string
	AskName                     bool // who uses the page is not known yet
	Form                        form // that was sent and is shown again
}

// choice is one option for reading the page, such as a language.
type choice struct {
	Name, Own string
	Chosen    bool
}

func languages(v words.Voice) (all []choice) {
	for _, name := range words.Languages() {
		all = append(all, choice{name, words.New(name, "").Say("lang.name"), name == v.Language()})
	}
	return all
}

func systems(v words.Voice) (all []choice) {
	for _, name := range words.Systems() {
		all = append(all, choice{name, v.Say("units." + name), name == v.Units().Name})
	}
	return all
}

func (s *server) base(r *http.Request, title string) base { return s.baseIn(r, title, s.view(r)) }

// baseIn returns it for a page in the language of a voice.
func (s *server) baseIn(r *http.Request, title string, v words.Voice) base {
	b := base{
		LiveAt: "/live", Title: title, Site: s.Site, Agent: s.Agent, Version: s.Version, Lang: v.Language(), Languages: languages(v), Systems: systems(v), Here: r.URL.RequestURI(),
		Writable: s.may(r, order.VisitOpen), People: s.gate != nil, Anybody: s.Anybody, Records: s.Records != nil, Guide: s.Guide != nil, Who: s.who(r), Aid: s.Aid,
	}
	b.AskName = s.gate == nil && b.Who == ""
	if r.Method == http.MethodPost { // the address of a form has no page
		b.Here = r.URL.Path
	}
	if p := person(r); p.Name != "" {
		b.SignedIn = v.Say("app.signedin", p.Name, v.Say("role."+p.Right.String()))
	}
	if err := s.healthy(); err != nil {
		b.Late = v.Say("app.late", err.Error())
	}
	b.forSaving(r)
	return b
}

type bayPage struct {
	base
	Card       card
	PackName   string
	CanRelease bool
	CanAccept  bool // cells are overfilled, and the reader may take that on
	Locks      locks
	Steps      []step
	Section    section
	Night      night
	Pack       packChoice
	History    []happened // newest first
	Older      []happened
}

func (s *server) bayPage(w http.ResponseWriter, r *http.Request) {
	p, missing := s.find(r)
	if missing != nil {
		s.fail(w, r, *missing)
		return
	}
	s.write(w, r, http.StatusOK, "bay", s.newBayPage(r, p))
}

func (s *server) newBayPage(r *http.Request, p *bay.Picture) bayPage {
	v := s.view(r)
	page := bayPage{
		base: s.base(r, p.Bay+" · "+s.Site), Card: newCard(p, v, s.Now()), PackName: p.Pack.Name,
		CanRelease: s.may(r, order.Release), CanAccept: p.Findings[interlock.Overfilled].Raised && s.may(r, order.Accept), Locks: s.locksOf(r, p, order.LockHold), Steps: stepsOf(p, v, s.clock()), Section: newSection(p, v, layoutOf(s.Layouts[p.Pack.Name], p.Pack.Cells)), Night: s.newNight(p, v, r.URL.Query().Get("hours")),
		History: s.Past.history(p, v), Pack: newPackChoice(p, v, s.may(r, order.Pack)),
	}
	const newest = 8
	if len(page.History) > newest {
		page.History, page.Older = page.History[:newest], page.History[newest:]
	}
	page.Card.Alone, page.Live, page.Chart = true, true, true
	return page
}

func (s *server) firstAid(w http.ResponseWriter, r *http.Request) {
	s.write(w, r, http.StatusOK, "aid", s.base(r, s.view(r).Say("aid.title")))
}

type failurePage struct {
	base
	Message, Back string
	Done          bool // it was done; Back is where it goes on
}

// failAt shows a person what was not done and links back.
func (s *server) failAt(w http.ResponseWriter, r *http.Request, why problem, back string) {
	page := failurePage{base: s.base(r, s.view(r).Say("fail.title")), Message: why.said(s.view(r)), Back: back}
	page.Here = back
	s.write(w, r, why.status, "failure", page)
}

// inForce shows a person that an order was taken but is not on record yet, and leads
// on.
func (s *server) inForce(w http.ResponseWriter, r *http.Request, message, to string) {
	page := failurePage{base: s.base(r, s.view(r).Say("force.title")), Message: message, Back: to, Done: true}
	page.Here = to
	s.write(w, r, http.StatusAccepted, "failure", page)
}

// write renders the whole page before it sends anything, so an error cannot leave
// half a page.
func (s *server) write(w http.ResponseWriter, r *http.Request, status int, name string, page any) {
	var out bytes.Buffer
	if err := s.pages[s.view(r).Language()]().ExecuteTemplate(&out, name, page); err != nil {
		http.Error(w, "the page cannot be made", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Vary", "Cookie")
	w.WriteHeader(status)
	_, _ = w.Write(out.Bytes()) // the reader may have gone
}
