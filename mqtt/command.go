package mqtt

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"bayward/agent/order"
	"bayward/agent/words"
)

// Limits of a command. They are part of the contract.
const (
	maxCommandBytes = 12288 // an entry of the largest pack, signed
	defaultExpiry   = time.Minute
	maxExpiry       = time.Hour
)

// askState is the one order that does not go to the bay: publish the state now.
const askState = "state"

// command is an order as written by its sender.
type command struct {
	order.Order           // Kind is order.None for askState
	name, to    string    // name of the order; the topic
	time        time.Time // zero if it is not given
	expiry      time.Duration
	given       map[string]bool // fields that are in it
}

// Reason is a code, for programs, for why an order was not carried out.
type Reason string

// The reasons. New ones may be added.
const (
	TooLarge     Reason = "too-large"
	BadJSON      Reason = "bad-json"
	BadField     Reason = "bad-field" // unknown, missing, given twice or not acceptable
	Retained     Reason = "retained"
	Stale        Reason = "stale"   // expired, or given before the agent started
	NotYet       Reason = "not-yet" // its time is in the future
	ClockUnset   Reason = "clock-unset"
	Repeated     Reason = "repeated" // another order had this id
	Unsigned     Reason = "unsigned" // the order needs a person's signature
	BadSignature Reason = "bad-signature"
	NoRight      Reason = "no-right"
	Busy         Reason = "busy"
	NoAnswer     Reason = "no-answer" // it is not known whether the bay accepted it
	Refused      Reason = "refused"   // by the bay, whose reason is in the text
)

// refusal is the reason why a command is not carried out.
type refusal struct {
	reason Reason
	text   string // one sentence for people
}

func refuse(r Reason, format string, args ...any) *refusal {
	return &refusal{r, fmt.Sprintf(format, args...)}
}

// field is where a member of the object is stored, and what it accepts.
type field struct {
	into    any
	accepts string
}

func (c *command) fields(v *int, at *string, expiry *int) map[string]field {
	text := func(p *string, most int) field {
		return field{p, fmt.Sprintf("text of 1 to %d printable characters", most)}
	}
	all := map[string]field{
		"v":         {v, "1"},
		"id":        text(&c.ID, order.MaxIDBytes),
		"time":      {at, "RFC 3339 with a zone, such as 2026-03-01T05:07:08Z"},
		"expires_s": {expiry, fmt.Sprintf("whole seconds, 1 to %d", int(maxExpiry.Seconds()))},
		"to":        {&c.to, "the topic that the command is published on"},
		"by":        text(&c.By, order.MaxNameRunes),
		"order":     {&c.name, "the name of an order"},
		"note":      text(&c.Note, order.MaxNoteRunes),
	}
	for _, f := range order.Fields() {
		all[f.Name] = field{f.Place(&c.Order), f.Accepts(f.Low, f.High)}
	}
	return all
}

// parse reads the object of one order. After a wrong field it still reads the
// others, so that the answer can name the id.
func parse(payload []byte) (c command, wrong *refusal) {
	c.given = map[string]bool{}
	v, at, expiry := 0, "", int(defaultExpiry.Seconds())
	wrong = readObject(payload, c.fields(&v, &at, &expiry), c.given)
	if !order.Printable(c.ID, order.MaxIDBytes) || len(c.ID) > order.MaxIDBytes {
		wrong, c.ID = first(wrong, c.badText("id", order.MaxIDBytes)), ""
	}
	if v != 1 {
		wrong = first(wrong, refuse(BadField, "field v must be 1, the only version that this agent reads"))
	}
	if c.given["time"] {
		parsed, err := time.Parse(time.RFC3339, at)
		if err != nil {
			wrong = first(wrong, refuse(BadField, "field time is not accepted: must be RFC 3339 with a zone, such as 2026-03-01T05:07:08Z"))
		}
		c.time = parsed
	}
	c.expiry = time.Duration(expiry) * time.Second
	if expiry < 1 || c.expiry > maxExpiry {
		wrong = first(wrong, refuse(BadField, "field expires_s: %d is not accepted: must be 1 to %d", expiry, int(maxExpiry.Seconds())))
	}
	return c, first(wrong, c.check())
}

// check checks the fields together, and blanks what must not be repeated in an
// answer. The bay itself checks whether a number suits the pack.
func (c *command) check() (wrong *refusal) {
	kind, ok := order.Parse(c.name)
	if c.Kind = kind; !ok && c.name != askState {
		c.name = ""
		wrong = refuse(BadField, "field order is not accepted: must be %s or %s", strings.Join(orderNames(), ", "), askState)
	}
	if c.given["by"] && !order.Printable(c.By, order.MaxNameRunes) {
		c.By = ""
		wrong = first(wrong, c.badText("by", order.MaxNameRunes))
	}
	if c.given["note"] && !order.Printable(c.Note, order.MaxNoteRunes) {
		wrong = first(wrong, c.badText("note", order.MaxNoteRunes))
	}
	return first(wrong, c.checkFields())
}

// checkFields checks the fields against the order's row.
func (c *command) checkFields() (wrong *refusal) {
	for _, f := range order.Fields() {
		if why := f.Check(&c.Order, order.Limits{}); why != nil && f.IsText() && c.given[f.Name] {
			wrong = first(wrong, misfit(why))
		}
	}
	c.LeaveOut(func(name string) bool { return !c.given[name] })
	if why := order.Given(c.Kind, func(name string) bool { return c.given[name] }); why != nil {
		wrong = first(wrong, misfit(why))
	}
	return wrong
}

// misfit names the fields that are wrong, as programs do.
func misfit(why *order.Refusal) *refusal {
	return refuse(BadField, "field %s: %s", why.Keys(), words.EnglishSI().Refusal(why))
}

func (c *command) badText(name string, most int) *refusal {
	if !c.given[name] {
		return refuse(BadField, "field %s is missing", name)
	}
	return refuse(BadField, "field %s is not accepted: must be text of 1 to %d printable characters", name, most)
}

// bayOrder returns the order as the bay accepts it.
func (c *command) bayOrder(id, by string) order.Order {
	o := c.Order
	o.ID, o.By = id, by
	return o
}

func orderNames() []string {
	var names []string
	for k := order.None + 1; k < order.NumKinds; k++ {
		names = append(names, k.String())
	}
	return names
}

func first(a, b *refusal) *refusal {
	if a != nil {
		return a
	}
	return b
}

// readObject reads one JSON object with exactly named members. The standard
// decoder would accept ORDER for order, and the last of two.
func readObject(payload []byte, fields map[string]field, given map[string]bool) (wrong *refusal) {
	if !utf8.Valid(payload) {
		return refuse(BadJSON, "the command is not UTF-8 text")
	}
	d := json.NewDecoder(bytes.NewReader(payload))
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		return refuse(BadJSON, `the command must be one JSON object, such as {"v":1,"id":"a-1","order":"hold","by":"A. Person"}`)
	}
	for d.More() {
		name, value, err := member(d)
		if err != nil {
			return refuse(BadJSON, "the command is not JSON: %s", jsonFault(err))
		}
		wrong = first(wrong, store(fields, given, name, value))
	}
	if _, err := d.Token(); err != nil {
		return refuse(BadJSON, "the command is not JSON: %s", jsonFault(err))
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return refuse(BadJSON, "the command must be one JSON object and nothing after it")
	}
	return wrong
}

func member(d *json.Decoder) (name string, value json.RawMessage, err error) {
	key, err := d.Token()
	if err != nil {
		return "", nil, err
	}
	name, _ = key.(string) // a key is always text
	return name, value, d.Decode(&value)
}

func store(fields map[string]field, given map[string]bool, name string, value json.RawMessage) *refusal {
	f, known := fields[name]
	switch {
	case !known:
		return refuse(BadField, "unknown field %s", short(name))
	case given[name]:
		return refuse(BadField, "field %s is given twice", name)
	}
	given[name] = true
	if string(value) == "null" || json.Unmarshal(value, f.into) != nil {
		return refuse(BadField, "field %s: %s is not accepted: must be %s", name, short(string(value)), f.accepts)
	}
	return nil
}

func jsonFault(err error) string {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return "it ends too early"
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// short quotes the beginning of text from outside.
func short(s string) string {
	const most = 40
	if runes := []rune(s); len(runes) > most {
		s = string(runes[:most]) + "…"
	}
	return fmt.Sprintf("%q", s)
}
