package demo

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"strings"
	"testing"

	"golang.org/x/sync/errgroup"

	"bayward/agent/assembly/assemblytest"
)

// TestDemoOnTheNetwork: it says on the terminal and on the page that it obeys anybody.
// On loopback it does not.
func TestDemoOnTheNetwork(t *testing.T) {
	const onTerminal, onPage = "anybody there can give orders", "Anybody who reaches this page can give orders"
	for listen, open := range map[string]bool{"127.0.0.1:0": false, "0.0.0.0:0": true} {
		var out bytes.Buffer
		o := &Options{Speed: 1, Listen: listen, Broker: "127.0.0.1:0", Bays: 1, Version: "test"}
		d, err := build(t.Context(), o, &out, slog.New(slog.DiscardHandler), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		g, ctx := errgroup.WithContext(ctx)
		if err := d.Serve(ctx, g); err != nil {
			t.Fatal(err)
		}
		_, port, err := net.SplitHostPort(d.Address())
		if err != nil {
			t.Fatal(err)
		}
		page := assemblytest.Get(t, "http://127.0.0.1:"+port+"/")
		if got := strings.Contains(page, onPage); got != open {
			t.Errorf("%s: on the page: %v", listen, got)
		}
		if text := out.String(); strings.Contains(text, onTerminal) != open {
			t.Errorf("%s: %s", listen, text)
		}
		cancel()
		for _, end := range []func() error{g.Wait, d.Close, d.broker.Close} {
			if err := end(); err != nil {
				t.Error(err)
			}
		}
	}
}
