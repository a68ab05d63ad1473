package plot

import "math"

// buckets is the highest number of points of a series: about two for each step that
// the eye can resolve on a printed page. An even number.
const buckets = 2048

// point is the span of the values in one step of time.
type point struct {
	lo, hi float64
	any    bool
}

func (p *point) take(v float64) {
	if !p.any {
		p.lo, p.hi, p.any = v, v, true
		return
	}
	p.lo, p.hi = min(p.lo, v), max(p.hi, v)
}

// series is a decimated quantity over time.
type series struct{ points [buckets]point }

func (s *series) halve() {
	for i := range buckets / 2 {
		a, b := s.points[2*i], s.points[2*i+1]
		if b.any {
			a.take(b.lo)
			a.take(b.hi)
		}
		s.points[i] = a
	}
	clear(s.points[buckets/2:])
}

// scale returns the range of the values; ok is false without any.
func (s *series) scale() (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i := range s.points {
		if p := &s.points[i]; p.any {
			lo, hi, ok = min(lo, p.lo), max(hi, p.hi), true
		}
	}
	return lo, hi, ok
}

// mostSpans bounds the rows of stages and findings; beyond it, short spans are
// joined to their neighbours.
const mostSpans = 4096

// stretch is a time in which something applied.
type stretch struct{ from, to float64 }

// row is a named thing that comes and goes.
type row struct {
	name  string
	spans []stretch
	on    bool
}

func (r *row) set(on bool, at float64) {
	switch {
	case on && !r.on:
		r.spans = append(r.spans, stretch{at, at})
	case (on || r.on) && len(r.spans) > 0:
		r.spans[len(r.spans)-1].to = at
	}
	r.on = on
	if len(r.spans) > mostSpans {
		r.join()
	}
}

// join closes every other gap.
func (r *row) join() {
	n := 0
	for i := 0; i < len(r.spans); i += 2 {
		s := r.spans[i]
		if i+1 < len(r.spans) {
			s.to = r.spans[i+1].to
		}
		r.spans[n] = s
		n++
	}
	r.spans = r.spans[:n]
}
