package assembly

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"bayward/agent/metrics"
	"bayward/agent/web"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"
)

// stopWithin is how long outputs may take to finish after the relays are open.
const stopWithin = 3 * time.Second

// Run ticks in real time until ctx ends, runs the other parts alongside, and
// closes the agent. The relays are open when it returns.
func (a *Agent) Run(ctx context.Context, beside ...func(context.Context) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	g, ctx := errgroup.WithContext(ctx)
	if err := a.Serve(ctx, g); err != nil {
		cancel()
		return errors.Join(err, g.Wait(), a.Close())
	}
	g.Go(func() error {
		defer cancel()
		return a.Loop.Run(ctx)
	})
	if a.Manager != nil {
		g.Go(func() error { return a.Manager.Run(ctx) })
	}
	for _, part := range beside {
		g.Go(func() error { return part(ctx) })
	}
	err := g.Wait()
	if err == nil {
		a.Log.Info("stopping: all relays are open")
	}
	return errors.Join(err, a.Close())
}

// Serve runs everything around the ticks until ctx ends: page, broker client
// and record. The caller runs the ticks.
func (a *Agent) Serve(ctx context.Context, g *errgroup.Group) error {
	if a.client != nil {
		g.Go(func() error { return a.keepRunning(ctx, "mqtt", a.client.Run) })
		if a.Recorder != nil {
			g.Go(func() error { return a.keepRunning(ctx, "mqtt outbox", a.wakeClient) })
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
	handler := a.page(metrics.Handler(reg, a.Log))
	g.Go(func() error {
		srv := web.Server(handler, a.Log)
		return web.Serve(ctx, a.door.Guard(a.listener, srv), srv, a.Config.HTTP.WebConfigFile, a.Log)
	})
	g.Go(func() error { return a.keepRunning(ctx, "ends of the certificates", a.certs.Run) })
	if a.Book != nil {
		g.Go(func() error { return a.keepRunning(ctx, "upkeep of the logbook", a.tendBook) })
		g.Go(func() error { return a.keepRunning(ctx, "earlier events for the page", a.recallAll) })
	}
	return nil
}

// keepRunning runs a part that no relay depends on, and restarts it after a panic:
// such a part must not end the agent.
func (a *Agent) keepRunning(ctx context.Context, name string, part func(context.Context) error) error {
	const again = 5 * time.Second
	for {
		panicked, err := recovered(ctx, part)
		if !panicked {
			return err
		}
		a.Log.Error("a part of the agent panicked and is restarted", "part", name, "err", err)
		t := time.NewTimer(again)
		select {
		case <-ctx.Done():
			t.Stop()
			return nil
		case <-t.C:
		}
	}
}

func recovered(ctx context.Context, part func(context.Context) error) (panicked bool, err error) {
	defer func() {
		if p := recover(); p != nil {
			panicked, err = true, fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return false, part(ctx)
}

// tendBook clears the finding about a full disk soon after space has been freed, and
// stores how far the broker has come with a long backlog.
func (a *Agent) tendBook(ctx context.Context) error {
	tick := time.NewTicker(30 * time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if err := a.Book.Relieve(ctx); err != nil {
				return nil // ctx has ended
			}
			if err := a.Book.KeepCursors(ctx); err != nil {
				a.Log.Debug("cannot store what the broker has", "err", err)
			}
		}
	}
}

func (a *Agent) wakeClient(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-a.Recorder.Stored():
			a.client.Wake()
		}
	}
}

// Close opens the relays and closes everything else that New has opened.
func (a *Agent) Close() error {
	var errs []error
	if a.Loop != nil {
		errs = append(errs, a.Loop.Stop(stopWithin))
	}
	if a.listener != nil {
		_ = a.listener.Close() // the server has closed it, if there was one
	}
	if a.Recorder != nil {
		a.record.finish()
		ctx, cancel := context.WithTimeout(context.Background(), stopWithin)
		defer cancel()
		errs = append(errs, a.Recorder.Close(ctx))
	}
	if a.Book != nil {
		errs = append(errs, a.witness.Close(), a.Book.Close())
	}
	if a.embedded != nil {
		errs = append(errs, a.embedded.Close())
	}
	return errors.Join(errs...)
}
