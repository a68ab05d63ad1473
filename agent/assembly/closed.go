package assembly

import (
	"context"

	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/agent/web"
)

// closedShown is how many closed visits of a pack the page offers for correction.
const closedShown = 10

// closedVisits returns the newest closed visits of a pack for the page.
func closedVisits(ctx context.Context, r *logbook.Reader, pack string) (out []web.ClosedVisit, err error) {
	for v, err := range r.Visits(ctx, logbook.Query{Pack: pack, Newest: true, Limit: closedShown}) {
		if err != nil {
			return nil, err
		}
		if v.Open() {
			continue
		}
		c := web.ClosedVisit{ID: v.ID, By: v.By, Start: v.Start.Wall}
		for i := range v.Cells {
			if values := valuesOf(&v.Cells[i]); len(values) > 0 {
				c.Cells = append(c.Cells, web.ClosedCell{Cell: v.Cells[i].Cell, Values: values})
			}
		}
		out = append(out, c)
	}
	return out, nil
}

// valuesOf returns what can be corrected at a cell, by the names of orders' fields.
func valuesOf(c *logbook.VisitCell) map[string]float64 {
	level := c.AfterMM
	if level == nil && !c.DryAfter {
		level = c.BeforeMM
	}
	values := map[string]float64{}
	for f, x := range map[*order.Field]logbook.Num{
		order.MLField: c.ML, order.DrawnField: c.DrawnML, order.LevelField: level, order.GravityField: c.Gravity,
	} {
		if x != nil {
			values[f.Name] = *x
		}
	}
	return values
}
