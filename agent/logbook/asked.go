package logbook

import (
	"bayward/agent/bay"
	"bayward/agent/order"
)

// Asked is an order as it is kept with the event that says what became of it.
type Asked struct {
	Order   string         `json:"order"`
	Fields  map[string]any `json:"fields,omitempty"` // by the names that messages have
	Note    string         `json:"note,omitempty"`
	Refused *Refused       `json:"refused,omitempty"`
}

// Refused is why an order was refused, see order.Refusal.
type Refused struct {
	Code  string `json:"code"`
	Cell  int    `json:"cell,omitempty"`
	Field string `json:"field,omitempty"`
	Value Num    `json:"value,omitempty"`
	Low   Num    `json:"low,omitempty"`
	High  Num    `json:"high,omitempty"`
	Name  string `json:"name,omitempty"`
}

func askedOf(e *bay.Event) *Asked {
	o, why := &e.Asked, &e.Why
	if o.Kind == order.None && o.ID == "" && o.By == "" { // nobody said what it was
		return nil
	}
	a := &Asked{Order: o.Kind.String(), Fields: o.Members(), Note: o.Note}
	if why.Code == order.NoCode {
		return a
	}
	a.Refused = &Refused{Code: why.Code.String(), Cell: why.Cell, Name: why.Name}
	if f := why.Field; f != nil {
		a.Refused.Field, a.Refused.Value, a.Refused.Low, a.Refused.High = f.Name, Known(why.Value), Known(why.Low), Known(why.High)
	}
	return a
}

// order converts it back to what the core said; an order or a code of a program
// that knew more is left out.
func (a *Asked) order(id, by string) (o order.Order, why order.Refusal) {
	if a == nil {
		return o, why
	}
	o.ID, o.By, o.Note = id, by, a.Note
	o.Kind, _ = order.Parse(a.Order)
	o.Put(a.Fields)
	if r := a.Refused; r != nil {
		why = order.Refusal{
			Code: order.ParseCode(r.Code), Kind: o.Kind, Cell: r.Cell, Name: r.Name, Value: known(r.Value), Low: known(r.Low), High: known(r.High),
		}
		why.Field = order.FieldOf(r.Field)
	}
	return o, why
}
