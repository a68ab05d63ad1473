package metrics

import (
	"bytes"
	"log/slog"
	"net/http"
	"strconv"

	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Handler serves a registry. One broken collector does not blank the page, and
// scrapes in quick succession share one answer. Nothing in a scrape waits for
// hardware or disk, so the server's time limits are enough. Compression would take
// a third of a scrape's time and a megabyte of memory on the board, to save 3 kB a
// second with eight bays.
func Handler(reg *Registry, log *slog.Logger) http.Handler {
	return whole(promhttp.HandlerForTransactional(reg, promhttp.HandlerOpts{
		Registry: reg.rest, ErrorHandling: promhttp.ContinueOnError, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		MaxRequestsInFlight: 3, CoalesceGather: true, EnableOpenMetrics: true, DisableCompression: true,
	}))
}

// usual is room for the answer of eight bays, bytes.
const usual = 48 << 10

// whole sends an answer once it is complete: the shelf is locked until then, and a
// slow client must not keep the next scrape waiting.
func whole(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body := bytes.NewBuffer(make([]byte, 0, usual))
		h.ServeHTTP(held{w, body}, r)
		w.Header().Set("Content-Length", strconv.Itoa(body.Len()))
		_, _ = w.Write(body.Bytes()) // a client that is gone needs no answer
	})
}

// held holds the body back. The library's encoders write to it without a buffer of
// their own, because it has all the methods of one.
type held struct {
	http.ResponseWriter
	*bytes.Buffer
}

// Write implements io.Writer.
func (h held) Write(p []byte) (int, error) { return h.Buffer.Write(p) }
