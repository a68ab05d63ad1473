package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"regexp"
	"syscall"
	"time"

	toolkit "github.com/prometheus/exporter-toolkit/web"
)

// Listen opens the listener. Its error names the address and what to do.
func Listen(ctx context.Context, addr string) (net.Listener, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", addr)
	switch {
	case err == nil:
		return l, nil
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("listen on %s: another program has this port; end it or choose another with --listen HOST:PORT (port 0 takes a free one): %w", addr, err)
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return nil, fmt.Errorf("listen on %s: this machine has no such address; choose one of its own with --listen HOST:PORT: %w", addr, err)
	case errors.Is(err, os.ErrPermission):
		return nil, fmt.Errorf("listen on %s: this user may not open the port; choose one from 1024 with --listen HOST:PORT: %w", addr, err)
	}
	return nil, fmt.Errorf("listen on %s: %w; choose another address with --listen HOST:PORT", addr, err)
}

// CheckFile reads a web configuration file as Serve does; "" is none.
func CheckFile(webConfigFile string) error { return toolkit.Validate(webConfigFile) }

// Scheme returns https where a web configuration file switches on TLS, otherwise http.
func Scheme(webConfigFile string) string {
	text, err := os.ReadFile(webConfigFile)
	if err == nil && hasTLS.Match(text) {
		return "https"
	}
	return "http"
}

// hasTLS finds the section of a web configuration file that the toolkit reads.
var hasTLS = regexp.MustCompile(`(?m)^tls_server_config:`)

// Loopback reports whether only this machine can reach a listener.
func Loopback(l net.Listener) bool {
	tcp, ok := l.Addr().(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// Server returns a server that bounds what a slow or idle client can tie up.
func Server(h http.Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler: h, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug),
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second,
		IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10,
	}
}

// drainFor is how long Serve waits for answers in progress.
const drainFor = 2 * time.Second

// Serve answers on a listener until the context ends, and then returns nil. A web
// configuration file switches on TLS and basic authentication; "" for neither.
func Serve(ctx context.Context, l net.Listener, srv *http.Server, webConfigFile string, log *slog.Logger) error {
	srv.BaseContext = func(net.Listener) context.Context { // streams end at once, orders in progress do not
		return withStopping(context.WithoutCancel(ctx), ctx.Done())
	}
	ended := make(chan error, 1)
	go func() {
		ended <- toolkit.Serve(l, srv, &toolkit.FlagConfig{WebConfigFile: &webConfigFile}, log)
	}()
	select {
	case err := <-ended:
		return fmt.Errorf("serve on %s: %w", l.Addr(), err)
	case <-ctx.Done():
	}
	drain, cancel := context.WithTimeout(context.WithoutCancel(ctx), drainFor)
	defer cancel()
	if srv.Shutdown(drain) != nil {
		_ = srv.Close() // cuts off clients that do not finish
	}
	_ = l.Close() // Shutdown leaves it open if Serve has not begun
	if err := <-ended; !errors.Is(err, http.ErrServerClosed) && !errors.Is(err, net.ErrClosed) {
		return fmt.Errorf("serve on %s: %w", l.Addr(), err)
	}
	return nil
}
