package opinion

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// yard is one bay with its pack, charger, air and core. What the core sees are
// readings of the truth with errors; what a play makes of them is in spoil.
type yard struct {
	t     *testing.T
	setup bay.Setup
	core  *bay.Bay
	*battery
	charger charger
	room    room
	climate func(time.Duration) float64 // °C of the air
	habits  habits
	errors  errors
	rand    *rand.Rand
	spoil   func(*bay.Readings)
	leak    func(time.Duration) // what happens to the truth meanwhile

	now     time.Duration
	ticks   int
	plugged bool
	inside  bool // somebody's hands are in the pack

	granted bool    // by the last tick, so the contactor is closed
	warmest float64 // °C of the electrolyte
	pic     *bay.Picture
	pilot   int       // the cell with the probe
	rods    []float64 // heights of the probe's rods, mm; none: it is continuous
	fanRuns bool      // while a pack is plugged in
	fine    bool      // ticks once a second
	ids     int
	refused []order.Code
	calmAt  time.Duration            // since then nobody was at the pack
	judge   func(time.Duration)      // sees each time that has passed, with the picture from before it
	readied int                      // calls to water
	blocks  map[string]time.Duration // by the first reason, while it was wrong to charge or a charge was wanted
	oracle  oracle
}

// errors are those of the sensors: constant ones, and the noise of one reading.
type errors struct {
	levelMM, packC, airC, voltShare, ampShare, ampA float64
	noiseMM, noiseC, noiseV, noiseA                 float64
}

// newYard has a pack in use for some time: its level is known to be alike in all
// cells. A change may set up another bay.
func newYard(t *testing.T, seed uint64, change func(*bay.Setup)) *yard {
	setup := baytest.Setup("bay-1")
	setup.Pack.ProbeCell = 4
	if change != nil {
		change(&setup)
	}
	y := &yard{
		t: t, setup: setup, core: bay.New(setup), battery: newBattery(setup.Pack, 13), room: room{fan: true}, pilot: max(setup.Pack.ProbeCell, 1),
		climate: func(time.Duration) float64 { return 20 }, blocks: map[string]time.Duration{}, rand: rand.New(rand.NewPCG(seed, 20)), plugged: true,
	}
	y.oracle.limits = setup.Limits
	return y
}

// tick passes a time and gives the core the readings at its end.
func (y *yard) tick(dt time.Duration, orders ...order.Order) []bay.Event {
	y.pass(dt)
	r := y.readings()
	for i := range orders {
		y.ids++
		orders[i].ID, orders[i].By = fmt.Sprint("o", y.ids), "a person"
	}
	r.Orders = orders
	if y.spoil != nil {
		y.spoil(&r)
	}
	return y.step(&r)
}

// pass lets the truth go on, with the contactor as the last tick left it.
func (y *yard) pass(dt time.Duration) {
	y.now += dt
	if y.fanRuns {
		y.room.fan = y.plugged // switched with the plug
	}
	airC := y.climate(y.now)
	if y.plugged && y.granted {
		y.charger.charge(y.battery, dt, airC)
	} else {
		y.take(0, 0, dt, airC)
	}
	y.room.pass(y.battery, dt)
	if y.leak != nil {
		y.leak(dt)
	}
	y.oracle.see(y, dt)
	y.warmest = max(y.warmest, y.innerC)
	if y.judge != nil {
		y.judge(dt)
	}
	if y.pic != nil && !y.granted && !y.pic.Permit.Granted && (y.oracle.now || y.plugged && !y.charger.done) {
		y.blocks[y.pic.FirstReason().String()] += dt
	}
	if !y.plugged || y.pic != nil && y.pic.Visit.Open {
		y.calmAt = y.now
	}
}

func (y *yard) step(r *bay.Readings) []bay.Event {
	p, events := y.core.Step(r)
	y.ticks++
	y.pic, y.granted = p, p.Permit.Granted
	for i := range events {
		switch e := &events[i]; {
		case e.Kind == bay.StageChanged && e.Stage == bay.ReadyToWater:
			y.readied++
		case e.Kind == bay.OrderRefused:
			y.refused = append(y.refused, e.Why.Code)
		}
	}
	return events
}

// readings are what the sensors show of the truth.
func (y *yard) readings() (r bay.Readings) {
	now, e, g := y.now, &y.errors, func(sd float64) float64 { return sd * y.rand.NormFloat64() }
	r.Now = now
	r.AmbientC = reading.Good(step16(y.climate(now)+e.airC+g(e.noiseC)), now)
	r.ContactorClosed = reading.Good(bit(y.granted), now)
	r.Airflow, r.HydrogenPct = reading.Good(bit(y.room.fan), now), reading.Good(y.room.hydrogenPct, now)
	baytest.Fill(&r, now)
	r.CurrentA = reading.Good(y.currentA*(1+e.ampShare)+e.ampA+g(e.noiseA), now)
	if !y.plugged {
		r.PackV, r.PackC = reading.Good(g(e.noiseV), now), reading.Bad(reading.NoAnswer, now)
		r.Level = reading.Level{At: now, Fault: reading.Open}
		return r
	}
	r.PackV = reading.Good(y.v*float64(y.setup.Pack.Cells)*(1+e.voltShare)+g(e.noiseV), now)
	r.PackC = reading.Good(step16(y.shownC()+e.packC+g(e.noiseC)), now)
	r.Level = y.probe(y.levelMM(y.pilot-1) + e.levelMM + g(e.noiseMM))
	return r
}

// probe shows a level: rods only between which of them it is.
func (y *yard) probe(mm float64) reading.Level {
	if len(y.rods) == 0 {
		return reading.LevelBetween(mm, mm, y.now)
	}
	low, high := math.Inf(-1), math.Inf(1)
	for _, rod := range y.rods {
		if mm >= rod {
			low = max(low, rod)
		} else {
			high = min(high, rod)
		}
	}
	const pit, top = -200, 60 // a cell is no deeper, and its vent no higher
	return reading.LevelBetween(max(low, pit), min(high, top), y.now)
}

// caseShare is how much of the electrolyte's excess over the air a sensor on the jar
// shows: 11 to 17 % is lost in 3 to 5 mm of polypropylene (from memory).
const caseShare = 0.83

// shownC is the temperature at the sensor.
func (y *yard) shownC() float64 {
	if !y.setup.TempOnCase {
		return y.innerC
	}
	airC := y.climate(y.now)
	return airC + caseShare*(y.innerC-airC)
}

// step16 rounds to the sixteenth of a degree of a 1-wire sensor.
func step16(c float64) float64 { return math.Round(c*16) / 16 }

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// run ticks for a time, as finely as what happens needs: a condition counts as bad
// since the last tick that proved it good, so long steps only make the core stricter.
func (y *yard) run(span time.Duration) {
	for end := y.now + span; y.now < end; {
		dt := 2 * time.Minute
		switch {
		case y.fine:
			dt = time.Second
		case !y.plugged:
			dt = 5 * time.Minute
		case y.now-y.calmAt < usual: // the readings are being checked
			dt = 10 * time.Second
		case y.currentA > 0, y.granted && !y.charger.done:
			dt = time.Minute
		}
		y.tick(min(dt, end-y.now))
	}
}

// seconds ticks once a second.
func (y *yard) seconds(span time.Duration) {
	for end := y.now + span; y.now < end; {
		y.tick(time.Second)
	}
}

// leave takes the machine to work for a time.
func (y *yard) leave(span time.Duration, ah float64) {
	y.plugged = false
	y.run(span)
	y.work(ah, 5)
	y.plugged, y.charger = true, charger{}
}

// has reports whether a finding is raised.
func (y *yard) has(name string) bool { return slices.Contains(y.pic.Codes(), name) }

// blockers names what blocked the charge, the longest first.
func (y *yard) blockers() []string {
	names := slices.Collect(maps.Keys(y.blocks))
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(y.blocks[b], y.blocks[a]), cmp.Compare(a, b))
	})
	return names
}
