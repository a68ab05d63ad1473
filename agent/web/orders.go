package web

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"bayward/agent/bay"
)

const (
	maxBodyBytes = 4 << 10
	maxNameRunes = 60
	maxIDBytes   = 64
	// submitFor is how long an order may wait for a tick: five are due in it.
	submitFor = 5 * time.Second
)

// action is one thing that a person may ask for, and the fields it needs
// besides the person.
type action struct {
	name  string
	kind  bay.OrderKind
	needs []string
}

var (
	visitActions = []action{
		{"open", bay.OrderVisitOpen, nil},
		{"fill", bay.OrderFill, []string{"cell", "ml"}},
		{"level", bay.OrderLevel, []string{"cell", "level_mm"}},
		{"quality", bay.OrderQuality, []string{"us_per_cm"}},
		{"gravity", bay.OrderGravity, []string{"cell", "gravity", "at_c"}},
		{"close", bay.OrderVisitClose, nil},
	}
	holdActions = []action{
		{"hold", bay.OrderHold, nil},
		{"unhold", bay.OrderUnhold, nil},
		{"release", bay.OrderRelease, nil},
	}
	packActions = []action{
		{"name", bay.OrderPack, []string{"pack"}},
		{"forget", bay.OrderPack, nil}, // take back what was said
	}
)

func bad(format string, args ...any) *problem {
	return &problem{http.StatusBadRequest, "bad-request", fmt.Sprintf(format, args...)}
}

// allowed holds back what only a known person with the right may order.
func (s *server) allowed(r *http.Request, kind bay.OrderKind) *problem {
	if s.may(r, kind) {
		return nil
	}
	if s.gate != nil {
		return &problem{
			http.StatusForbidden, "no-right",
			fmt.Sprintf("%s has the role %s; this order needs the role %s", person(r).Name, person(r).Role, needs(kind)),
		}
	}
	return &problem{
		http.StatusForbidden, "not-writable",
		"this listener does not know who asks, so it takes only holds; visits and releases are taken at the Pi itself (127.0.0.1) or behind authentication",
	}
}

// readBody reads one small JSON object with known fields.
func readBody(w http.ResponseWriter, r *http.Request) (*orderBody, *problem) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return nil, &problem{http.StatusUnsupportedMediaType, "content-type", "the body must be JSON, with Content-Type: application/json"}
	}
	decoder := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBodyBytes))
	decoder.DisallowUnknownFields()
	var body orderBody
	if err := decoder.Decode(&body); err != nil {
		return nil, unreadable(err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, bad("the body must be one JSON object and nothing after it")
	}
	return &body, nil
}

func unreadable(err error) *problem {
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return &problem{http.StatusRequestEntityTooLarge, "too-large", fmt.Sprintf("the body is larger than %d bytes", tooLarge.Limit)}
	}
	if wrong, ok := errors.AsType[*json.UnmarshalTypeError](err); ok && wrong.Field != "" {
		return bad("field %s: value (%s) is not accepted: must be %s", wrong.Field, wrong.Value, wanted(wrong.Type.Kind()))
	}
	if errors.Is(err, io.EOF) {
		return bad(`the body is empty: must be a JSON object such as {"action":"hold","by":"A. Person"}`)
	}
	return bad("the body is not accepted: %s", strings.TrimPrefix(err.Error(), "json: "))
}

func wanted(kind reflect.Kind) string {
	switch kind {
	case reflect.String:
		return "text in quotes"
	case reflect.Int:
		return "a whole number"
	default:
		return "a number"
	}
}

// order makes an order of a body, or says what is wrong with it.
func (b *orderBody) order(actions []action, cells int) (bay.Order, *problem) {
	what, wrong := pick(actions, b.Action)
	if wrong != nil {
		return bay.Order{}, wrong
	}
	o := bay.Order{ID: b.ID, Kind: what.kind, By: strings.TrimSpace(b.By)}
	if wrong := identify(&o); wrong != nil {
		return bay.Order{}, wrong
	}
	for _, f := range b.fields(&o, cells) {
		if wrong := f.check(what); wrong != nil {
			return bay.Order{}, wrong
		}
	}
	if wrong := b.packName(&o, what); wrong != nil {
		return bay.Order{}, wrong
	}
	return o, nil
}

// packName takes over the name of a pack; whether the bay has such a pack is its
// own matter.
func (b *orderBody) packName(o *bay.Order, what action) *problem {
	switch needed := slices.Contains(what.needs, "pack"); {
	case needed && b.Pack == nil:
		return bad("field pack is missing: action %s needs the name of a pack of this bay", what.name)
	case !needed && b.Pack != nil:
		return bad("field pack does not belong to action %s", what.name)
	case needed && !printable(*b.Pack, maxNameRunes):
		return bad("field pack: value %s is not accepted: must be the name of a pack of this bay", quoted(*b.Pack))
	case needed:
		o.Pack = *b.Pack
	}
	return nil
}

func pick(actions []action, name string) (action, *problem) {
	names := make([]string, len(actions))
	for i, a := range actions {
		if a.name == name {
			return a, nil
		}
		names[i] = a.name
	}
	return action{}, bad("field action: value %s is not accepted: must be one of %s", quoted(name), strings.Join(names, ", "))
}

// identify checks the person and the ID, and makes an ID where there is none.
func identify(o *bay.Order) *problem {
	if !printable(o.By, maxNameRunes) {
		return bad("field by: value %s is not accepted: must be the person's name, 1 to %d printable characters", quoted(o.By), maxNameRunes)
	}
	if o.ID == "" {
		o.ID = newID()
	}
	if len(o.ID) > maxIDBytes || !printable(o.ID, maxIDBytes) {
		return bad("field id: value %s is not accepted: must be 1 to %d printable characters", quoted(o.ID), maxIDBytes)
	}
	return nil
}

// seconds is a wait for the header Retry-After.
func seconds(d time.Duration) string { return strconv.Itoa(int(d/time.Second) + 1) }

// newID is unique without any memory.
func newID() string { return "web-" + rand.Text() }

func printable(s string, most int) bool {
	if s == "" || !utf8.ValidString(s) || utf8.RuneCountInString(s) > most {
		return false
	}
	return strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}

func quoted(s string) string {
	const most = 40
	if runes := []rune(s); len(runes) > most {
		s = string(runes[:most]) + "…"
	}
	return strconv.Quote(s)
}

// field is one number of an order with its bounds, which are those of the core.
type field struct {
	name      string
	given     *float64
	low, high float64
	store     func(float64)
}

func (b *orderBody) fields(o *bay.Order, cells int) []field {
	var cell *float64
	if b.Cell != nil {
		v := float64(*b.Cell)
		cell = &v
	}
	return []field{
		{"cell", cell, 1, float64(cells), func(v float64) { o.Cell = int(v) }},
		{"ml", b.ML, 0, bay.MaxFillML, func(v float64) { o.ML = v }},
		{"level_mm", b.LevelMM, -200, 200, func(v float64) { o.LevelMM = v }},
		{"gravity", b.Gravity, 1.0, 1.4, func(v float64) { o.Gravity = v }},
		{"at_c", b.AtC, -30, 70, func(v float64) { o.AtC = v }},
		{"us_per_cm", b.USPerCM, 0, bay.MaxUSPerCM, func(v float64) { o.USPerCM = v }},
	}
}

func (f field) check(a action) *problem {
	needed := false
	for _, name := range a.needs {
		needed = needed || name == f.name
	}
	switch {
	case needed && f.given == nil:
		return bad("field %s is missing: action %s needs %g to %g", f.name, a.name, f.low, f.high)
	case !needed && f.given != nil:
		return bad("field %s does not belong to action %s", f.name, a.name)
	case f.given == nil:
		return nil
	case !(*f.given >= f.low && *f.given <= f.high):
		return bad("field %s: value %g is not accepted: must be %g to %g", f.name, *f.given, f.low, f.high)
	}
	f.store(*f.given)
	return nil
}

// submit hands an order over and says what came of it.
func (s *server) submit(ctx context.Context, bayName string, o bay.Order) (string, *problem) {
	if s.Submit == nil {
		return "", &problem{http.StatusForbidden, "no-orders", "this program takes no orders"}
	}
	ctx, cancel := context.WithTimeout(ctx, submitFor)
	defer cancel()
	event, err := s.Submit(ctx, bayName, o)
	switch {
	case err != nil:
		return "", &problem{http.StatusServiceUnavailable, "no-answer", "the bay did not answer, so it is not known whether the order was taken: look at the bay, then send the same id again"}
	case event.Kind == bay.OrderRefused:
		return "", &problem{http.StatusConflict, "refused", event.Text}
	}
	return event.Text, nil
}
