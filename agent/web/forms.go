package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"bayward/agent/order"
)

// holdForm takes a hold, its end or a release from the page and returns to the page.
func (s *server) holdForm(w http.ResponseWriter, r *http.Request) {
	s.shortForm(w, r, order.OfCharge, func(*orderBody) {})
}

// packForm takes a person's choice of the plugged-in pack. The page's buttons carry
// the name of a pack, or none.
func (s *server) packForm(w http.ResponseWriter, r *http.Request) {
	s.shortForm(w, r, order.OfPack, func(b *orderBody) {
		b.action = forgetPack
		if b.Pack = r.PostForm.Get("pack"); b.Pack != "" {
			b.action, b.given = namePack, map[string]bool{order.PackField.Name: true}
		}
	})
}

// shortForm takes an order that needs only a button.
func (s *server) shortForm(w http.ResponseWriter, r *http.Request, of order.Subject, complete func(*orderBody)) {
	p, wrong := s.find(r)
	if wrong == nil {
		wrong = parseForm(w, r)
	}
	var o order.Order
	if wrong == nil {
		body := orderBody{
			Order:  order.Order{By: s.nameOf(r, r.PostForm.Get("by")), ID: r.PostForm.Get("id")},
			action: r.PostForm.Get("action"), given: map[string]bool{},
		}
		complete(&body)
		o, wrong = body.judged(of, p.Pack.Cells)
	}
	if wrong == nil {
		wrong = s.allowed(r, o.Kind)
	}
	if wrong == nil {
		_, wrong = s.submit(r.Context(), p.Bay, o)
	}
	if wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	if s.gate == nil {
		setCookie(w, r, nameCookie, o.By, sessionFor)
	}
	http.Redirect(w, r, "/bays/"+url.PathEscape(p.Bay), http.StatusSeeOther)
}

// who returns the name of the caller, "" if it is not known yet.
func (s *server) who(r *http.Request) string {
	if s.gate != nil {
		return person(r).Name
	}
	return rememberedName(r)
}

// nameOf returns who gives an order: the person signed in, else the name in the
// form, else the last name given in this browser.
func (s *server) nameOf(r *http.Request, given string) string {
	given = strings.TrimSpace(given)
	if s.gate != nil || given == "" {
		return s.who(r)
	}
	return given
}

func parseForm(w http.ResponseWriter, r *http.Request) *problem {
	if kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); strings.TrimSpace(kind) != "application/x-www-form-urlencoded" {
		return failed(http.StatusUnsupportedMediaType, "content-type", "this address takes the page's own forms; programs use /api/v1")
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxBodyBytes)
	err := r.ParseForm()
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return failed(http.StatusRequestEntityTooLarge, "too-large", fmt.Sprintf("the form is larger than %d bytes", maxBodyBytes))
	}
	if err != nil {
		return bad("the form is not accepted: %v", err)
	}
	return nil
}
