package metrics

import (
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// shelf keeps the families and their series from scrape to scrape and only sets
// their values: with eight bays, creating and discarding six hundred series each
// time was most of a scrape. A series has its labels from the configuration and
// fixed tables, so the shelf does not grow without end.
type shelf struct {
	mu       sync.Mutex // guards all fields below, as long as a scrape uses them
	scrape   uint64     // counts them
	families []*family  // by name
	of       map[*desc]*family
	series   map[series]*kept
}

// family is the series of one metric.
type family struct {
	dto     dto.MetricFamily
	all     []*kept
	ordered bool // in the order of the labels
}

// series is a metric with its labels; none has more than two.
type series struct {
	d      *desc
	labels [2]string
}

// kept is a series that was seen once, and the number of the scrape in which it was
// last seen.
type kept struct {
	series
	dto    dto.Metric
	scrape uint64
}

func newShelf() *shelf {
	s := &shelf{of: map[*desc]*family{}, series: map[series]*kept{}}
	for _, d := range descs {
		kind := dto.MetricType_GAUGE
		if d.kind == prometheus.CounterValue {
			kind = dto.MetricType_COUNTER
		}
		f := &family{ordered: true}
		f.dto.Name, f.dto.Help, f.dto.Type = &d.name, &d.help, &kind
		s.families, s.of[d] = append(s.families, f), f
	}
	slices.SortFunc(s.families, func(a, b *family) int { return strings.Compare(a.dto.GetName(), b.dto.GetName()) })
	return s
}

// value sets a series of the scrape. It leaves out a value that is not a number: a
// missing reading must be absent. The caller holds mu.
func (s *shelf) value(d *desc, v float64, labels ...string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	key := series{d: d}
	if copy(key.labels[:], labels) < len(labels) {
		panic("bug: metrics: a series with more than two labels")
	}
	k := s.series[key]
	if k == nil {
		k = s.add(key, labels)
	}
	k.scrape = s.scrape
	if d.kind == prometheus.CounterValue {
		*k.dto.Counter.Value = v
	} else {
		*k.dto.Gauge.Value = v
	}
}

func (s *shelf) flag(d *desc, on bool, labels ...string) {
	v := 0.0
	if on {
		v = 1
	}
	s.value(d, v, labels...)
}

// add creates a series with the library, which checks it and sorts its labels.
func (s *shelf) add(key series, labels []string) *kept {
	k := &kept{series: key}
	if err := prometheus.MustNewConstMetric(key.d.desc, key.d.kind, 0, labels...).Write(&k.dto); err != nil {
		panic("bug: metrics: " + err.Error())
	}
	s.series[key] = k
	f := s.of[key.d]
	f.all, f.ordered = append(f.all, k), false
	return k
}

// present returns the families of this scrape, by name, with the series that were
// set in it, by labels. They belong to the shelf: nothing may be changed or kept.
func (s *shelf) present() []*dto.MetricFamily {
	out := make([]*dto.MetricFamily, 0, len(s.families))
	for _, f := range s.families {
		if !f.ordered {
			slices.SortFunc(f.all, func(x, y *kept) int { return slices.Compare(x.labels[:], y.labels[:]) })
			f.ordered = true
		}
		f.dto.Metric = f.dto.Metric[:0]
		for _, k := range f.all {
			if k.scrape == s.scrape {
				f.dto.Metric = append(f.dto.Metric, &k.dto)
			}
		}
		if len(f.dto.Metric) > 0 {
			out = append(out, &f.dto)
		}
	}
	return out
}
