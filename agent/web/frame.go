package web

import (
	"bytes"
	"html/template"
	"net/http"

	"bayward/agent/words"
)

// Frame returns the head and the foot of every page, for a page that another handler
// makes, in its language.
type Frame = func(r *http.Request, language string) (head, foot template.HTML)

func (s *server) frame(r *http.Request, language string) (head, foot template.HTML) {
	b := s.baseIn(r, "", words.New(language, s.view(r).Units().Name))
	here := *r.URL
	q := here.Query()
	q.Del("language") // or a change of language would lead back to a page in the old one
	q.Del("units")
	here.RawQuery = q.Encode()
	b.Here = here.RequestURI()
	render := func(name string) template.HTML {
		var out bytes.Buffer
		if err := s.pages[b.Lang]().ExecuteTemplate(&out, name, b); err != nil {
			return ""
		}
		return template.HTML(out.String()) //nolint:gosec // made by a template, which escapes
	}
	return render("top"), render("bottom")
}

// records hands over to the pages of the record, in the reader's language and units
// where the address names no others. Tables for programs have neither.
func (s *server) records(w http.ResponseWriter, r *http.Request) {
	if r.URL.Path == "/records" {
		v, q := s.view(r), r.URL.Query()
		for name, value := range map[string]string{"language": v.Language(), "units": v.Units().Name} {
			if !q.Has(name) {
				q.Set(name, value)
			}
		}
		r = r.Clone(r.Context())
		r.URL.RawQuery = q.Encode()
	}
	s.record.ServeHTTP(w, r)
}
