package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"bayward/agent/order"
)

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

// shortForms are the names of the forms of a bay's page.
var shortForms = map[order.Subject]string{order.OfCharge: "hold", order.OfPack: "pack"}

// shortForm takes an order that needs only a button. If it is not done, the page is
// shown again with the form as it was filled in.
func (s *server) shortForm(w http.ResponseWriter, r *http.Request, of order.Subject, complete func(*orderBody)) {
	f := s.received(w, r)
	if f == nil {
		return
	}
	body := orderBody{Order: order.Order{ID: f.ID}, action: f.Action, given: map[string]bool{}}
	f.Action = shortForms[of]
	complete(&body)
	f.lockFaults(&body)
	f.short(&body, of)
	if f.fine() {
		f.done(w, f.afterLock())
		return
	}
	page := s.newBayPage(r, f.now())
	page.Form, page.Here = f.form, "/bays/"+url.PathEscape(f.p.Bay)
	s.write(w, r, f.status, "bay", page)
}

// short gives the order of a short form.
func (f *sent) short(body *orderBody, of order.Subject) {
	if !f.signed() || !f.fine() {
		return
	}
	body.By = f.by
	o, wrong := body.judged(of, f.p.Pack.Cells)
	if wrong == nil && f.mayGive(o.Kind) {
		wrong = f.give(o)
	}
	f.refused(wrong)
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
		return failed(http.StatusBadRequest, "bad-form", "the form is not accepted: "+err.Error())
	}
	return nil
}
