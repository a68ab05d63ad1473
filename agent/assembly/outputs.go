package assembly

import (
	"context"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/agent/metrics"
	"bayward/agent/notify"
	"bayward/agent/records"
	"bayward/agent/view"
	"bayward/agent/words"
	"bayward/mqtt"
)

// counting shows each tick to the metrics.
type counting struct{ c *metrics.Collector }

// Name implements loop.Output.
func (counting) Name() string { return "metrics" }

// Take implements loop.Output.
func (o counting) Take(_ context.Context, n *loop.News) { o.c.Ticked(n.Picture) }

// record offers events, rows and memory to the logbook.
type record struct {
	r         *logbook.Recorder
	bootID    string
	followers map[string]*logbook.Follower
}

// followers go on with what the logbook has open.
func followers(ctx context.Context, book *logbook.Book, cfg *config.Config) (map[string]*logbook.Follower, error) {
	open, err := book.OpenRows(ctx)
	if err != nil {
		return nil, err
	}
	all := map[string]*logbook.Follower{}
	for i := range cfg.Bays {
		name := cfg.Bays[i].Name
		all[name] = logbook.NewFollower(name, open[name])
	}
	return all, nil
}

// Name implements loop.Output.
func (record) Name() string { return "logbook" }

// Take implements loop.Output.
func (o record) Take(_ context.Context, n *loop.News) {
	e := logbook.Entry{
		Bay: n.Bay, Events: n.Events, Memory: n.Memory,
		Stamp: logbook.Stamp{Wall: n.Wall, Trusted: n.Trusted, BootID: o.bootID, Mono: n.Mono},
	}
	for _, l := range n.Histories { // before the memory that does not hold it any more
		o.r.Offer(logbook.Entry{Bay: n.Bay, Pack: l.Pack, Stamp: e.Stamp, PackMemory: l.Memory})
	}
	if p := n.Picture; p != nil {
		e.Pack = p.Pack.Name
		e.Rows = o.followers[n.Bay].Take(e.Stamp, p, n.Events)
	}
	if e.Pack == "" && len(n.Histories) > 0 {
		e.Pack = n.Histories[0].Pack // of whose leaving the events tell
	}
	if len(e.Events) > 0 || e.Memory != nil || !e.Rows.Empty() {
		o.r.Offer(e)
	}
}

// finish offers what is under way. It is called after the last Take.
func (o record) finish() {
	for name, f := range o.followers {
		if rows := f.Flush(); !rows.Empty() {
			o.r.Offer(logbook.Entry{Bay: name, Rows: rows})
		}
	}
}

// publishing hands states and notices to the broker's client.
type publishing struct {
	c     *mqtt.Client
	watch map[string]*notify.Watch
}

func newPublishing(c *mqtt.Client, cfg *config.Config) publishing {
	p := publishing{c: c, watch: map[string]*notify.Watch{}}
	for i := range cfg.Bays {
		p.watch[cfg.Bays[i].Name] = &notify.Watch{}
	}
	return p
}

// Name implements loop.Output.
func (publishing) Name() string { return "mqtt" }

// Take implements loop.Output.
func (o publishing) Take(_ context.Context, n *loop.News) {
	at := wallOf(n.Wall, n.Trusted)
	o.c.State(n.Bay, view.Of(n.Picture), at)
	notice, changed := o.watch[n.Bay].Update(n.Picture)
	if !changed {
		return
	}
	english := words.EnglishSI()
	text, whatToDo := english.Notice(notice.Kind.String(), notice.State == notify.Settled, n.Picture)
	o.c.Notice(n.Bay, mqtt.Notice{
		Kind: notice.Kind.String(), State: mqtt.NoticeState(notice.State.String()), Since: at,
		Text: text, WhatToDo: whatToDo, Cautions: english.Cautions(),
	})
}

// outbox shows the logbook to the broker's client. Without a logbook there is
// nothing to send: an event without a number would be no event.
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
			Bay: r.Bay, Seq: r.Seq, At: wallOf(r.Stamp.Wall, r.Stamp.Trusted), BootID: r.Stamp.BootID, Mono: r.Stamp.Mono,
			Kind: r.Kind, Stage: r.Stage, From: r.From, Code: r.Code, By: r.By, Order: r.Order, Text: records.EventText(words.EnglishSI(), r),
		}
	}
	return out, nil
}

// Sent implements mqtt.Outbox.
func (o outbox) Sent(ctx context.Context, bayName string, seq uint64) error {
	return o.book.Sent(ctx, bayName, seq)
}

// count is for the metrics; a logbook that does not answer counts as empty,
// since its own finding tells of it.
func (o outbox) count() int {
	if o.book == nil {
		return 0
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	n, err := o.book.UnsentCount(ctx)
	if err != nil {
		return 0
	}
	return n
}
