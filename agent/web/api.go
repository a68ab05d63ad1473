package web

import (
	"cmp"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"

	"bayward/agent/order"
	"bayward/agent/view"
	"bayward/agent/words"
)

// problem is the answer to a failed request: the status, a code for programs and a
// sentence for people.
type problem struct {
	status  int
	code    string
	message string
	why     *order.Refusal // refusal of an order, which a page words itself; nil for other problems
}

func failed(status int, code, message string) *problem {
	return &problem{status: status, code: code, message: message}
}

// said returns the problem for a person, in the reader's language and units. The
// message of a problem without words of its own is in that language already.
func (p *problem) said(v words.Voice) string {
	if p.why != nil {
		return v.Refused(p.why)
	}
	return cmp.Or(v.Failure(p.code), p.message)
}

type errorBody struct {
	Error struct {
		Code    string       `json:"code"`
		Message string       `json:"message"`
		Faults  []view.Wrong `json:"faults,omitempty"` // of a refused order
	} `json:"error"`
}

func writeProblem(w http.ResponseWriter, p problem) {
	var body errorBody
	body.Error.Code, body.Error.Message = p.code, p.message
	if p.why != nil {
		body.Error.Faults = view.WrongOf(p.why)
	}
	writeJSON(w, p.status, body)
}

// fail answers programs with JSON and people with a page.
func (s *server) fail(w http.ResponseWriter, r *http.Request, p problem) {
	if strings.HasPrefix(r.URL.Path, "/api/") {
		writeProblem(w, p)
		return
	}
	back := "/"
	if name := r.PathValue("bay"); name != "" && p.status != http.StatusNotFound {
		back = "/bays/" + url.PathEscape(name)
	}
	s.failAt(w, r, p, back)
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil { // a bug: every number of the view fits in JSON
		status, data = http.StatusInternalServerError, []byte(`{"error":{"code":"internal","message":"a value cannot be written as JSON"}}`)
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(append(data, '\n')) // the reader may have gone
}

type baysBody struct {
	V     int         `json:"v"`
	Site  string      `json:"site"`
	Agent string      `json:"agent"`
	Bays  []view.View `json:"bays"`
}

func (s *server) apiBays(w http.ResponseWriter, _ *http.Request) {
	body := baysBody{V: 1, Site: s.Site, Agent: s.Agent, Bays: []view.View{}}
	for _, p := range s.Pictures() {
		if p != nil {
			body.Bays = append(body.Bays, view.Of(p))
		}
	}
	writeJSON(w, http.StatusOK, body)
}

func (s *server) apiBay(w http.ResponseWriter, r *http.Request) {
	p, missing := s.find(r)
	if missing != nil {
		writeProblem(w, *missing)
		return
	}
	writeJSON(w, http.StatusOK, view.Of(p))
}

// doneBody is the result of an order.
type doneBody struct {
	V   int    `json:"v"`
	Bay string `json:"bay"`
	ID  string `json:"id"`
	// OnRecord is false while a crash would lose the order.
	OnRecord bool   `json:"on_record"`
	Text     string `json:"text"`
}

func (s *server) apiVisit(w http.ResponseWriter, r *http.Request) { s.apiOrder(w, r, order.OfVisit) }

func (s *server) apiHold(w http.ResponseWriter, r *http.Request) { s.apiOrder(w, r, order.OfCharge) }

func (s *server) apiPack(w http.ResponseWriter, r *http.Request) { s.apiOrder(w, r, order.OfPack) }

func (s *server) apiOrder(w http.ResponseWriter, r *http.Request, of order.Subject) {
	p, missing := s.find(r)
	if missing != nil {
		writeProblem(w, *missing)
		return
	}
	body, wrong := readBody(w, r)
	if wrong != nil {
		writeProblem(w, *wrong)
		return
	}
	if wrong = s.sign(r, body); wrong != nil {
		writeProblem(w, *wrong)
		return
	}
	o, wrong := body.judged(of, p.Pack.Cells)
	if wrong == nil {
		wrong = s.allowed(r, o.Kind)
	}
	if wrong == nil && o.Needs() > o.Kind.Row().Right {
		wrong = s.allowed(r, order.Release)
	}
	if wrong != nil {
		writeProblem(w, *wrong)
		return
	}
	done, wrong := s.submit(r.Context(), p.Bay, o)
	if wrong != nil {
		writeProblem(w, *wrong)
		return
	}
	status := http.StatusOK
	if !done.onRecord {
		status = http.StatusAccepted
	}
	writeJSON(w, status, doneBody{V: 1, Bay: p.Bay, ID: o.ID, OnRecord: done.onRecord, Text: done.text(words.EnglishSI())})
}

// sign enters the person who has signed in as the author of an order. No one can
// sign for another person.
func (s *server) sign(r *http.Request, body *orderBody) *problem {
	if s.gate == nil {
		return nil
	}
	name := person(r).Name
	if body.By != "" && body.By != name {
		return failed(http.StatusForbidden, "not-you", "field by: must be left out or be the name that is signed in: "+quoted(name))
	}
	body.By = name
	return nil
}
