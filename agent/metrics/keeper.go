package metrics

import (
	"sync"

	"github.com/prometheus/client_golang/prometheus"
)

// keeper keeps the metric of each series as long as its value stays: most of a
// scrape's series are findings and stages that have not changed since the last,
// and making them anew was most of its cost. There is one for each series, whose
// labels come from the configuration and fixed tables, so it does not grow. The
// zero value is ready.
type keeper struct {
	mu   sync.Mutex // guards what follows
	last map[series]held
}

// series is a metric with its labels; none has more than two.
type series struct {
	d    *desc
	a, b string
}

type held struct {
	v float64
	m prometheus.Metric
}

func (k *keeper) metric(d *desc, v float64, labels []string) prometheus.Metric {
	key := series{d: d}
	switch len(labels) {
	case 0:
	case 1:
		key.a = labels[0]
	case 2:
		key.a, key.b = labels[0], labels[1]
	default:
		panic("bug: metrics: a series with more than two labels")
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if h, ok := k.last[key]; ok && h.v == v {
		return h.m
	}
	if k.last == nil {
		k.last = map[series]held{}
	}
	m := prometheus.MustNewConstMetric(d.desc, d.kind, v, labels...)
	k.last[key] = held{v, m}
	return m
}
