package assembly

import (
	"context"
	"errors"

	"golang.org/x/sync/errgroup"
)

// Run ticks in real time until ctx ends, with what is to run beside the ticks, and
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
