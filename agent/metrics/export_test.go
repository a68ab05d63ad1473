package metrics

import (
	"math"

	"github.com/prometheus/client_golang/prometheus"
)

// Plain shows the same as a collector by constant metrics of the library, created
// at each scrape.
type Plain struct{ *Collector }

// Describe implements prometheus.Collector.
func (Plain) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range descs {
		ch <- d.desc
	}
}

// Collect implements prometheus.Collector.
func (p Plain) Collect(ch chan<- prometheus.Metric) {
	p.all(func(d *desc, of labels, v float64) {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			ch <- d.metric(of, v)
		}
	})
}
