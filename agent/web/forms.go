package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"bayward/agent/bay"
)

func (s *server) visitForm(w http.ResponseWriter, r *http.Request) { s.form(w, r, visitActions) }

func (s *server) holdForm(w http.ResponseWriter, r *http.Request) { s.form(w, r, holdActions) }

// form takes an order from the page and leads back to it.
func (s *server) form(w http.ResponseWriter, r *http.Request, actions []action) {
	p, wrong := s.find(r)
	if wrong == nil {
		wrong = parseForm(w, r)
	}
	var orders []bay.Order
	if wrong == nil {
		orders, wrong = formOrders(r.PostForm, actions, p)
	}
	done := 0
	for _, o := range orders {
		if wrong = s.allowed(o.Kind); wrong == nil {
			_, wrong = s.submit(r.Context(), p.Bay, o)
		}
		if wrong != nil {
			wrong.message += recorded(orders, done)
			break
		}
		done++
	}
	if wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	http.Redirect(w, r, "/bays/"+url.PathEscape(p.Bay), http.StatusSeeOther)
}

// recorded says what was taken before an order of several was refused.
func recorded(orders []bay.Order, done int) string {
	if done == 0 {
		return ""
	}
	return fmt.Sprintf(" The water of the cells up to %d is recorded.", orders[done-1].Cell)
}

func parseForm(w http.ResponseWriter, r *http.Request) *problem {
	if kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); strings.TrimSpace(kind) != "application/x-www-form-urlencoded" {
		return &problem{http.StatusUnsupportedMediaType, "content-type", "this address takes the page's own forms; programs use /api/v1"}
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxBodyBytes)
	err := r.ParseForm()
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return &problem{http.StatusRequestEntityTooLarge, "too-large", fmt.Sprintf("the form is larger than %d bytes", maxBodyBytes)}
	}
	if err != nil {
		return bad("the form is not accepted: %v", err)
	}
	return nil
}

// formOrders makes the orders of a form: one, or one for each cell that was
// given water. Nothing is ordered unless all of it is right.
func formOrders(form url.Values, actions []action, p *bay.Picture) ([]bay.Order, *problem) {
	body := orderBody{Action: form.Get("action"), By: form.Get("by"), ID: form.Get("id")}
	if body.Action == "open" && form.Get("cautions") != "read" {
		return nil, bad("read the caution and confirm it before you open a visit")
	}
	if body.Action != "fill" {
		o, wrong := body.order(actions, p.Pack.Cells)
		if wrong != nil {
			return nil, wrong
		}
		return []bay.Order{o}, nil
	}
	return fillOrders(body, form["ml"], actions, p.Pack.Cells)
}

func fillOrders(body orderBody, lines []string, actions []action, cells int) ([]bay.Order, *problem) {
	if len(lines) > cells {
		return nil, bad("the form has %d cells, the pack %d", len(lines), cells)
	}
	if body.ID == "" {
		body.ID = newID()
	}
	form := body.ID
	var orders []bay.Order
	for i, line := range lines {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		ml, err := strconv.ParseFloat(line, 64)
		if err != nil {
			return nil, bad("cell %d: value %s is not accepted: must be a number of millilitres, 0 to %d", i+1, quoted(line), bay.MaxFillML)
		}
		cell := i + 1
		body.Cell, body.ML, body.ID = &cell, &ml, fmt.Sprintf("%s-%d", form, cell)
		o, wrong := body.order(actions, cells)
		if wrong != nil {
			wrong.message = fmt.Sprintf("cell %d: %s", cell, wrong.message)
			return nil, wrong
		}
		orders = append(orders, o)
	}
	if len(orders) == 0 {
		return nil, bad("no cell has an amount: write the millilitres that were given, or close the visit")
	}
	return orders, nil
}
