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
			m, err := d.metric(of, v)
			if err != nil {
				m = prometheus.NewInvalidMetric(d.desc, err)
			}
			ch <- m
		}
	})
}

// Misfits shows a good series, one of a metric without a row, one with more labels than
// there are, and one whose label is not text, and returns what is shown and the error.
func Misfits() (shown int, err error) {
	s := newShelf()
	s.scrape++
	rowless := &desc{name: "bayward_rowless", desc: prometheus.NewDesc("bayward_rowless", "h", nil, nil), kind: prometheus.GaugeValue}
	wide := &desc{name: "bayward_wide", labels: 3, desc: prometheus.NewDesc("bayward_wide", "h", []string{"a", "b", "c"}, nil), kind: prometheus.GaugeValue}
	s.put(permitted, labels{"bay-1"}, 1)
	s.put(rowless, labels{}, 1)
	s.put(wide, labels{"a", "b"}, 1)
	s.put(packV, labels{"\xff"}, 1)
	return len(s.present()), s.err
}
