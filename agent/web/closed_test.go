package web_test

import (
	"context"
	"errors"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/web"
)

// closedBench has one closed visit, in which cell 4 was given ten times too much. It
// returns the orders that it was sent.
func closedBench(change func(*web.Options)) (*bench, *[]order.Order) {
	var b *bench
	asked := &[]order.Order{}
	b = newBench(func(o *web.Options) {
		o.Closed = func(_ context.Context, pack string) ([]web.ClosedVisit, error) {
			if pack != baytest.Pack().Name {
				return nil, nil
			}
			return []web.ClosedVisit{{ID: 7, By: "Ramón", Start: time.Date(2026, 3, 1, 14, 30, 0, 0, time.Local), Cells: []web.ClosedCell{
				{Cell: 4, Values: map[string]float64{"ml": 1170, "level_mm": 13, "gravity": 1.265}},
			}}}, nil
		}
		o.Submit = func(ctx context.Context, name string, ord order.Order) (bay.Event, error) {
			*asked = append(*asked, ord)
			return b.submit(ctx, name, ord)
		}
		if change != nil {
			change(o)
		}
	}, "bay-1")
	return b, asked
}

// TestClosedVisitIsCorrected: a slip found after the visit is corrected with the
// value that the record has, whatever the form says, and a reason.
func TestClosedVisitIsCorrected(t *testing.T) {
	b, asked := closedBench(nil)
	const page = "/bays/bay-1/closed"
	require.Contains(t, text(t, b.get(page)), "Visit 7, 2026-03-01 14:30")
	shown := text(t, b.get(page+"?visit=7"))
	require.Contains(t, shown, "Cell 4, water given: 1170 ml")
	require.Contains(t, shown, "Cell 4, specific gravity: 1.265")
	form := func(change map[string]string) string {
		f := url.Values{"id": {"c-1"}, "by": {"Ana"}, "visit": {"7"}, "which": {"4:ml"}, "value": {"117"}, "reason": {"one 0 too many"}}
		for name, value := range change {
			f.Set(name, value)
		}
		return f.Encode()
	}
	for name, change := range map[string]map[string]string{
		"no reason": {"reason": ""}, "no value": {"value": ""}, "both": {"void": "yes"}, "another cell": {"which": "5:ml"},
		"another visit": {"visit": "8"}, "no such field": {"which": "4:colour"}, "too much": {"value": "11700"}, "nothing chosen": {"which": ""},
	} {
		w := b.form(page, form(change))
		require.Equal(t, 400, w.Code, name)
		if change["reason"] != "" || name != "no reason" {
			require.Contains(t, w.Body.String()+"one 0 too many", "one 0 too many", name)
		}
	}
	require.Empty(t, *asked)
	w := b.form(page, form(map[string]string{"was": "3"}))
	require.Equal(t, 303, w.Code, text(t, w))
	require.Equal(t, page+"?visit=7", w.Header().Get("Location"))
	require.Equal(t, []order.Order{{
		ID: "c-1", Kind: order.Correct, By: "Ana", Visit: 7, Pack: baytest.Pack().Name, Cell: 4, Field: "ml", Value: new(117.0), Was: new(1170.0), Reason: "one 0 too many",
	}}, *asked)
	b.form(page, form(map[string]string{"id": "c-2", "which": "4:level_mm", "value": "", "void": "yes"}))
	require.Len(t, *asked, 2)
	require.Nil(t, (*asked)[1].Value, "it never happened")
}

// TestClosedVisitNeedsTheRight: without the right to release a closed visit can be
// read and not corrected; a record that cannot be read is said to be so.
func TestClosedVisitNeedsTheRight(t *testing.T) {
	b, asked := closedBench(func(o *web.Options) { o.Writable = false })
	require.NotContains(t, b.get("/bays/bay-1/closed?visit=7").Body.String(), "<select id=\"closed-which\"")
	w := b.form("/bays/bay-1/closed", "id=1&by=Ana&visit=7&which=4:ml&value=117&reason=slip")
	require.Equal(t, 403, w.Code)
	require.Empty(t, *asked)

	b, _ = closedBench(func(o *web.Options) {
		o.Closed = func(context.Context, string) ([]web.ClosedVisit, error) { return nil, errors.New("disk") }
	})
	require.Equal(t, 503, b.get("/bays/bay-1/closed").Code)
	b, _ = closedBench(func(o *web.Options) { o.Closed = nil })
	require.Contains(t, text(t, b.get("/bays/bay-1/closed")), "no closed visit")
}
