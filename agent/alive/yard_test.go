package alive_test

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/reading"
	"bayward/sensors/sim/pack"
)

// yard is one bay with a simulated pack, whose physics shares nothing with the core's,
// and with sensors of the usual faults of honest ones: 12-bit thermometers, the lag of a
// case, noise. Its technician only plugs in and works.
type yard struct {
	t       testing.TB
	core    *bay.Bay
	setup   bay.Setup
	pack    *pack.Battery
	charger *pack.Charger
	rng     *rand.Rand
	now     time.Duration
	off     bool // the pack is at work
	pic     *bay.Picture

	airC, swingK, noiseMM float64
	onCase                bool
	lie                   func(r *bay.Readings)            // what is wrong with the sensors
	seen                  map[reading.Sensor]time.Duration // first doubt
}

// spec is what the yards differ in.
type spec struct {
	kind             pack.ChargerKind
	soc, levelMM     float64
	airC, swingK     float64
	tauH             float64
	capacityAh       float64
	surfaceCM2, acid float64
	onCase           bool
	noiseMM          float64
	seed             uint64
	chargerA         float64
}

func usual() spec {
	return spec{
		kind: pack.TwoStage, soc: 0.95, levelMM: 9, airC: 18, swingK: 4, tauH: 8, capacityAh: 225, surfaceCM2: 130, acid: 1350,
		onCase: true, noiseMM: 0.05, seed: 1,
	}
}

func newYard(t testing.TB, s spec) *yard {
	t.Helper()
	setup := baytest.Setup("bay-1")
	setup.Fitted = setup.Fitted.Without(reading.ContactorFeedback)
	setup.TempOnCase = s.onCase
	setup.Pack.CapacityAh, setup.Pack.FreeSurfaceCM2, setup.Pack.ElectrolyteML, setup.Pack.ProbeCell = s.capacityAh, s.surfaceCM2, s.acid, 1
	p, err := pack.New(pack.Spec{
		Cells: 12, CapacityAh: s.capacityAh, RateHours: 20, FullGravity: 1.277, VentWellMM: 22, FreeSurfaceCM2: s.surfaceCM2,
		ElectrolyteML: s.acid, StateOfCharge: s.soc, LevelMM: s.levelMM, PackC: s.airC + 3, TauH: s.tauH, PilotCell: 1, Seed: s.seed,
	})
	require.NoError(t, err)
	c, err := pack.NewCharger(s.kind, 12, s.capacityAh, s.chargerA, true)
	require.NoError(t, err)
	return &yard{
		t: t, core: bay.New(setup), setup: setup, pack: p, charger: c, rng: rand.New(rand.NewPCG(s.seed, 7)), airC: s.airC, swingK: s.swingK,
		noiseMM: s.noiseMM, onCase: s.onCase, seen: map[reading.Sensor]time.Duration{},
	}
}

const tick = 5 * time.Second

// air is the temperature of the air now: coldest at the start of a day.
func (y *yard) air() float64 { return y.airC - y.swingK*math.Cos(2*math.Pi*y.now.Hours()/24) }

func sixteenths(c float64) float64 { return math.Round(c*16) / 16 }

func (y *yard) readings() *bay.Readings {
	now, r := y.now, &bay.Readings{Now: y.now}
	packC := y.pack.ProbeC()
	if y.onCase {
		packC = y.air() + 0.85*(packC-y.air())
	}
	r.PackC, r.AmbientC = reading.Good(sixteenths(packC+0.03*y.rng.NormFloat64()), now), reading.Good(sixteenths(y.air()+0.03*y.rng.NormFloat64()), now)
	if y.off {
		r.PackV, r.CurrentA, r.Level = reading.Good(0, now), reading.Good(0, now), reading.Level{At: now, Fault: reading.Open}
		return r
	}
	mm := y.pack.LevelMM(1) + y.noiseMM*y.rng.NormFloat64()
	r.PackV, r.CurrentA = reading.Good(y.pack.Volts()+0.003*y.rng.NormFloat64(), now), reading.Good(y.pack.Amps()+0.02*y.rng.NormFloat64(), now)
	r.Level = reading.LevelBetween(mm, mm, now)
	return r
}

// run runs the yard for a time, at work with a current out of the pack, or in the bay.
func (y *yard) run(span time.Duration, loadA float64) {
	y.off = loadA > 0
	for end := y.now + span; y.now < end; y.now += tick {
		closed := y.pic != nil && y.pic.Permit.Granted && !y.off
		supply := y.charger.Supply(closed, true, !y.off)
		y.pack.Step(tick.Seconds(), supply, loadA, y.air())
		y.charger.Observe(tick.Seconds(), y.pack.Volts(), y.pack.SupplyA())
		r := y.readings()
		if y.lie != nil {
			y.lie(r)
		}
		y.pic, _ = y.core.Step(r)
		y.note()
	}
}

// note records which sensors are doubted.
func (y *yard) note() {
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		f := y.pic.Seen.Of(s).Fault
		if _, ok := y.seen[s]; !ok && (f == reading.NotMoving || f == reading.Exchanged) {
			y.seen[s] = y.now
			if y.lie == nil {
				y.t.Errorf("%s after %v: %s, with honest sensors", s, y.now, f)
			}
		}
	}
}

// day is a day of the usual kind: work, charge to full, rest.
func (y *yard) day(workH, workA float64) {
	y.run(time.Duration(workH*float64(time.Hour)), workA)
	y.run(24*time.Hour-time.Duration(workH*float64(time.Hour)), 0)
}

// TestHonestYards: no sensor that lives is doubted: by deep and shallow charges, hot and
// cold, with a pack already full, with short top-ups in the breaks, in still and in
// swinging air, with chargers of both kinds, by the sensor on the case and in the acid.
func TestHonestYards(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates weeks")
	}
	for name, c := range map[string]struct {
		change func(*spec)
		live   func(*yard)
	}{
		"usual": {nil, nil}, "taper": {func(s *spec) { s.kind = pack.Taper }, nil},
		"cold nights":       {func(s *spec) { s.airC, s.swingK, s.tauH = 6, 9, 4 }, nil},
		"hot, swinging":     {func(s *spec) { s.airC, s.swingK = 30, 9 }, nil},
		"in the acid, slow": {func(s *spec) { s.onCase, s.tauH = false, 24 }, nil},
		"wide cells":        {func(s *spec) { s.capacityAh, s.surfaceCM2, s.acid = 625, 420, 5200 }, nil},
		"still air":         {func(s *spec) { s.swingK = 0.5 }, nil},
		"weak charger":      {func(s *spec) { s.chargerA = 15 }, nil},
		"noisy probe":       {func(s *spec) { s.noiseMM = 0.3 }, nil},
		"full when plugged": {func(s *spec) { s.soc = 0.995 }, func(y *yard) { y.run(48*time.Hour, 0) }},
		"short top-ups": {nil, func(y *yard) {
			for range 12 {
				y.run(time.Hour, 20)
				y.run(40*time.Minute, 0)
			}
		}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := usual()
			if c.change != nil {
				c.change(&s)
			}
			y := newYard(t, s)
			if c.live != nil {
				c.live(y)
				return
			}
			for range 2 {
				y.day(5, 0.1*s.capacityAh)
			}
			require.Greater(t, y.pic.Totals.InAh, 0.3*s.capacityAh, "nothing was charged: nothing was tested")
		})
	}
}

// TestHonestYardsAtRandom: forty packs of their own kind, two days each. With
// BAYWARD_YARDS=n that many; six by default.
func TestHonestYardsAtRandom(t *testing.T) {
	n := 6
	if text := os.Getenv("BAYWARD_YARDS"); text != "" {
		var err error
		n, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	for i := range n {
		t.Run(strconv.Itoa(i), func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(uint64(i), 40))
			between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
			s := spec{
				kind: pack.ChargerKind(rng.IntN(2)), soc: between(0.6, 0.99), levelMM: between(6, 13), airC: between(4, 32), swingK: between(0, 9),
				tauH: between(3, 24), capacityAh: between(150, 700), onCase: rng.IntN(2) == 0, noiseMM: between(0, 0.2), seed: uint64(i),
			}
			s.surfaceCM2, s.acid = s.capacityAh*between(0.5, 0.8), s.capacityAh*between(5, 9)
			s.chargerA = s.capacityAh * between(0.08, 0.25)
			y := newYard(t, s)
			for range 2 {
				y.day(between(1, 9), s.capacityAh*between(0.01, 0.07))
			}
			t.Logf("%+v: %.0f Ah charged, %d full, proofs %v", s, y.pic.Totals.InAh, y.pic.Totals.ChargesFull, y.pic.Proofs)
		})
	}
}

// TestStuckSensorsAreFound: each sensor that is wrong in the usual way is doubted within
// the time of the table in doc.go, and no other one with it.
func TestStuckSensorsAreFound(t *testing.T) {
	hold := func(of func(*bay.Readings) *float64) func(*bay.Readings) {
		var at float64
		known := false
		return func(r *bay.Readings) {
			if !known {
				at, known = *of(r), true
			}
			*of(r) = at
		}
	}
	packC := func(r *bay.Readings) *float64 { return &r.PackC.Value }
	amps := func(r *bay.Readings) *float64 { return &r.CurrentA.Value }
	volts := func(r *bay.Readings) *float64 { return &r.PackV.Value }
	for name, c := range map[string]struct {
		sensor reading.Sensor
		fault  reading.Fault
		lie    func(y *yard) func(*bay.Readings)
		from   time.Duration // of the day, which charges from 5 h on
		within time.Duration
	}{
		"level stuck before the charge": {reading.ElectrolyteLevel, reading.NotMoving, func(*yard) func(*bay.Readings) { return stuckLevel(8) }, 0, 24 * time.Hour},
		"level stuck in the charge":     {reading.ElectrolyteLevel, reading.NotMoving, func(*yard) func(*bay.Readings) { return stuckLevel(9.3) }, 7 * time.Hour, 24 * time.Hour},
		"level stuck, noisy": {reading.ElectrolyteLevel, reading.NotMoving, func(y *yard) func(*bay.Readings) {
			return func(r *bay.Readings) {
				if r.Level.Usable() {
					mm := 8 + 0.1*y.rng.NormFloat64()
					r.Level.LowMM, r.Level.HighMM = mm, mm
				}
			}
		}, 0, 24 * time.Hour},
		"pack temperature stuck": {reading.PackTemperature, reading.NotMoving, func(*yard) func(*bay.Readings) { return hold(packC) }, 5 * time.Hour, 4 * time.Hour},
		"pack sensor fell off": {reading.PackTemperature, reading.NotMoving, func(y *yard) func(*bay.Readings) {
			return func(r *bay.Readings) { r.PackC.Value = sixteenths(y.air() + 0.3) }
		}, 0, 9 * time.Hour},
		"thermometers exchanged": {reading.PackTemperature, reading.Exchanged, func(*yard) func(*bay.Readings) {
			return func(r *bay.Readings) { r.PackC, r.AmbientC = r.AmbientC, r.PackC }
		}, 0, 15 * time.Hour},
		"current stuck at zero": {reading.PackCurrent, reading.NotMoving, func(*yard) func(*bay.Readings) { return hold(amps) }, 5 * time.Hour, 3 * time.Hour},
		"current reversed": {reading.PackCurrent, reading.NotMoving, func(*yard) func(*bay.Readings) {
			return func(r *bay.Readings) { r.CurrentA.Value = -r.CurrentA.Value }
		}, 0, 8 * time.Hour},
		"current stuck in the charge": {reading.PackCurrent, reading.NotMoving, func(*yard) func(*bay.Readings) { return hold(amps) }, 7 * time.Hour, 12 * time.Hour},
		"voltage stuck at rest":       {reading.PackVoltage, reading.NotMoving, func(*yard) func(*bay.Readings) { return hold(volts) }, 5 * time.Hour, 15 * time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			y := newYard(t, usual())
			loads := func(until time.Duration) {
				if y.now < 5*time.Hour {
					y.run(min(until, 5*time.Hour)-y.now, 22.5)
				}
				y.run(until-y.now, 0)
			}
			loads(c.from)
			y.lie = c.lie(y)
			if c.from == 5*time.Hour {
				y.lie(y.atRest())
			}
			loads(c.from + c.within)
			at, found := y.seen[c.sensor]
			require.True(t, found, "not found in %v; seen %v, %v", c.within, y.seen, y.pic.Codes())
			t.Logf("found after %v, %v after the charge began", at-c.from, at-5*time.Hour)
			require.Equal(t, c.fault, y.pic.Seen.Of(c.sensor).Fault)
			for s := range y.seen {
				require.True(t, s == c.sensor || c.fault == reading.Exchanged && s == reading.AmbientTemperature, "%s is doubted too", s)
			}
			require.False(t, y.pic.Permit.Granted)
		})
	}
}

// stuckLevel is a probe that shows one level whenever its plug is in.
func stuckLevel(mm float64) func(*bay.Readings) {
	return func(r *bay.Readings) {
		if r.Level.Usable() {
			r.Level.LowMM, r.Level.HighMM = mm, mm
		}
	}
}

// atRest is what the pack shows when it is plugged in.
func (y *yard) atRest() *bay.Readings {
	y.off = false
	return y.readings()
}
