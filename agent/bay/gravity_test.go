package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay/baytest"
	"bayward/agent/charge"
	"bayward/agent/order"
)

// TestGravityKnowsItsCell: the bay knows whether a reading can mean anything: what
// the cell's level is, whether it was given water, how warm the pack is.
func TestGravityKnowsItsCell(t *testing.T) {
	read := func(levelMM, atC float64, before ...order.Order) string {
		d := baytest.New(baytest.Setup("bay-1"))
		d.Values.LevelMM = levelMM
		d.Run(time.Minute)
		d.Ask(before...)
		p, _ := d.Ask(order.Order{ID: "sg", Kind: order.Gravity, By: "A", Cell: 3, Gravity: 1.260, AtC: atC})
		require.NotNil(t, p.Charge.Gravity)
		return p.Charge.Gravity.Cells[2].Verdict.String()
	}
	visit := order.Order{ID: "v", Kind: order.VisitOpen, By: "A"}
	water := func(cell int, ml float64) order.Order {
		return order.Order{ID: "w", Kind: order.Fill, By: "A", Cell: cell, ML: ml, Sure: true}
	}
	for name, row := range map[string]struct{ got, want string }{
		"at the fill mark":            {read(13, 25), charge.GravityBelow.String()},
		"plates bare":                 {read(-5, 25), "plates-bare"},
		"at the plate tops":           {read(0, 25), "plates-bare"},
		"under the charging level":    {read(2, 25), "level-low"},
		"colder than the pack":        {read(13, -5), "temperature"},
		"after water":                 {read(6, 25, visit, water(3, 90)), "not-mixed"},
		"after water in another cell": {read(13, 25, visit, water(4, 90)), "below-full"},
		"0 ml is no water":            {read(13, 25, visit, water(3, 0)), "below-full"},
	} {
		require.Equal(t, row.want, row.got, name)
	}
}
