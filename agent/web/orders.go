package web

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

const (
	maxBodyBytes = 12 << 10 // an entry of the largest pack
	// submitFor is how long an order may wait for a tick: five ticks are due in that
	// time.
	submitFor = 5 * time.Second
)

// namePack and forgetPack are the two actions of order.Pack here. With a single
// action, a program that omits the name would take back a person's choice.
const namePack, forgetPack = "name", "forget"

// actions returns the orders of one address and their names there: at …/visit the
// order visit-open is the action open.
func actions(of order.Subject) (names []string, kinds []order.Kind) {
	if of == order.OfPack {
		return []string{namePack, forgetPack}, []order.Kind{order.Pack, order.Pack}
	}
	for k := order.None + 1; k < order.NumKinds; k++ {
		if row := k.Row(); row.Of == of {
			names, kinds = append(names, strings.TrimPrefix(row.Name, "visit-")), append(kinds, k)
		}
	}
	return names, kinds
}

func bad(format string, args ...any) *problem {
	return failed(http.StatusBadRequest, "bad-request", fmt.Sprintf(format, args...))
}

// allowed blocks orders that require a known person with the right.
func (s *server) allowed(r *http.Request, kind order.Kind) *problem {
	if s.may(r, kind) {
		return nil
	}
	if s.gate != nil {
		return failed(http.StatusForbidden, "no-right",
			fmt.Sprintf("%s has the role %s; this order needs the role %s", person(r).Name, person(r).Right, kind.Row().Right))
	}
	return failed(http.StatusForbidden, "not-writable",
		"this listener does not know who asks, so it takes only holds; visits and releases are taken at the Pi itself (127.0.0.1) or behind authentication")
}

// readBody reads one small JSON object with known fields.
func readBody(w http.ResponseWriter, r *http.Request) (*orderBody, *problem) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return nil, failed(http.StatusUnsupportedMediaType, "content-type", "the body must be JSON, with Content-Type: application/json")
	}
	decoder := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBodyBytes))
	var members map[string]json.RawMessage
	if err := decoder.Decode(&members); err != nil {
		return nil, unreadable(err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, bad("the body must be one JSON object and nothing after it")
	}
	return newBody(members)
}

// orderBody is the body of POST …/visit, …/hold and …/pack: an order in progress and
// the name of its action.
type orderBody struct {
	order.Order
	action string
	given  map[string]bool // the order's own fields that are set
}

func newBody(members map[string]json.RawMessage) (*orderBody, *problem) {
	b := &orderBody{given: map[string]bool{}}
	places := map[string]any{"action": &b.action, "by": &b.By, "id": &b.ID}
	for _, f := range order.Fields() {
		places[f.Name] = f.Place(&b.Order)
	}
	for _, name := range slices.Sorted(maps.Keys(members)) {
		place, known := places[name]
		if !known {
			return nil, bad("the body is not accepted: unknown field %s", quoted(name))
		}
		if string(members[name]) == "null" { // the same as left out
			continue
		}
		if err := json.Unmarshal(members[name], place); err != nil {
			return nil, misfit(name, place, err)
		}
		b.given[name] = true
	}
	return b, nil
}

func unreadable(err error) *problem {
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return failed(http.StatusRequestEntityTooLarge, "too-large", fmt.Sprintf("the body is larger than %d bytes", tooLarge.Limit))
	}
	if errors.Is(err, io.EOF) {
		return bad(`the body is empty: must be a JSON object such as {"action":"hold","by":"A. Person"}`)
	}
	return bad("the body is not accepted: %s", strings.TrimPrefix(err.Error(), "json: "))
}

func misfit(name string, place any, err error) *problem {
	value := "as written"
	if wrong, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		value = wrong.Value
	}
	return bad("field %s: value (%s) is not accepted: must be %s", name, value, wanted(place))
}

func wanted(place any) string {
	switch place.(type) {
	case *string:
		return "text in quotes"
	case *int:
		return "a whole number"
	default:
		return "a number"
	}
}

// judged returns the order of a body, or its problem.
func (b *orderBody) judged(of order.Subject, cells int) (order.Order, *problem) {
	names, kinds := actions(of)
	i := slices.Index(names, b.action)
	if i < 0 {
		return order.Order{}, bad("field action: value %s is not accepted: must be one of %s", quoted(b.action), strings.Join(names, ", "))
	}
	b.Kind, b.By = kinds[i], strings.TrimSpace(b.By)
	if wrong := identify(&b.Order); wrong != nil {
		return order.Order{}, wrong
	}
	why := b.judgePack()
	if why == nil {
		why = order.Given(b.Kind, func(name string) bool { return b.given[name] })
	}
	b.LeaveOut(func(name string) bool { return !b.given[name] })
	if why == nil {
		why = order.Check(&b.Order, order.Limits{Cells: cells})
	}
	if why != nil {
		return order.Order{}, &problem{http.StatusBadRequest, "bad-request", "field " + why.Keys() + ": " + words.EnglishSI().Refusal(why), why}
	}
	return b.Order, nil
}

// judgePack distinguishes the two actions of order.Pack.
func (b *orderBody) judgePack() *order.Refusal {
	f, named := order.PackField, order.Refusal{Code: order.BadText, Kind: order.Pack, Field: order.PackField, Low: 1, High: order.PackField.High}
	switch {
	case b.action == forgetPack && b.given[f.Name]:
		return &order.Refusal{Code: order.Stray, Kind: order.Pack, Field: f}
	case b.action == forgetPack:
		b.given[f.Name] = true
	case b.action == namePack && !b.given[f.Name]:
		named.Code = order.Missing
		return &named
	case b.action == namePack && b.Pack == "":
		return &named
	}
	return nil
}

// identify checks the person and the ID. It creates an ID if there is none.
func identify(o *order.Order) *problem {
	if !order.Printable(o.By, order.MaxNameRunes) {
		return bad("field by: value %s is not accepted: must be the person's name, 1 to %d printable characters", quoted(o.By), order.MaxNameRunes)
	}
	if o.ID == "" {
		o.ID = newID()
	}
	if len(o.ID) > order.MaxIDBytes || !order.Printable(o.ID, order.MaxIDBytes) {
		return bad("field id: value %s is not accepted: must be 1 to %d printable characters", quoted(o.ID), order.MaxIDBytes)
	}
	return nil
}

// seconds formats a wait for the header Retry-After.
func seconds(d time.Duration) string { return strconv.Itoa(int(d/time.Second) + 1) }

// newID returns a unique ID without storing the earlier ones.
func newID() string { return "web-" + rand.Text() }

func quoted(s string) string {
	const most = 40
	if runes := []rune(s); len(runes) > most {
		s = string(runes[:most]) + "…"
	}
	return strconv.Quote(s)
}

// answer is the result of an order that was taken.
type answer struct {
	event    bay.Event
	onRecord bool // otherwise it is in force, and a crash would lose it
}

// text returns the answer in a language.
func (a *answer) text(v words.Voice) string {
	if a.onRecord {
		return v.Event(&a.event)
	}
	return v.NotOnRecord(&a.event)
}

// submit hands an order over and returns its result.
func (s *server) submit(ctx context.Context, bayName string, o order.Order) (answer, *problem) {
	if s.Submit == nil {
		return answer{}, failed(http.StatusForbidden, "no-orders", "this program takes no orders")
	}
	ctx, cancel := context.WithTimeout(ctx, submitFor)
	defer cancel()
	event, err := s.Submit(ctx, bayName, o)
	switch {
	case errors.Is(err, order.ErrNotOnRecord):
		return answer{event, false}, nil
	case err != nil:
		return answer{}, failed(http.StatusServiceUnavailable, "no-answer", "the bay did not answer, so it is not known whether the order was taken: look at the bay, then send the same id again")
	case event.Kind == bay.OrderRefused:
		return answer{}, &problem{http.StatusConflict, "refused", words.EnglishSI().Event(&event), &event.Why}
	}
	return answer{event, true}, nil
}
