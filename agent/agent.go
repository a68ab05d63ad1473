package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime/debug"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/agent/metrics"
	"bayward/agent/systemd"
	"bayward/agent/web"
	"bayward/mqtt"
	"bayward/mqtt/broker"
	"bayward/sensors"
)

// stopWithin is how long outputs get to finish after the relays are open.
const stopWithin = 3 * time.Second

// parts are what differs between a Pi, a simulated site and the demo.
type parts struct {
	cfg  *config.Config
	log  *slog.Logger
	hw   sensors.Hardware // its clock stamps readings and ticks
	wall func() (time.Time, bool)
	// orderWall is the clock that people's orders are dated by; nil is wall.
	orderWall func() (time.Time, bool)
	// bootID and mono stamp the record; gap says how long ago a stamp was.
	bootID string
	mono   func() time.Duration
	gap    func(logbook.Stamp) (time.Duration, bool)

	every, guardAfter time.Duration
	patience          func(loop.Source) time.Duration
	outputs           []loop.Output       // besides the usual ones
	manager           *systemd.Manager    // nil without a service manager
	wrapSubmit        func(submit) submit // nil leaves it
	invented          bool                // the demo: whoever reaches the page may order
}

type submit = func(ctx context.Context, bayName string, o bay.Order) (bay.Event, error)

// agent is the whole of the program that looks after bays.
type agent struct {
	parts
	loop     *loop.Loop
	book     *logbook.Book // nil when it could not be opened
	recorder *logbook.Recorder
	record   record         // with a recorder
	client   *mqtt.Client   // nil without a broker
	embedded *broker.Broker // the one in the program, nil without
	metrics  *metrics.Collector
	listener net.Listener
	past     web.Past // the last hours, for the page
	notices  *telling // nil without mail and webhooks
	submit   submit
	born     time.Duration // by the hardware's clock, before the first tick
}

// assemble takes the relays into hand first, so that they are open from here
// on, and then builds everything else. After an error the relays are open.
func assemble(ctx context.Context, p parts) (*agent, error) {
	a := &agent{parts: p, born: p.hw.Now()}
	if err := a.build(ctx); err != nil {
		return nil, errors.Join(err, a.close())
	}
	return a, nil
}

func (a *agent) build(ctx context.Context) error {
	bays, err := sensors.Open(a.cfg, a.hw)
	if err != nil {
		return err
	}
	a.log.Info("all relays are open")
	if a.listener, err = web.Listen(ctx, a.cfg.HTTP.Listen); err != nil {
		return err
	}
	if err = a.guarded(); err != nil {
		return err
	}
	if err = a.buildNotices(); err != nil {
		return err
	}
	if err = a.openBook(ctx); err != nil {
		return err
	}
	if err = a.connect(ctx); err != nil {
		return err
	}
	if err = a.buildLoop(ctx, bays); err != nil {
		return err
	}
	a.submit = a.loop.Submit
	if a.wrapSubmit != nil {
		a.submit = a.wrapSubmit(a.submit)
	}
	return nil
}

// openBook opens the logbook. One that belongs to another agent or to a newer
// program ends the start; any other trouble only costs the record.
func (a *agent) openBook(ctx context.Context) error {
	book, err := logbook.Open(ctx, a.cfg.Logbook.Path, a.log)
	var open map[string]*logbook.Follower
	if err == nil {
		if open, err = followers(ctx, book, a.cfg); err != nil {
			err = errors.Join(err, book.Close())
		}
	}
	switch {
	case err == nil:
		a.book = book
		book.Keep(time.Duration(a.cfg.Logbook.KeepDays) * 24 * time.Hour)
		a.recorder = logbook.NewRecorder(book, logbook.RecorderOptions{}, a.log)
		a.record = record{a.recorder, a.bootID, open}
		return nil
	case errors.Is(err, logbook.ErrLocked), errors.Is(err, logbook.ErrNewer), errors.Is(err, logbook.ErrForeign):
		return err
	}
	a.log.Error("the logbook cannot be opened; the bays are guarded, nothing is recorded", "err", err)
	return nil
}

func wallOf(t time.Time, trusted bool) mqtt.Wall { return mqtt.Wall{Time: t, Trusted: trusted} }

func (a *agent) buildLoop(ctx context.Context, hardware []*sensors.Bay) error {
	setups, err := a.cfg.Setups()
	if err != nil {
		return err
	}
	bays := make([]loop.Bay, len(setups))
	cores, yard := a.remember(ctx, setups)
	for i, s := range setups {
		core := cores[i]
		bays[i] = loop.Bay{Name: s.Name, Core: core, Relay: hardware[i].Relay()}
		for _, src := range hardware[i].Sources() {
			bays[i].Sources = append(bays[i].Sources, src)
		}
		if level := hardware[i].Level(); level != nil {
			bays[i].Level, bays[i].BareWithin = level, a.cfg.Bays[i].Wiring.Level.BareWithin()
		}
	}
	a.buildMetrics()
	a.loop, err = loop.New(loop.Options{
		Bays: bays, Yard: yard, Outputs: append(a.edges(), a.outputs...), Log: a.log, Every: a.every, Now: a.hw.Now, GuardAfter: a.guardAfter,
		Patience: a.patience, Wall: a.wall, Mono: a.mono, RecordFailing: a.recordFailing, OnTick: a.manager.Ticked,
		Observe: func(tick, reaction time.Duration) {
			a.metrics.ObserveTick(tick)
			a.metrics.ObserveRelay(reaction)
		},
	})
	return err
}

// recordFailing is also true while a full disk costs thinned readings: a person
// must see that before it costs more.
func (a *agent) recordFailing() bool {
	return a.recorder == nil || a.recorder.Failing() || a.book.ShortOfSpace()
}

func (a *agent) buildMetrics() {
	src := metrics.Sources{
		Pictures:    func() []*bay.Picture { return a.loop.Pictures() },
		RelayClosed: func(name string) (closed, known bool) { return a.loop.RelayClosed(name), true },
		Version:     version(),
	}
	if a.client != nil {
		src.MQTTConnected = a.client.Connected
		src.OutboxEvents = outbox{a.book}.count
	}
	a.metrics = metrics.New(src)
}

// edges are the outputs that every agent has.
func (a *agent) edges() []loop.Output {
	out := []loop.Output{counting{a.metrics}, seen{&a.past}}
	if a.recorder != nil {
		out = append(out, a.record)
	}
	if a.client != nil {
		out = append(out, newPublishing(a.client, a.cfg))
	}
	if a.notices != nil {
		out = append(out, a.notices)
	}
	if a.manager != nil {
		out = append(out, newStatusLine(a.manager))
	}
	return out
}

// serve runs everything around the ticks until ctx ends: page, broker client
// and record. The caller runs the ticks.
func (a *agent) serve(ctx context.Context, g *errgroup.Group) error {
	if a.client != nil {
		g.Go(func() error { return a.keep(ctx, "mqtt", a.client.Run) })
		if a.recorder != nil {
			g.Go(func() error { return a.keep(ctx, "mqtt outbox", a.wakeClient) })
		}
	}
	var more []prometheus.Collector
	if a.notices != nil {
		more = append(more, noticeMetrics{a.notices.sender})
		g.Go(func() error { return a.notices.sender.Run(ctx) })
	}
	reg, err := metrics.NewRegistry(a.metrics, more...)
	if err != nil {
		return fmt.Errorf("bug: metrics: %w", err)
	}
	handler := a.page(metrics.Handler(reg, a.log))
	g.Go(func() error {
		return web.Serve(ctx, a.listener, web.Server(handler, a.log), a.cfg.HTTP.WebConfigFile, a.log)
	})
	if a.book != nil {
		g.Go(func() error { return a.keep(ctx, "room on the disk", a.seekRoom) })
		g.Go(func() error { return a.keep(ctx, "the page's past", a.recallAll) })
	}
	return nil
}

// keep runs a part that no relay depends on, and again after a panic: such a
// part must not end the agent.
func (a *agent) keep(ctx context.Context, name string, part func(context.Context) error) error {
	const again = 5 * time.Second
	for {
		panicked, err := contained(ctx, part)
		if !panicked {
			return err
		}
		a.log.Error("a part of the agent panicked and starts again", "part", name, "err", err)
		t := time.NewTimer(again)
		select {
		case <-ctx.Done():
			t.Stop()
			return nil
		case <-t.C:
		}
	}
}

func contained(ctx context.Context, part func(context.Context) error) (panicked bool, err error) {
	defer func() {
		if p := recover(); p != nil {
			panicked, err = true, fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return false, part(ctx)
}

// seekRoom ends the finding about a full disk soon after a person made room.
func (a *agent) seekRoom(ctx context.Context) error {
	tick := time.NewTicker(30 * time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if err := a.book.Relieve(ctx); err != nil {
				return nil // the end of ctx
			}
		}
	}
}

func (a *agent) wakeClient(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-a.recorder.Stored():
			a.client.Wake()
		}
	}
}

// close opens the relays and ends what keeps files, as much as there is of it.
func (a *agent) close() error {
	var errs []error
	if a.loop != nil {
		errs = append(errs, a.loop.Stop(stopWithin))
	}
	if a.listener != nil {
		_ = a.listener.Close() // the server has closed it, if there was one
	}
	if a.recorder != nil {
		a.record.finish()
		ctx, cancel := context.WithTimeout(context.Background(), stopWithin)
		defer cancel()
		errs = append(errs, a.recorder.Close(ctx))
	}
	if a.book != nil {
		errs = append(errs, a.book.Close())
	}
	if a.embedded != nil {
		errs = append(errs, a.embedded.Close())
	}
	return errors.Join(errs...)
}
