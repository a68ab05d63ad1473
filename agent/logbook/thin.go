package logbook

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// Resolution of the thinned readings: minutes on both sides of an event; otherwise
// ten minutes while current flows, and an hour at rest.
const (
	fineSpan   = time.Minute
	nearEvent  = 15 * time.Minute
	chargeSpan = 10 * time.Minute
	restSpan   = time.Hour
)

// thinner makes few rows of many ticks. Minutes wait until it is clear whether an
// event is near.
type thinner struct {
	minute  bucket
	waiting []bucket      // minutes without an event after them yet
	fineTo  time.Duration // on the bay's clock; minutes up to here are kept
}

// take adds a tick and returns the complete rows.
func (t *thinner) take(s Stamp, p *bay.Picture, dt time.Duration, event bool) []Series {
	if t.minute.ticks > 0 && (p.Now-t.minute.from > fineSpan || packOf(p) != t.minute.row.Pack) {
		t.endMinute()
	}
	if t.minute.ticks == 0 {
		t.minute.begin(s, p, dt)
	}
	t.minute.add(p, dt)
	if event {
		t.fineTo = p.Now + nearEvent
	}
	return t.ready(p, event)
}

func (t *thinner) endMinute() {
	t.waiting = append(t.waiting, t.minute)
	t.minute = bucket{}
}

// ready returns what is decided: the minutes near an event one by one, the others
// merged.
func (t *thinner) ready(p *bay.Picture, event bool) []Series {
	if len(t.waiting) == 0 {
		return nil
	}
	span := restSpan
	if p.Charge.Active {
		span = chargeSpan
	}
	first, last := &t.waiting[0], &t.waiting[len(t.waiting)-1]
	near := p.Now <= t.fineTo
	if !near && last.to-first.from < span && first.row.Pack == packOf(p) {
		return nil
	}
	var out []Series
	far := t.waiting[:0:0]
	for i := range t.waiting {
		b := &t.waiting[i]
		if near && (b.to >= p.Now-nearEvent || !event) {
			out = append(out, merged(far)...)
			out, far = append(out, b.series()), nil
			continue
		}
		far = append(far, *b)
	}
	t.waiting = nil
	return append(out, merged(far)...)
}

// flush returns everything.
func (t *thinner) flush() []Series {
	if t.minute.ticks > 0 {
		t.endMinute()
	}
	out := merged(t.waiting)
	t.waiting = nil
	return out
}

func merged(minutes []bucket) []Series {
	var out []Series
	for i := 0; i < len(minutes); {
		sum, n := minutes[i], i+1
		for ; n < len(minutes) && minutes[n].row.Pack == sum.row.Pack; n++ {
			sum.merge(&minutes[n])
		}
		out, i = append(out, sum.series()), n
	}
	return out
}

// tally is the summary of one column.
type tally struct {
	n, sum    float64
	low, high float64
}

func (t *tally) add(r reading.Reading) {
	if !r.OK() {
		return
	}
	t.merge(&tally{1, r.Value, r.Value, r.Value})
}

func (t *tally) merge(o *tally) {
	switch {
	case o.n == 0:
		return
	case t.n == 0:
		*t = *o
		return
	}
	t.n, t.sum = t.n+o.n, t.sum+o.sum
	t.low, t.high = min(t.low, o.low), max(t.high, o.high)
}

func (t *tally) mean() Num {
	if t.n == 0 {
		return nil
	}
	return stored(t.sum / t.n)
}

func (t *tally) least() Num {
	if t.n == 0 {
		return nil
	}
	return stored(t.low)
}

func (t *tally) most() Num {
	if t.n == 0 {
		return nil
	}
	return stored(t.high)
}

// stored drops digits that no sensor has.
func stored(v float64) Num { return Known(reading.Round(v, 4)) }

// bucket collects the ticks of one span.
type bucket struct {
	from, to time.Duration
	ticks    int
	row      Series // everything except the tallies
	v, a, c  tally
	air      tally
	level    tally
	h2       tally
}

// begin starts where the previous tick ended, so that spans meet.
func (b *bucket) begin(s Stamp, p *bay.Picture, dt time.Duration) {
	b.from = p.Now - dt
	b.row = Series{Bay: p.Bay, Pack: packOf(p), Start: s.earlier(dt)}
}

func (b *bucket) add(p *bay.Picture, dt time.Duration) {
	seen := &p.Seen
	b.to = p.Now
	b.ticks++
	b.v.add(seen.PackV)
	b.a.add(seen.CurrentA)
	b.c.add(seen.PackC)
	b.air.add(seen.AmbientC)
	b.h2.add(seen.HydrogenPct)
	b.level.add(reading.Reading{Value: seen.Level.LowMM, At: seen.Level.At, Fault: seen.Level.Fault})
	if p.Permit.Granted {
		b.row.PermitS += dt.Seconds()
	}
	b.row.Stage = p.Stage.String()
	b.row.LostML = stored(p.Water.LostLikelyML)
	b.row.SettledMM, b.row.PredictMM, b.row.Soc = nil, nil, nil
	if p.Water.Known {
		b.row.SettledMM = stored(p.Water.SettledMM)
	}
	if p.Water.PredictOK {
		b.row.PredictMM = stored(p.Water.PredictMM)
	}
	if p.Charge.SocKnown {
		b.row.Soc = stored(p.Charge.Soc)
	}
}

// merge adds a later bucket.
func (b *bucket) merge(o *bucket) {
	start, permit := b.row.Start, b.row.PermitS
	b.row = o.row
	b.row.Start, b.row.PermitS = start, permit+o.row.PermitS
	b.to, b.ticks = o.to, b.ticks+o.ticks
	for _, pair := range [][2]*tally{{&b.v, &o.v}, {&b.a, &o.a}, {&b.c, &o.c}, {&b.air, &o.air}, {&b.level, &o.level}, {&b.h2, &o.h2}} {
		pair[0].merge(pair[1])
	}
}

func (b *bucket) series() Series {
	r := b.row
	r.SpanS, r.Ticks = (b.to - b.from).Seconds(), b.ticks
	r.PackV, r.PackVMin, r.PackVMax = b.v.mean(), b.v.least(), b.v.most()
	r.CurrentA, r.CurrentAMin, r.CurrentAMax = b.a.mean(), b.a.least(), b.a.most()
	r.PackC, r.PackCMax, r.AmbientC = b.c.mean(), b.c.most(), b.air.mean()
	r.LevelMM, r.LevelMMMin, r.HydrogenPctMax = b.level.mean(), b.level.least(), b.h2.most()
	return r
}
