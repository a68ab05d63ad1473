package web

import (
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// caller returns the address that a request comes from: that of the connection or,
// behind trusted proxies, the nearest one in X-Forwarded-For that is not one of them.
// Whoever is farther away could have made up the rest. The zero value is an address
// that cannot be read.
func (s *server) caller(r *http.Request) netip.Addr {
	at := peer(r.RemoteAddr)
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for _, hop := range slices.Backward(hops) {
		if !among(at, s.Proxies) {
			break
		}
		next := peer(strings.TrimSpace(hop))
		if !next.IsValid() {
			break // the proxy itself answers for what it could not name
		}
		at = next
	}
	return at
}
