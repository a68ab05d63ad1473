package words

import (
	"strconv"
	"strings"

	"bayward/agent/order"
)

// Refused states that an order is refused, and why.
func (v Voice) Refused(r *order.Refusal) string {
	name, why := v.orderName(r.Kind), v.Refusal(r)
	if fields := r.Fields(); len(fields) > 0 {
		return v.Say("order.refused.field", name, why, v.either(fields))
	}
	return v.Say("order.refused", name, why)
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
	case r.Code == order.AboveVentWell:
		value, accepts = v.inOrder(f, r.Value), v.inOrder(f, r.High)
	default:
		value, accepts = v.inOrder(f, r.Value), v.Accepts(f, r.Low, r.High)
	}
	return v.Say(key, value, accepts, named(r))
}

// Accepts states what a field of an order accepts within bounds, such as "0 to
// 2000 ml".
func (v Voice) Accepts(f *order.Field, low, high float64) string {
	switch {
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
	case order.One:
		return Measure{Num: 1, Den: 1}
	default:
		return Measure{Symbol: string(u), Num: 1, Den: 1}
	}
}

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

// named quotes what the user wrote.
func named(r *order.Refusal) string {
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
	case order.Fill:
		text = v.Say(key, o.Cell, v.Volume(o.ML))
	case order.Gravity:
		text = v.Say(key, o.Cell, o.Gravity, v.Temperature(o.AtC))
	case order.Level:
		text = v.Say(key, o.Cell, v.heightShort(o.LevelMM))
	case order.Quality:
		text = v.water(key, o)
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
	return withNote(text, o)
}

// withNote appends the user's note.
func withNote(text string, o *order.Order) string {
	if o.Note == "" {
		return text
	}
	return text + " " + o.Note
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
