package records

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// ServeOptions configure the pages of the record.
type ServeOptions struct {
	Reader *logbook.Reader
	// Describe adds site, agent, units and facts to the options of a report; nil
	// adds nothing.
	Describe func(*ReportOptions)
	Now      func() time.Time // of the record's clock
	Zone     *time.Location   // of the reader's clock; nil for UTC
	Version  string
	// Frame returns the head and the foot of every page for people, in a language; nil
	// for none.
	Frame func(r *http.Request, language string) (head, foot template.HTML)
}

const (
	// atOnce is how many answers are made at a time: a network reader must not take
	// the disk from the logbook.
	atOnce = 2
	// streamFor is how long one answer may take.
	streamFor = 10 * time.Minute
)

type pages struct {
	ServeOptions
	slots chan struct{}
}

// Handler answers /records, /api/v1/records.csv and /api/v1/records.json for GET
// and HEAD. Access control is up to the caller.
func Handler(o ServeOptions) http.Handler {
	p := &pages{o, make(chan struct{}, atOnce)}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /records", p.report)
	mux.HandleFunc("GET /api/v1/records.csv", p.table("text/csv; charset=utf-8; header=present", ".csv", (*Table).WriteCSV))
	mux.HandleFunc("GET /api/v1/records.json", p.table("application/json; charset=utf-8", ".json", (*Table).WriteJSON))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case p.slots <- struct{}{}:
			defer func() { <-p.slots }()
			// Without such a deadline there is none to move.
			_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(streamFor))
			mux.ServeHTTP(w, r)
		default:
			w.Header().Set("Retry-After", "5")
			p.tell(w, r, http.StatusServiceUnavailable, "busy", "the record is busy; try again in a few seconds")
		}
	})
}

// tell answers a program like the rest of the interface, and a browser in the house's
// page: in the reader's words for the code, or else in the message's.
func (p *pages) tell(w http.ResponseWriter, r *http.Request, status int, code, message string) {
	if wantsPage(r) {
		if key, ok := wordsFor[code]; ok {
			message = p.voice(r).Say(key)
		}
		p.choosing(w, r, status, message, nil)
		return
	}
	type body struct {
		Code    string `json:"code"`
		Message string `json:"message"`
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]body{"error": {code, message}}) // a reader that is gone needs no answer
}

// wordsFor has the words for a code of tell.
var wordsFor = map[string]string{"busy": "choose.busy", "no-answer": "choose.silent", "unreadable": "choose.unreadable"}

// wantsPage reports whether a person asks: a browser names HTML, and the printable record
// is a page to whoever does not ask for JSON.
func wantsPage(r *http.Request) bool {
	accept := strings.Join(r.Header.Values("Accept"), ",")
	return strings.Contains(accept, "text/html") || r.URL.Path == "/records" && !strings.Contains(accept, "application/json")
}

// unreadable reports that the disk or the file fails.
func (p *pages) unreadable(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, logbook.ErrNoAnswer) {
		p.tell(w, r, http.StatusServiceUnavailable, "no-answer", "the record does not answer: its disk hangs or is busy; try again later")
		return
	}
	p.tell(w, r, http.StatusServiceUnavailable, "unreadable", "the record cannot be read now; see the agent's log and bayward records verify")
}

// begun records whether any of an answer has been sent.
type begun struct {
	io.Writer
	yes bool
}

// Write implements io.Writer.
func (b *begun) Write(p []byte) (int, error) {
	b.yes = true
	return b.Writer.Write(p)
}

type writeTable func(t *Table, ctx context.Context, w io.Writer, r *logbook.Reader, q logbook.Query) error

// table streams one table. An error in the middle cuts the connection, so that a
// part cannot be taken for the whole.
func (p *pages) table(mediaType, ending string, write writeTable) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		form := r.URL.Query()
		if why := strangers(form, "table", "pack", "bay", "since", "until"); why != "" {
			p.tell(w, r, http.StatusBadRequest, "bad-field", why)
			return
		}
		name := form.Get("table")
		if name == "" {
			name = "charges"
		}
		t := TableNamed(name)
		if t == nil {
			p.tell(w, r, http.StatusBadRequest, "bad-field", "field table: must be "+strings.Join(TableNames(), ", "))
			return
		}
		q, err := p.query(form)
		if err != nil {
			p.tell(w, r, http.StatusBadRequest, "bad-field", err.Error())
			return
		}
		w.Header().Set("Content-Type", mediaType)
		w.Header().Set("Content-Disposition", `attachment; filename="bayward-`+t.Name+ending+`"`)
		if r.Method == http.MethodHead {
			return
		}
		out := &begun{Writer: w}
		switch err := write(t, r.Context(), out, p.Reader, q); {
		case err == nil:
		case out.yes:
			panic(http.ErrAbortHandler)
		default:
			w.Header().Del("Content-Disposition")
			p.unreadable(w, r, err)
		}
	}
}

func strangers(form url.Values, known ...string) string {
	for name, values := range form {
		if !slices.Contains(known, name) || len(values) > 1 {
			return "field " + name + ": accepted are, once each: " + strings.Join(known, ", ")
		}
	}
	return ""
}

func (p *pages) query(form url.Values) (q logbook.Query, err error) {
	q.Pack, q.Bay = form.Get("pack"), form.Get("bay")
	if q.Since, err = When(form.Get("since"), p.Now(), time.Local); err != nil {
		return q, fmt.Errorf("field since: %w", err)
	}
	if q.Until, err = When(form.Get("until"), p.Now(), time.Local); err != nil {
		return q, fmt.Errorf("field until: %w", err)
	}
	return q, nil
}

//go:embed choose.html
var chooseText string

var choosePage = sync.OnceValue(func() *template.Template { return template.Must(template.New("choose").Parse(chooseText)) })

// report shows one pack, or a page to choose one from.
func (p *pages) report(w http.ResponseWriter, r *http.Request) {
	form := r.URL.Query()
	if form.Get("pack") == "" {
		p.choose(w, r, http.StatusOK, "")
		return
	}
	o, why := p.options(form)
	if why != "" {
		p.choose(w, r, http.StatusBadRequest, why)
		return
	}
	var out bytes.Buffer
	err := writeReport(r.Context(), &out, p.Reader, o, p.framed(r, paperOf(o).voice.Language()))
	switch {
	case errors.Is(err, ErrNoPack):
		p.choose(w, r, http.StatusNotFound, o.Pack+": "+p.voice(r).Error(err))
	case err != nil:
		p.unreadable(w, r, err)
	default:
		send(w, http.StatusOK, StyleOf(o), out.Bytes())
	}
}

func (p *pages) options(form url.Values) (o *ReportOptions, why string) {
	if why := strangers(form, "pack", "since", "until", "paper", "units", "language"); why != "" {
		return nil, why
	}
	if form.Get("since") == "" {
		form.Set("since", "365d")
	}
	q, err := p.query(form)
	if err != nil {
		return nil, err.Error()
	}
	o = p.reader(&ReportOptions{
		Pack: q.Pack, Since: q.Since, Until: q.Until, Letter: form.Get("paper") == "letter", Made: p.Now(), Version: p.Version,
	}, form)
	for _, of := range choices() {
		if got := form.Get(of.field); got != "" && !slices.Contains(of.accepted, got) {
			return nil, "field " + of.field + ": must be " + strings.Join(of.accepted, ", ")
		}
	}
	o.Units = cmp.Or(form.Get("units"), o.Units)
	return o, ""
}

// choice is a field that accepts some words only.
type choice struct {
	field    string
	accepted []string
}

func choices() []choice {
	return []choice{{"paper", []string{"a4", "letter"}}, {"units", words.Systems()}, {"language", words.Languages()}}
}

// reader adds what is known of the reader of a page.
func (p *pages) reader(o *ReportOptions, form url.Values) *ReportOptions {
	o.Zone = p.Zone
	if p.Describe != nil {
		p.Describe(o)
	}
	o.Language = cmp.Or(form.Get("language"), o.Language)
	return o
}

// chooser is what the page to choose a pack shows.
type chooser struct {
	paper
	page
	Style         template.CSS
	Lang          string
	Problem, Pack string
	Cautions      string
	Packs         []logbook.PackEntry
	Tables        []*Table
	Languages     []pair
}

func (p *pages) choose(w http.ResponseWriter, r *http.Request, status int, problem string) {
	packs, err := p.Reader.Packs(r.Context())
	switch {
	case err != nil:
		p.unreadable(w, r, err)
	default:
		p.choosing(w, r, status, problem, packs)
	}
}

// framed returns what a page is shown in.
func (p *pages) framed(r *http.Request, language string) page {
	in := page{Served: true}
	if p.Frame != nil {
		in.Head, in.Foot = p.Frame(r, language)
	}
	return in
}

// voice returns the voice for the reader of a page.
func (p *pages) voice(r *http.Request) words.Voice {
	return paperOf(p.reader(&ReportOptions{}, r.URL.Query())).voice
}

// choosing shows the page to choose from some packs.
func (p *pages) choosing(w http.ResponseWriter, r *http.Request, status int, problem string, packs []logbook.PackEntry) {
	o := p.reader(&ReportOptions{}, r.URL.Query())
	shown := chooser{
		paper: paperOf(o), Style: template.CSS(StyleOf(o)), Problem: problem, Pack: r.URL.Query().Get("pack"), //nolint:gosec // our own file
		Packs: packs,
	}
	shown.Lang, shown.Cautions, shown.Tables = shown.voice.Language(), shown.voice.Cautions(), tables(shown.voice)
	shown.page = p.framed(r, shown.Lang)
	for _, name := range words.Languages() {
		shown.Languages = append(shown.Languages, pair{name, words.New(name, "").Say("lang.name")})
	}
	var out bytes.Buffer
	if err := choosePage().Execute(&out, shown); err != nil {
		http.Error(w, "cannot render the page", http.StatusInternalServerError)
		return
	}
	send(w, status, StyleOf(o), out.Bytes())
}

// send allows the page's own style, the style and the script of all pages, and nothing else.
func send(w http.ResponseWriter, status int, style string, page []byte) {
	sum := sha256.Sum256([]byte(style))
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'self' 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+
		"'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(page) // a reader that is gone needs no answer
}
