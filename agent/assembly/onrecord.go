package assembly

import (
	"context"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
)

// answerWithin is how long people wait for the record: for the commit of an order, and
// for one query.
const answerWithin = 2 * time.Second

// onRecord answers an order that was taken only once it is on record. If the record
// fails or is not in time, the event comes with order.ErrNotOnRecord.
func (a *Agent) onRecord(submit Submit) Submit {
	return func(ctx context.Context, bayName string, o order.Order) (bay.Event, error) {
		if a.Recorder == nil {
			return unrecorded(submit(ctx, bayName, o))
		}
		stored, forget := a.Recorder.Await(bayName, o.ID)
		defer forget()
		e, err := submit(ctx, bayName, o)
		if err == nil && repeated(&e) && a.Recorder.Late() {
			return e, order.ErrNotOnRecord // the first one may not be
		}
		if err != nil || e.Kind != bay.OrderTaken {
			return e, err
		}
		if a.Recorder.Failing() { // it will not be on record soon
			return unrecorded(e, nil)
		}
		t := time.NewTimer(answerWithin)
		defer t.Stop()
		select {
		case <-stored:
			return e, nil
		case <-t.C:
		case <-ctx.Done():
		}
		return unrecorded(e, nil)
	}
}

// repeated reports whether an order was refused because it had been taken before.
func repeated(e *bay.Event) bool { return e.Kind == bay.OrderRefused && e.Why.Code == order.Repeated }

// unrecorded marks an order that was taken, now or before, as not on record.
func unrecorded(e bay.Event, err error) (bay.Event, error) {
	if err == nil && (e.Kind == bay.OrderTaken || repeated(&e)) {
		err = order.ErrNotOnRecord
	}
	return e, err
}

// noRecord reports whether an order of now would not be on record soon. A disk that
// is short of space still takes orders.
func (a *Agent) noRecord() bool { return a.Recorder == nil || a.Recorder.Late() }
