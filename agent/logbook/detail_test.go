package logbook

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/order/ordertest"
	"bayward/agent/reading"
)

// happened returns an event of each kind, with all its data.
func happened(t *testing.T) []bay.Event {
	t.Helper()
	all := []bay.Event{
		{Kind: bay.PermitGranted},
		{Kind: bay.StageChanged, From: bay.Charging, Stage: bay.Cooling, WaitingFor: cooldown.MinimumRest},
		{Kind: bay.StageChanged, From: bay.Cooling, Stage: bay.ReadyToWater, WaterML: 1234},
		{Kind: bay.FindingCleared, Code: interlock.PackHot, Evidence: interlock.Evidence{Fault: reading.None}},
		{Kind: bay.ChargeStarted},
		{Kind: bay.ChargeFull, Proof: charge.SteadyTaper},
		{Kind: bay.ChargeEnded, Proof: charge.HandGravity, Ago: 90 * time.Second, InAh: 0, InAhKnown: true},
		{Kind: bay.ChargeEnded, Ago: time.Hour},
		{Kind: bay.VisitOpened, By: "Ann", Order: "1", Asked: order.Order{ID: "1", By: "Ann", Kind: order.VisitOpen, Note: "Confirmed."}, Plates: true},
		{Kind: bay.VisitClosed, By: "Ann", Order: "2", Asked: order.Order{ID: "2", By: "Ann", Kind: order.VisitClose}, WaterML: 1500},
		{Kind: bay.OrderTaken, By: "Ann", Order: "3"},
		{Kind: bay.MemoryDoubted, Doubt: bay.LogbookDamaged, File: "/l.db.damaged-1"},
		{Kind: bay.MemoryDoubted, Doubt: bay.MemoryDamaged, Pack: "lift-24v"},
		{Kind: bay.PackNamed, Pack: "lift-24v", Naming: bay.BySensor},
		{Kind: bay.PackLeft, Pack: "lift-24v"},
		{Kind: bay.ZeroMoved, ZeroA: -1.25},
	}
	for k := order.None + 1; k < order.NumKinds; k++ {
		o := ordertest.Good(t, k)
		o.ID, o.By, o.Note = "5", "Ann", "A remark."
		all = append(all, bay.Event{Kind: bay.OrderTaken, By: "Ann", Order: "5", Asked: o})
	}
	for c := order.NoCode + 1; c < order.NumCodes; c++ {
		all = append(all, bay.Event{
			Kind: bay.OrderRefused, By: "Ann", Order: "6", Asked: order.Order{ID: "6", By: "Ann", Kind: order.Level, Cell: 49, LevelMM: -999},
			Why: order.Refusal{Code: c, Kind: order.Level, Field: order.LevelField, Value: -999, Low: -200, High: 200, Name: "lift-a"},
		})
	}
	for _, kind := range []bay.EventKind{bay.FindingRaised, bay.PermitBlocked} {
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			for _, r := range append([]interlock.Reason{interlock.Usual}, interlock.Table[c].Reasons...) {
				e := interlock.Evidence{Value: -4.5, Limit: 3, Fault: reading.None, Reason: r}
				switch {
				case foundOf(c, &e).Value == nil:
					e.Value, e.Limit = 0, 0
				case interlock.Table[c].Unread != interlock.UnreadElsewhere:
					e = interlock.Evidence{Fault: reading.BadCRC, Reason: r}
				}
				all = append(all, bay.Event{Kind: kind, Code: c, Evidence: e})
			}
		}
	}
	return all
}

// TestEventsComeBackWhole: the data of an event is stored without its sentence, so
// that it can be worded later in any language.
func TestEventsComeBackWhole(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	all, kinds := happened(t), map[bay.EventKind]bool{}
	_, err := b.Append(t.Context(), "bay-1", stampAt(1), all)
	require.NoError(t, err)
	recs, err := b.Events(t.Context(), "bay-1", 0, len(all)+1)
	require.NoError(t, err)
	require.Len(t, recs, len(all))
	for i := range recs {
		want := all[i]
		want.At, kinds[want.Kind] = time.Minute, true
		if want.Code == interlock.NoCode {
			want.Evidence.Fault = reading.None
		}
		require.Equal(t, want, recs[i].Event(time.Minute), "%s %s", want.Kind, want.Code)
	}
	for k := bay.NoEvent + 1; k < bay.NumEvents; k++ {
		require.True(t, kinds[k], "no event %s in this test", k)
	}
}

// TestNoNumberIsNoFigure: a figure that is not a number is left out, and the event
// remains.
func TestNoNumberIsNoFigure(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	_, err := b.Append(t.Context(), "bay-1", stampAt(1), []bay.Event{{
		Kind: bay.FindingRaised, Code: interlock.PackHot, Evidence: interlock.Evidence{Value: math.NaN(), Limit: math.Inf(1), Fault: reading.None},
	}})
	require.NoError(t, err)
	recs, err := b.Events(t.Context(), "bay-1", 0, 1)
	require.NoError(t, err)
	require.Equal(t, Found{}, recs[0].Found)
	require.Equal(t, interlock.PackHot, recs[0].Event(0).Code)
}

// TestStrangeDetailIsLeftOut: from a newer program, or damaged.
func TestStrangeDetailIsLeftOut(t *testing.T) {
	for text, want := range map[string]Detail{
		"": {}, "{": {}, "[]": {}, `{"reason":7}`: {}, `{"new":1,"waiting_for":"minimum-rest"}`: {WaitingFor: "minimum-rest"},
	} {
		var d Detail
		require.NoError(t, jsonOf{&d}.Scan(text), text)
		require.Equal(t, want, d, text)
	}
	require.Error(t, jsonOf{&Detail{}}.Scan(7))
}
