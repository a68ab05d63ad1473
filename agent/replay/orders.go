package replay

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// Orders are what people did while a trace was recorded, by time: the rows of
// `bayward records export --table orders --format json`, or rows with the members of
// an MQTT command. Each line is a JSON object; lines that begin with # are comments.
type Orders struct {
	name string
	all  []given
	next int
}

// given is one order with its place in the file.
type given struct {
	order.Order
	line  int
	atS   float64 // on the clock of the trace
	field string  // that has the time
	text  string  // of the time, as written
}

// OrderOptions are what reading orders needs to know.
type OrderOptions struct {
	Start time.Time  // when time_s was 0, for orders with a time of the wall clock; zero: unknown
	Packs []bay.Pack // that may be plugged in, all with the same number of cells
}

// beside are the members of a row besides those of an order. The last ones are in an
// export, or in a command, and have no meaning here.
var beside = []string{
	"time_s", "time", "id", "by", "order", "note", "result",
	"bay", "seq", "time_trusted", "boot_id", "mono_s", "code", "v", "to", "expires_s",
}

// What became of an order, in the member result of an export. One that was refused is
// given again, whatever is wrong with it.
const done, refused = "done", "refused"

// ReadOrders reads all orders of a file, plain or gzip; the name is used in messages.
// An error about the content is a *TraceError.
func ReadOrders(name string, r io.Reader, opt OrderOptions) (*Orders, error) {
	in, err := unzip(name, bufio.NewReader(r))
	if err != nil {
		return nil, err
	}
	all := &Orders{name: name}
	of := ""
	for n := 1; ; n++ {
		line, rerr := in.ReadString('\n')
		if text := strings.TrimSuffix(strings.TrimSpace(line), ","); text != "" && text != "[" && text != "]" && text != "[]" && text[0] != '#' {
			row := orderRow{name: name, given: given{line: n}, bay: &of, members: map[string]string{}}
			if err := row.read(text, opt); err != nil {
				return nil, err
			}
			all.all = append(all.all, row.given)
		}
		switch {
		case errors.Is(rerr, io.EOF):
			slices.SortStableFunc(all.all, func(a, b given) int { return compare(a.atS, b.atS) })
			return all, nil
		case rerr != nil:
			return nil, words.Fail("replay.read", name, rerr)
		}
	}
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// orderRow is a row while it is read.
type orderRow struct {
	given
	name    string
	bay     *string           // of the rows before, "" for none
	members map[string]string // as written, without null
}

func (r *orderRow) bad(field string, accepted words.Sentence) error {
	return &TraceError{r.name, r.line, field, r.members[field], accepted}
}

func (r *orderRow) read(text string, opt OrderOptions) error {
	if err := r.split(text); err != nil {
		return err
	}
	if err := r.oneBay(); err != nil {
		return err
	}
	if err := r.time(opt.Start); err != nil {
		return err
	}
	if err := r.who(); err != nil {
		return err
	}
	for _, f := range order.Fields() {
		value, there := r.members[f.Name]
		if there && json.Unmarshal([]byte(value), f.Place(&r.Order)) != nil {
			return r.bad(f.Name, accepts(f, f.Low, f.High))
		}
	}
	has := func(field string) bool { _, there := r.members[field]; return there }
	r.LeaveOut(func(field string) bool { return !has(field) })
	switch r.string("result") {
	case refused:
		return nil
	case done:
		r.asSent(opt.Packs)
	}
	why := order.Given(r.Kind, has)
	if why == nil {
		why = order.Check(&r.Order, order.Limits{Cells: opt.Packs[0].Cells})
	}
	switch {
	case why == nil:
		return nil
	case (why.Code == order.OutOfRange || why.Code == order.Missing) && why.Field != nil:
		return r.bad(why.Keys(), accepts(why.Field, why.Low, why.High))
	}
	return r.bad(why.Keys(), words.Of("replay.refused", refusal{why}))
}

// refusal is why an order is refused, as an error that can be worded. A file of orders is
// in SI units, whatever the reader's are.
type refusal struct{ *order.Refusal }

// Error is the refusal in English.
func (r refusal) Error() string { return r.In(words.EnglishSI()) }

// In is the same in a person's language.
func (r refusal) In(v words.Voice) string { return words.New(v.Language(), "").Refusal(r.Refusal) }

// accepts is what a field of a row accepts within bounds, as JSON has it.
func accepts(f *order.Field, low, high float64) words.Sentence {
	from, to := bound(low), f.Write(high)
	switch {
	case f.IsConfirmation():
		return words.Of("replay.only-true")
	case f.IsFlag():
		return words.Of("replay.flag")
	case f.IsList():
		return words.Of("replay.list", from, bound(high))
	case len(f.Words) > 0:
		last := len(f.Words) - 1
		return words.Of("accept.or", strings.Join(f.Words[:last], ", "), f.Words[last])
	case f.IsText():
		return words.Of("accept.text", from, bound(high))
	case f.IsWhole():
		return words.Of("accept.whole", from, to)
	}
	return words.Of("accept.number", from, to)
}

func bound(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// asSent takes away what the core worked out for cells that were filled to the mark: the
// record has the amount, and the mark itself as the level.
func (r *orderRow) asSent(packs []bay.Pack) {
	for i := range r.Cells {
		c := &r.Cells[i]
		if c.How != order.ToMark {
			continue
		}
		c.ML = nil
		if c.LevelMM != nil && slices.ContainsFunc(packs, func(p bay.Pack) bool { return p.FillMarkMM == *c.LevelMM }) {
			c.LevelMM = nil
		}
	}
}

// split reads the members of the object, each once. The standard decoder would accept
// ML for ml, the last of two, and unknown ones.
func (r *orderRow) split(text string) error {
	accepted := words.Of("replay.object", `{"time_s":3600,"by":"A. Person","order":"hold"}`)
	d := json.NewDecoder(strings.NewReader(text))
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		return r.bad("", accepted)
	}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return r.bad("", accepted)
		}
		name, _ := key.(string) // a key is always text
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return r.bad("", accepted)
		}
		if err := r.member(name, value); err != nil {
			return err
		}
	}
	if _, err := d.Token(); err != nil || d.More() {
		return r.bad("", accepted)
	}
	return nil
}

// member takes one member of the object.
func (r *orderRow) member(name string, value json.RawMessage) error {
	if _, twice := r.members[name]; twice {
		return r.bad(name, words.Of("replay.member-twice"))
	}
	if f := order.FieldOf(name); !slices.Contains(beside, name) && (f == nil || !slices.Contains(order.Fields(), f)) {
		return &TraceError{r.name, r.line, name, string(value), words.Of("replay.member", strings.Join(orderMembers(), ", "))}
	}
	if !bytes.Equal(value, []byte("null")) {
		r.members[name] = string(value)
	}
	return nil
}

// orderMembers lists what a row may have and uses.
func orderMembers() []string {
	all := slices.Clone(beside[:7])
	for _, f := range order.Fields() {
		all = append(all, f.Name)
	}
	return all
}

// string returns a member that is a text, "" for anything else.
func (r *orderRow) string(member string) (text string) {
	_ = json.Unmarshal([]byte(r.members[member]), &text)
	return text
}

// oneBay refuses a file with orders of several bays, as an export has them.
func (r *orderRow) oneBay() error {
	name := r.string("bay")
	if *r.bay != "" && name != "" && name != *r.bay {
		return r.bad("bay", words.Of("replay.one-bay", *r.bay, *r.bay))
	}
	if name != "" {
		*r.bay = name
	}
	return nil
}

// time finds the order's time on the clock of the trace.
func (r *orderRow) time(start time.Time) error {
	seconds, inTrace := r.members["time_s"]
	text, onWall := r.members["time"]
	switch {
	case inTrace:
		r.field, r.text = "time_s", seconds
		if json.Unmarshal([]byte(seconds), &r.atS) != nil || r.atS > maxTimeS || r.atS < -maxTimeS {
			return r.bad("time_s", words.Of("replay.seconds-of-trace"))
		}
	case !onWall:
		return r.bad("time_s", words.Of("replay.order-time"))
	default:
		r.field, r.text = "time", text
		at, err := time.Parse(time.RFC3339, r.string("time"))
		if err != nil {
			return r.bad("time", words.Of("replay.wall-time"))
		}
		if start.IsZero() {
			return r.bad("time", words.Of("replay.needs-start"))
		}
		r.atS = at.Sub(start).Seconds()
	}
	return nil
}

// On record, an unsigned order has a longer name and number than its sender gave it.
const mostName, mostID = order.MaxNameRunes + 20, order.MaxIDBytes + 8

// who reads the members that every order has.
func (r *orderRow) who() error {
	again := r.string("result") == refused // whatever is wrong with it
	for _, m := range []struct {
		name   string
		to     *string
		most   int
		needed bool
	}{{"id", &r.ID, mostID, false}, {"by", &r.By, mostName, true}, {"note", &r.Note, order.MaxNoteRunes, false}} {
		value, there := r.members[m.name]
		if there && json.Unmarshal([]byte(value), m.to) != nil || !again && (there || m.needed) && !order.Printable(*m.to, m.most) {
			return r.bad(m.name, words.Of("replay.text", m.most))
		}
	}
	if _, there := r.members["id"]; !there {
		r.ID = fmt.Sprintf("line-%d", r.line)
	}
	kind, ok := order.Parse(r.string("order"))
	if !ok {
		return r.bad("order", words.Of("replay.order-name", strings.Join(orderNames(), ", ")))
	}
	r.Kind = kind
	return nil
}

func orderNames() (names []string) {
	for k := order.None + 1; k < order.NumKinds; k++ {
		names = append(names, k.String())
	}
	return names
}

// due returns when the next order is due; ok is false when there is none.
func (o *Orders) due() (atS float64, ok bool) {
	if o == nil || o.next == len(o.all) {
		return 0, false
	}
	return o.all[o.next].atS, true
}

// take returns all orders of one time.
func (o *Orders) take(atS float64) (orders []order.Order) {
	for ; o.next < len(o.all) && o.all[o.next].atS == atS; o.next++ {
		orders = append(orders, o.all[o.next].Order)
	}
	return orders
}

// outside is the error for the next order, which is not within the trace.
func (o *Orders) outside(accepted words.Sentence) error {
	g := &o.all[o.next]
	return &TraceError{o.name, g.line, g.field, g.text, accepted}
}
