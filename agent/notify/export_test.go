package notify

import (
	"context"
	"net"
	"net/http"
)

// Dial makes a connection, for tests without a network.
type Dial = func(ctx context.Context, network, address string) (net.Conn, error)

// Over lets mail go over another connection.
func (m *Mail) Over(dial Dial) { m.connect = dial }

// Over lets a webhook go over another connection.
func (w *Webhook) Over(dial Dial) {
	if t, ok := w.client.Transport.(*http.Transport); ok {
		t.DialContext = dial
	}
}
