package assembly

import (
	"context"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/agent/metrics"
	"bayward/agent/notify"
	"bayward/agent/view"
	"bayward/agent/words"
	"bayward/mqtt"
)

// metricsOutput passes each tick to the metrics.
type metricsOutput struct{ c *metrics.Collector }

// Name implements loop.Output.
func (metricsOutput) Name() string { return "metrics" }

// Take implements loop.Output.
func (o metricsOutput) Take(_ context.Context, n *loop.News) {
	o.c.Ticked(n.Picture)
	for i := range n.Events {
		if n.Events[i].Kind == bay.OrderRefused {
			o.c.OrderRefused(n.Bay)
		}
	}
}

// logbookOutput passes events, rows and memory to the logbook.
type logbookOutput struct {
	r         *logbook.Recorder
	bootID    string
	followers map[string]*logbook.Follower
}

// followers continue the rows that are open in the logbook.
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
func (logbookOutput) Name() string { return "logbook" }

// Take implements loop.Output.
func (o logbookOutput) Take(_ context.Context, n *loop.News) {
	e := logbook.Entry{
		Bay: n.Bay, Events: n.Events, Memory: n.Memory,
		Stamp: logbook.Stamp{Wall: n.Wall, Trusted: n.Trusted, BootID: o.bootID, Mono: n.Mono},
	}
	for _, l := range n.Histories { // before the memory that no longer holds it
		o.r.Offer(logbook.Entry{Bay: n.Bay, Pack: l.Pack, Stamp: e.Stamp, PackMemory: l.Memory})
	}
	if p := n.Picture; p != nil {
		e.Pack = p.Pack.Name
		e.Rows = o.followers[n.Bay].Take(e.Stamp, p, n.Events)
	}
	if e.Pack == "" && len(n.Histories) > 0 {
		e.Pack = n.Histories[0].Pack // the pack that left, which the events are about
	}
	if len(e.Events) > 0 || e.Memory != nil || !e.Rows.Empty() {
		o.r.Offer(e)
	}
}

// finish offers the rows that are still open. It is called after the last Take.
func (o logbookOutput) finish() {
	for name, f := range o.followers {
		if rows := f.Flush(); !rows.Empty() {
			o.r.Offer(logbook.Entry{Bay: name, Rows: rows})
		}
	}
}

// mqttOutput passes states and notices to the broker's client.
type mqttOutput struct {
	c     *mqtt.Client
	watch notify.Watches
}

// Name implements loop.Output.
func (mqttOutput) Name() string { return "mqtt" }

// Take implements loop.Output.
func (o mqttOutput) Take(_ context.Context, n *loop.News) {
	at := wallOf(n.Wall, n.Trusted)
	o.c.State(n.Bay, view.Of(n.Picture), at)
	notice, changed := o.watch.Update(n.Picture)
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
