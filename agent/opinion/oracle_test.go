package opinion

import (
	"fmt"
	"strings"
	"time"

	"bayward/agent/bay"
)

// wrong is a way in which a charge must not run, by the truth.
type wrong uint8

const (
	bare     wrong = iota // the plates of a cell are not under the electrolyte
	hot                   // the electrolyte is too hot
	gassy                 // there is hydrogen in the air
	airless               // the fan is not running
	attended              // somebody's hands are in the pack
	endless               // it has run for longer than any charge, or put in more
	blind                 // there is no evidence at all of what the play has broken
	volts                 // the pack is not the one that the charger is for
	wrongs
)

var wrongNames = [wrongs]string{"bare plates", "too hot", "hydrogen", "no air", "somebody at the pack", "no end", "no evidence", "wrong voltage"}

// oracle adds up how long a charge was granted although it must not run. It judges
// the truth, and shares no notion with the core: no finding, no time to raise, no
// estimate.
type oracle struct {
	limits  bay.Limits
	granted [wrongs]time.Duration // while it was so
	was     [wrongs]time.Duration // how long it was so
	firstAt [wrongs]time.Duration // when a charge was first granted although it was so
	broken  [wrongs]bool          // what a play says of the truth
	now     bool                  // it is wrong to charge
	flowed  time.Duration         // of a charge that never had an end
	total   time.Duration         // granted
	over    int                   // cells filled over the vent well with what was proposed
	overMM  float64               // by how much, at most
}

// hotterC is what a thermometer of half a degree may show too little.
const hotterC = 0.5

// is reports whether a charge must not run now.
func (o *oracle) is(y *yard, w wrong) bool {
	switch w {
	case bare:
		return y.lowest() <= 0
	case hot:
		return y.innerC > o.limits.ChargeMaxC+hotterC
	case gassy:
		return y.room.hydrogenPct >= o.limits.HydrogenMaxPct
	case airless:
		return !y.room.fan
	case attended:
		return y.inside
	case endless:
		return o.flowed > o.limits.ChargeMax
	case blind, volts, wrongs: // only the play knows
	}
	return false
}

// see judges a time that has passed.
func (o *oracle) see(y *yard, dt time.Duration) {
	if y.currentA > 0 {
		o.flowed += dt
	} else if !y.plugged || y.charger.done {
		o.flowed = 0
	}
	o.now = false
	for w := range wrongs {
		if !y.plugged || !o.broken[w] && !o.is(y, w) {
			continue
		}
		o.was[w] += dt
		o.now = true
		if y.granted {
			if o.granted[w] == 0 {
				o.firstAt[w] = y.now
			}
			o.granted[w] += dt
		}
	}
	if y.granted {
		o.total += dt
	}
}

// filled judges a visit in which nothing was poured beyond what was proposed: no
// cell may come over the bottom of the vent well when the pack is hot and gasses.
func (o *oracle) filled(y *yard, cells []int) {
	for _, n := range cells {
		if mm := y.hotMM(n-1, o.limits.ChargeMaxC) - y.setup.Pack.VentWellMM; mm > 0 {
			o.over++
			o.overMM = max(o.overMM, mm)
		}
	}
}

// worst returns what was granted while wrong.
func (o *oracle) worst() (sum time.Duration) {
	for _, d := range o.granted {
		sum += d
	}
	return sum
}

func (o *oracle) String() string {
	var said []string
	for w, d := range o.granted {
		if d > 0 {
			said = append(said, fmt.Sprintf("%v granted with %s, first on day %.0f", d, wrongNames[w], o.firstAt[w].Hours()/24))
		}
	}
	if o.over > 0 {
		said = append(said, fmt.Sprintf("%d cells overfilled as proposed, by up to %.0f mm", o.over, o.overMM))
	}
	if len(said) == 0 {
		return "nothing wrong"
	}
	return strings.Join(said, "; ")
}
