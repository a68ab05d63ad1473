package plot

import (
	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// The quantities of a picture.
const (
	volts = iota
	amperes
	packC
	ambientC
	levelMM
	numSeries
)

// mark is a moment with a name.
type mark struct {
	at   float64
	text string
}

// mostMarks bounds the stored moments; more could not be distinguished.
const mostMarks = 200

// Recorder keeps what a picture of a replay needs. Create it with New; memory does
// not grow with the trace.
type Recorder struct {
	file     string
	first    float64
	last     float64
	stepS    float64
	any      bool
	series   [numSeries]series
	stages   [bay.NumStages]row
	findings [interlock.NumCodes]row
	permit   row
	fulls    []mark
	full     bool
	pack     bay.Pack
}

// New returns a recorder for the trace of that name.
func New(file string) *Recorder {
	r := &Recorder{file: file, stepS: 1, permit: row{name: "permit granted"}}
	for s := range r.stages {
		r.stages[s].name = bay.Stage(s).String()
	}
	for c := range r.findings {
		r.findings[c].name = interlock.Code(c).String()
	}
	return r
}

// See processes one tick at timeS, s.
func (r *Recorder) See(timeS float64, p *bay.Picture) {
	if !r.any {
		r.any, r.first, r.pack = true, timeS, *p.Pack
	}
	r.last = timeS
	k := (timeS - r.first) / r.stepS
	for k >= buckets {
		for i := range r.series {
			r.series[i].halve()
		}
		r.stepS *= 2
		k /= 2
	}
	r.take(int(k), p)
	for s := range r.stages {
		r.stages[s].set(bay.Stage(s) == p.Stage, timeS)
	}
	for c := range r.findings {
		r.findings[c].set(p.Findings[c].Raised, timeS)
	}
	r.permit.set(p.Permit.Granted, timeS)
	if p.Charge.Full && !r.full && len(r.fulls) < mostMarks {
		r.fulls = append(r.fulls, mark{timeS, "full: " + p.Charge.Evidence.String()})
	}
	r.full = p.Charge.Full
}

func (r *Recorder) take(k int, p *bay.Picture) {
	put := func(s int, ok bool, v float64) {
		if ok {
			r.series[s].points[k].take(v)
		}
	}
	put(volts, p.Seen.PackV.OK(), p.Seen.PackV.Value)
	put(amperes, p.Seen.CurrentA.OK(), p.Seen.CurrentA.Value)
	put(packC, p.Seen.PackC.OK(), p.Seen.PackC.Value)
	put(ambientC, p.Seen.AmbientC.OK(), p.Seen.AmbientC.Value)
	put(levelMM, p.Seen.Level.Usable(), p.Seen.Level.LowMM)
}
