package notify

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// noisyNight is one night of a pack that has just been charged and found full, and whose
// lowest cell is at the threshold of the call to water. Noise of the level: 0.006 mm is
// that of a 16-bit converter over a probe of 150 mm, 0.02 mm that with its wire, 0.1 mm
// ten times as much, from air moving over the cells. A 1-wire thermometer shows
// sixteenths of a degree. Each reading fails for a single tick now and then, and the
// current sensor shows a spike.
type noisyNight struct {
	rng          *rand.Rand
	tick         time.Duration
	levelMM      float64 // settled, of the pilot cell
	noiseMM      float64
	startC, airC float64
	tauH         float64

	core    *bay.Bay
	next    time.Duration // disturbance
	pic     *bay.Picture
	watch   Watch
	ready   int // times that the stage became ready to water
	changes []string
}

func newNoisyNight(seed uint64, tick time.Duration) *noisyNight {
	rng := rand.New(rand.NewPCG(seed, 20))
	setup := baytest.Setup("bay-1")
	setup.Fitted = setup.Fitted.Without(reading.ContactorFeedback)
	return &noisyNight{
		rng: rng, tick: tick, core: bay.New(setup), noiseMM: []float64{0.006, 0.02, 0.1}[seed%3],
		startC: 36 + 5*rng.Float64(), airC: 14 + 6*rng.Float64(), tauH: 3 + 2*rng.Float64(),
	}
}

// The charge of a night begins once the permit is granted.
const begins, ends = 5 * time.Minute, 15 * time.Minute

func (n *noisyNight) readings(now time.Duration) *bay.Readings {
	h := max(now-ends, 0).Hours()
	v := baytest.Values{
		PackV: 25.4 + 0.01*n.rng.NormFloat64(), CurrentA: 0.05 * n.rng.NormFloat64(),
		AmbientC: sixteenths(n.airC + 0.05*n.rng.NormFloat64()),
		PackC:    sixteenths(n.airC + (n.startC-n.airC)*math.Exp(-h/n.tauH) + 0.05*n.rng.NormFloat64()),
		LevelMM:  n.levelMM + n.noiseMM*n.rng.NormFloat64(),
	}
	if n.pic != nil {
		v.LevelMM += n.pic.Water.RiseMM
	}
	if now >= begins && now < ends {
		v.PackV, v.CurrentA = 31.2, 8
	}
	r := v.At(now)
	if at := ends + time.Minute; now >= at && now < at+n.tick {
		for cell := 1; cell <= baytest.Pack().Cells; cell++ {
			r.Orders = append(r.Orders, order.Order{ID: fmt.Sprint("sg", cell), Kind: order.Gravity, By: "A. Person", Cell: cell, Gravity: 1.287 - 0.00072*(v.PackC-25), AtC: v.PackC})
		}
	}
	if now > ends+5*time.Minute {
		n.disturb(&r)
	}
	return &r
}

func sixteenths(c float64) float64 { return math.Round(16*c) / 16 }

// disturb spoils one reading in five minutes, never two within a minute.
func (n *noisyNight) disturb(r *bay.Readings) {
	const each = 5 * time.Minute
	if r.Now < n.next {
		return
	}
	n.next = r.Now.Truncate(each) + each + time.Duration(n.rng.Int64N(int64(each-time.Minute)))
	bad := reading.Bad(reading.NoAnswer, r.Now)
	switch n.rng.IntN(7) {
	case 0:
		r.PackC = bad
	case 1:
		r.AmbientC = bad
	case 2:
		r.Level.Fault = reading.NoAnswer
	case 3:
		r.PackV = bad
	case 4:
		r.CurrentA = bad
	case 5:
		r.CurrentA.Value = 6
	case 6:
		r.PackV.Value = 0
	}
}

// run steps to a time and notes what changes.
func (n *noisyNight) run(from, to time.Duration) {
	for now := from; now < to; now += n.tick {
		p, events := n.core.Step(n.readings(now))
		n.pic = p
		for i := range events {
			if events[i].Kind == bay.StageChanged && events[i].Stage == bay.ReadyToWater {
				n.ready++
			}
		}
		if notice, changed := n.watch.Update(p); changed && notice.Kind != Nothing {
			n.changes = append(n.changes, fmt.Sprintf("%s: %s %s", now, notice.Kind, notice.State))
		}
	}
}

// atThreshold sets the pilot's level so that the lowest cell is within a few hundredths
// of the threshold: a third of the way from the mark to the lowest level for charging.
func (n *noisyNight) atThreshold() {
	pack := baytest.Pack()
	n.levelMM = pack.FillMarkMM
	n.run(0, ends)
	at := pack.FillMarkMM - (pack.FillMarkMM-pack.ChargeLevelMM)/3
	n.levelMM = at + n.pic.Water.SettledMM - n.pic.Water.LowMM + (0.5-n.rng.Float64())*n.noiseMM
}

// TestOneCallInANoisyNight: each night has one call and one notice, whatever the noise.
// With the threshold alone there were 810 in a night with 0.02 mm of noise. The long form
// is BAYWARD_NIGHTS=1000, with a tick a second.
func TestOneCallInANoisyNight(t *testing.T) {
	nights, tick := 3, time.Second
	if many, err := strconv.Atoi(os.Getenv("BAYWARD_NIGHTS")); err == nil {
		nights = many
	}
	for seed := range uint64(nights) {
		n := newNoisyNight(seed, tick)
		n.atThreshold()
		n.run(ends, ends+2*time.Minute)
		require.True(t, n.pic.Charge.Full, "night %d", seed)
		n.run(ends+2*time.Minute, 14*time.Hour)
		require.True(t, n.ready == 1 && len(n.changes) == 1, "night %d with %v mm: %d calls, %v", seed, n.noiseMM, n.ready, n.changes[:min(len(n.changes), 20)])
	}
	t.Logf("figure: noisy nights %d, calls and notices in each 1", nights)
}
