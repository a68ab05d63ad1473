package words

import (
	"strconv"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/order"
)

// Refused states that an order is refused, and why: of an entry, each fault.
func (v Voice) Refused(r *order.Refusal) string {
	if r.Cell == 0 {
		name, why := v.orderName(r.Kind), v.Refusal(r)
		if fields := r.Fields(); len(fields) > 0 {
			return v.Say("order.refused.field", name, why, v.either(fields))
		}
		return v.Say("order.refused", name, why)
	}
	var all []string
	for _, fault := range r.Faults() {
		all = append(all, v.CellFault(&fault))
	}
	return v.Say("order.refused", v.orderName(r.Kind), strings.Join(all, "; "))
}

// NotOnRecord describes an order that was taken and is in force, but is not on record
// yet.
func (v Voice) NotOnRecord(e *bay.Event) string { return v.Say("order.in-force", v.Event(e)) }

// CellFault states what is wrong with one line of an entry: a clause that names the
// cell and the field.
func (v Voice) CellFault(r *order.Refusal) string {
	if fields := r.Fields(); len(fields) > 0 {
		return v.Say("order.fault.field", r.Cell, v.either(fields), v.Refusal(r))
	}
	return v.Say("order.fault", r.Cell, v.Refusal(r))
}

// orderName also names an unknown order and one from a newer program.
func (v Voice) orderName(k order.Kind) string {
	if k.Row() == nil {
		return v.Say("order.unknown")
	}
	return v.Say("order." + k.String())
}

// Refusal states why an order is refused: a clause, without a full stop and
// without the name of the wrong field.
func (v Voice) Refusal(r *order.Refusal) string {
	key := "refusal." + r.Code.String()
	if !strings.Contains(v.Say(key), "%") {
		return v.Say(key)
	}
	var value, accepts string
	switch f := r.Field; {
	case f == nil:
	case r.Code == order.AboveVentWell || r.Code.Asks():
		value, accepts = v.asked(r)
	default:
		value, accepts = v.inOrder(f, r.Value), v.Accepts(f, r.Low, r.High)
	}
	return v.Say(key, value, accepts, v.named(r))
}

// asked returns the two figures of a refusal that compares one with another.
func (v Voice) asked(r *order.Refusal) (value, other string) {
	show := func(x float64) string { return v.inOrder(r.Field, x) }
	if r.Code.Asks() && (r.Field.Unit == order.Millimetres || r.Field == order.HowField) { // worked out, so not to the last digit
		show = v.heightShort
	}
	switch low, high := r.Code.HasBounds(); {
	case low && high:
		return show(r.Value), v.Say("accept.number", show(r.Low), show(r.High))
	case low:
		return show(r.Value), show(r.Low)
	}
	return show(r.Value), show(r.High)
}

// Accepts states what a field of an order accepts within bounds, such as "0 to
// 2000 ml".
func (v Voice) Accepts(f *order.Field, low, high float64) string {
	switch {
	case f.IsConfirmation():
		return "true"
	case f.IsFlag():
		return v.Say("accept.flag")
	case f.IsList():
		return v.Say("accept.list", plain(low), plain(high))
	case len(f.Words) > 0:
		last := len(f.Words) - 1
		return v.Say("accept.or", strings.Join(f.Words[:last], ", "), f.Words[last])
	case f.IsText():
		return v.Say("accept.text", plain(low), plain(high))
	case f.IsWhole():
		return v.Say("accept.whole", plain(low), plain(high))
	}
	return v.Say("accept.number", v.words.point(plain(v.Typed(f.Unit).Of(low))), v.inOrder(f, high))
}

// Typed returns how the reader writes numbers of a unit.
func (v Voice) Typed(u order.Unit) Measure {
	switch u {
	case order.Millimetres:
		return v.units.Length
	case order.Celsius:
		return v.units.Temperature
	case order.Millilitres:
		return v.units.Volume
	case order.One, order.CellLines, order.YesNo:
		return Measure{Num: 1, Den: 1}
	default:
		return Measure{Symbol: string(u), Num: 1, Den: 1}
	}
}

// Recorded shows a value of a field as it was recorded, with its unit.
func (v Voice) Recorded(f *order.Field, x float64) string { return v.inOrder(f, x) }

// inOrder shows a number with all the digits that distinguish it from a bound.
func (v Voice) inOrder(f *order.Field, x float64) string {
	m := v.Typed(f.Unit)
	return strings.TrimSpace(v.words.point(plain(m.Of(x))) + " " + m.Symbol)
}

func plain(x float64) string {
	const digits = 7 // a bound in another unit is not a round number
	text := strconv.FormatFloat(x, 'g', digits, 64)
	if y, err := strconv.ParseFloat(text, 64); err == nil {
		text = strconv.FormatFloat(y, 'f', -1, 64)
	}
	return text
}

// either names alternative fields, any one of which is meant.
func (v Voice) either(fields []*order.Field) string {
	text := ""
	for i, f := range fields {
		if name := v.Say("field." + f.Name); i == 0 {
			text = name
		} else {
			text = v.Say("accept.or", text, name)
		}
	}
	return text
}

// named quotes what the user wrote, and names a person of whom no name is left.
func (v Voice) named(r *order.Refusal) string {
	switch r.Code {
	case order.NoSuchLock, order.NotYourLock, order.OthersInVisit:
		return v.Person(r.Name)
	default:
	}
	if r.Code != order.BadText && r.Code != order.NoSuchPack {
		return r.Name
	}
	const most = 40
	if runes := []rune(r.Name); len(runes) > most {
		return strconv.Quote(string(runes[:most]) + "…")
	}
	return strconv.Quote(r.Name)
}

// Done states what an order has changed, with the user's note.
func (v Voice) Done(o *order.Order) string {
	key := "done." + o.Kind.String()
	var text string
	switch o.Kind {
	case order.Fill, order.Gravity, order.Level, order.Entry:
		if text = v.entries(o); o.Late() {
			text = v.Say("done.late", o.DoneBy, o.DoneAt) + " " + text
		}
	case order.Correct:
		text = v.corrected(o, nil)
	case order.Accept:
		text = v.Say(key, o.Reason)
	case order.Quality:
		text = v.water(key, o)
	case order.Hold:
		if text = v.Say(key); o.Reason != "" {
			text = v.Say(key+".reason", o.Reason)
		}
	case order.LockRemove:
		text = v.Say(key+when(o.Lock == order.LockVisit, ".visit"), v.Person(o.Of), o.Reason)
	case order.Pack:
		if text = v.Say(key + ".forgotten"); o.Pack != "" {
			text = v.Say(key, o.Pack)
		}
	case order.None: // from a newer program
		text = v.Say("event.other")
	default:
		text = v.Say(key)
	}
	if o.Kind == order.VisitOpen || o.Kind == order.VisitClose { // a visit's own events carry its notes
		return text
	}
	return v.withNote(text, o)
}

// corrected states what a correction has replaced, where it is known, and by what.
func (v Voice) corrected(o *order.Order, old *float64) string {
	f := order.FieldOf(o.Field)
	if f == nil { // from a newer program
		return v.Say("event.other")
	}
	show := func(x *float64) string {
		if x == nil {
			return v.Say("correct.nothing")
		}
		return v.inOrder(f, *x)
	}
	name := v.Say("field." + f.Name)
	if old == nil {
		old = o.Was
	}
	if o.Value == nil {
		return v.Say("done.correct.void", o.Cell, name, show(old), o.Reason)
	}
	return v.Say("done.correct", o.Cell, name, show(old), show(o.Value), o.Reason)
}

// entries states what was done at each cell, a sentence each.
func (v Voice) entries(o *order.Order) string {
	var all []string
	for _, c := range o.Entries() {
		all = append(all, v.entry(&c)...)
	}
	if len(all) == 0 {
		return v.Say("done.entry")
	}
	return strings.Join(all, " ")
}

func (v Voice) entry(c *order.CellEntry) (all []string) {
	if c.ML != nil {
		key := "done.fill"
		if c.How == order.ToMark || c.How == order.AsProposed {
			key += "." + string(c.How)
		}
		all = append(all, v.Say(key, c.Cell, v.Volume(*c.ML)))
	}
	if c.DrawnML != nil {
		all = append(all, v.Say("done.entry.drawn", c.Cell, v.Volume(*c.DrawnML)))
	}
	if c.Dry {
		all = append(all, v.Say("done.entry.dry", c.Cell))
	}
	if c.LevelMM != nil {
		all = append(all, v.Say("done.level", c.Cell, v.heightShort(*c.LevelMM)))
	}
	if c.Gravity != nil && c.AtC != nil {
		all = append(all, v.Say("done.gravity", c.Cell, *c.Gravity, v.Temperature(*c.AtC)))
	}
	return all
}

// withNote appends the user's note.
func (v Voice) withNote(text string, o *order.Order) string {
	if o.Note == "" {
		return text
	}
	return text + " " + v.Confirmed(o.Note)
}

func (v Voice) water(key string, o *order.Order) string {
	text := v.Say(key + ".unmeasured")
	if !o.Unmeasured {
		text = v.Say(key, o.USPerCM)
	}
	if o.Water == "" {
		return text
	}
	return v.Say(key+".kind", text, v.Say("quality.kind."+o.Water))
}
