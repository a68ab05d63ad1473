package words

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/order/ordertest"
)

// TestEveryRefusalIsWorded: each code, about each field, in every language and
// system of units, and all distinct.
func TestEveryRefusalIsWorded(t *testing.T) {
	for _, v := range voices() {
		texts := map[string]order.Code{}
		for c := order.NoCode + 1; c < order.NumCodes; c++ {
			for _, f := range order.Fields() {
				r := order.Refusal{Code: c, Kind: order.Quality, Field: f, Value: 61.5, Low: -20, High: 22, Name: "lift-a"}
				text := v.Refused(&r)
				whole(t, text, v.Language(), c)
				if other, twice := texts[text]; twice {
					require.Equal(t, other, c, text)
				}
				texts[text] = c
			}
		}
	}
}

// TestEveryOrderIsWorded: each order's name, what it did, and its fields.
func TestEveryOrderIsWorded(t *testing.T) {
	for _, v := range voices() {
		ordertest.Each(t, func(t *testing.T, o order.Order) {
			whole(t, v.Say("order."+o.Kind.String()))
			whole(t, v.Done(&o), v.Language())
			bare := order.Order{Kind: o.Kind, Unmeasured: true, Note: "A remark."}
			whole(t, v.Done(&bare), v.Language())
			for _, point := range o.Kind.Row().Confirm {
				whole(t, v.Say("confirm."+point), v.Language())
			}
		})
		for _, f := range order.Fields() {
			whole(t, v.Say("field."+f.Name), v.Language())
			whole(t, v.Accepts(f, f.Low, f.High), v.Language())
			choices := "quality.kind."
			switch f {
			case order.LockField:
				choices = "lock.remove."
			case order.NameField:
				choices = "field."
			}
			for _, w := range f.Words {
				whole(t, v.Say(choices+w, "Ana"), v.Language())
			}
		}
	}
}

// TestRefusalsByHand: sentences written by hand.
func TestRefusalsByHand(t *testing.T) {
	for _, row := range []struct {
		language, units string
		r               order.Refusal
		want            string
	}{
		{"en", "si", order.Refusal{Code: order.NoVisit, Kind: order.Fill}, "Refused fill: no visit is open."},
		{"en", "si", order.Refusal{Code: order.OutOfRange, Kind: order.Fill, Field: order.MLField, Value: 2001, High: 2000},
			"Refused fill, water given: 2001 ml is not accepted: must be 0 to 2000 ml."},
		{"en", "us", order.Refusal{Code: order.OutOfRange, Kind: order.Gravity, Field: order.AtCField, Value: 70.5, Low: -30, High: 70},
			"Refused gravity, electrolyte temperature: 158.9 °F is not accepted: must be -22 to 158 °F."},
		{"en", "us", order.Refusal{Code: order.OutOfRange, Kind: order.Level, Field: order.LevelField, Value: 203.2, Low: -200, High: 200},
			"Refused level, level: 8 in is not accepted: must be -7.874016 to 7.874016 in."},
		{"es", "si", order.Refusal{Code: order.OutOfRange, Kind: order.Fill, Field: order.CellField, Value: 13, Low: 1, High: 12},
			"No se aceptó el agua; vaso: no se acepta 13: debe ser un número entero, de 1 a 12."},
		{"es", "si", order.Refusal{Code: order.VisitIsOpen, Kind: order.Pack, Name: "A. Person"}, "No se aceptó la batería: hay una visita abierta de A. Person."},
		{"en", "si", order.Refusal{Code: order.NothingSaid, Kind: order.Quality}, "Refused quality, conductivity or kind of water: at least one is needed."},
		{"en", "si", order.Refusal{Code: order.BadText, Kind: order.Quality, Field: order.WaterField, Name: "tap\n"},
			`Refused quality, kind of water: "tap\n" is not accepted: must be demineralised, distilled or other.`},
		{"en", "si", order.Refusal{Code: order.BadText, Kind: order.Pack, Field: order.PackField, Name: "\a", High: 48},
			`Refused pack, battery: "\a" is not accepted: must be 0 to 48 printable characters.`},
	} {
		require.Equal(t, row.want, New(row.language, row.units).Refused(&row.r))
	}
}

// TestNumbersKeepTheirDigits: a refused number never reads like an accepted one.
func TestNumbersKeepTheirDigits(t *testing.T) {
	for _, v := range voices() {
		for _, f := range order.Fields() {
			if f.IsText() || f.IsWhole() {
				continue
			}
			beyond := f.High + 1e-4*math.Max(f.High-f.Low, 1)
			require.NotEqual(t, v.inOrder(f, f.High), v.inOrder(f, beyond), f.Name)
		}
	}
}
