package metrics

import (
	"log/slog"
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Registry is a registry of its own with the collector, the usual figures of
// the Go program and the process, and the process's disk writes. More collectors may be added.
func Registry(c *Collector, more ...prometheus.Collector) (*prometheus.Registry, error) {
	reg := prometheus.NewRegistry()
	all := append([]prometheus.Collector{c, collectors.NewGoCollector(), newProcess(), DiskWrites()}, more...)
	for _, one := range all {
		if err := reg.Register(one); err != nil {
			return nil, err
		}
	}
	return reg, nil
}

// Handler serves a registry. One broken collector does not blank the page, and
// scrapes that come too fast share one answer. Nothing that is collected waits for
// hardware or disk, so that the server's limits of time are enough. Compressing
// would take a third of a scrape's time and a megabyte of memory on the board, to
// save what is 3 kB a second with eight bays.
func Handler(reg *prometheus.Registry, log *slog.Logger) http.Handler {
	return promhttp.HandlerFor(reg, promhttp.HandlerOpts{
		Registry: reg, ErrorHandling: promhttp.ContinueOnError, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		MaxRequestsInFlight: 3, CoalesceGather: true, EnableOpenMetrics: true, DisableCompression: true,
	})
}
