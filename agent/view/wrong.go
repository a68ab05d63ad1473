package view

import (
	"bayward/agent/order"
	"bayward/agent/words"
)

// Wrong is one fault of a refused order.
type Wrong struct {
	Cell  int      `json:"cell,omitempty"`
	Field string   `json:"field,omitempty"`
	Code  string   `json:"code"`
	Value *float64 `json:"value,omitempty"`
	Low   *float64 `json:"low,omitempty"`
	High  *float64 `json:"high,omitempty"`
	Text  string   `json:"text"` // a clause
}

// WrongOf lists the faults of a refused order.
func WrongOf(r *order.Refusal) (all []Wrong) {
	for _, fault := range r.Faults() {
		w := Wrong{Cell: fault.Cell, Code: fault.Code.String(), Text: words.EnglishSI().Refusal(&fault)}
		if fault.Field != nil {
			w.Field = fault.Field.Name
		}
		low, high := fault.Code.HasBounds()
		w.Value, w.Low, w.High = when(fault.Code.HasValue(), fault.Value), when(low, fault.Low), when(high, fault.High)
		all = append(all, w)
	}
	return all
}
