package metrics

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
)

// Registry combines a collector's metrics with the usual figures of the Go program
// and the process, and the process's disk writes.
type Registry struct {
	*prometheus.MultiTRegistry
	rest *prometheus.Registry // everything that is not from the pictures
}

// NewRegistry returns one. More collectors may be added, with names outside our
// own.
func NewRegistry(c *Collector, more ...prometheus.Collector) (*Registry, error) {
	rest := prometheus.NewRegistry()
	all := append([]prometheus.Collector{c.faults, c.orders, c.signIn, c.ticks, c.relay, collectors.NewGoCollector(), newProcess(), DiskWrites()}, more...)
	for _, one := range all {
		if err := rest.Register(one); err != nil {
			return nil, err
		}
	}
	return &Registry{prometheus.NewMultiTRegistry(c, prometheus.ToTransactionalGatherer(rest)), rest}, nil
}
