package assembly

import (
	"context"
	"errors"
	"log/slog"
	"testing"
)

// TestKeep: a part that panics is restarted, and ends with the context.
func TestKeep(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	a := &Agent{Parts: Parts{Log: slog.New(slog.DiscardHandler)}}
	calls := 0
	err := a.keepRunning(ctx, "part", func(context.Context) error {
		calls++
		cancel()
		panic("a bug")
	})
	if err != nil || calls != 1 {
		t.Errorf("%v after %d calls", err, calls)
	}
	gone := errors.New("gone")
	if err := a.keepRunning(t.Context(), "part", func(context.Context) error { return gone }); !errors.Is(err, gone) {
		t.Errorf("an error of its own: %v", err)
	}
}
