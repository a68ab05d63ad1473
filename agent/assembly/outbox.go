package assembly

import (
	"context"

	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/words"
	"bayward/mqtt"
)

// outbox gives the events in the logbook to the broker's client. Without a logbook
// there is nothing to send: only the logbook numbers events.
type outbox struct{ book *logbook.Book }

// Unsent implements mqtt.Outbox.
func (o outbox) Unsent(ctx context.Context, limit int) ([]mqtt.Event, error) {
	if o.book == nil {
		return nil, nil
	}
	unsent, err := o.book.Unsent(ctx, limit)
	if err != nil {
		return nil, err
	}
	out := make([]mqtt.Event, len(unsent))
	for i := range unsent {
		r := &unsent[i]
		out[i] = mqtt.Event{
			Bay: r.Bay, Epoch: r.Epoch, Seq: r.Seq, At: wallOf(r.Stamp.Wall, r.Stamp.Trusted), BootID: r.Stamp.BootID, Mono: r.Stamp.Mono,
			Kind: r.Kind, Stage: r.Stage, From: r.From, Code: r.Code, By: r.By, Order: r.Order, Text: records.EventText(words.EnglishSI(), r),
		}
	}
	return out, nil
}

// Sent implements mqtt.Outbox.
func (o outbox) Sent(ctx context.Context, bayName string, seq uint64) error {
	return o.book.Sent(ctx, bayName, seq)
}

// count is for the metrics.
func (o outbox) count() int {
	if o.book == nil {
		return 0
	}
	return o.book.UnsentCount()
}
