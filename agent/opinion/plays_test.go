package opinion

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
)

// play is evidence that is wrong in a way that the trade knows.
type play struct {
	name string
	// within is how long a charge may be granted although it must not run.
	within time.Duration
	run    func(t *testing.T) *yard
}

// plays are those of one bay; those that take years are in years_test.go.
var plays = []play{
	{"case-thermometer", 0, caseThermometer},
}

// TestPlays holds each play to its time. What the log says of a play is in the hazard
// log.
func TestPlays(t *testing.T) {
	for _, p := range plays {
		t.Run(p.name, func(t *testing.T) {
			y := p.run(t)
			t.Logf("%s: %v; charge blocked by %v", p.name, &y.oracle, y.blockers())
			require.NotEmpty(t, y.blockers(), "nothing was found")
			require.LessOrEqual(t, y.oracle.worst(), p.within)
		})
	}
}

// caseThermometer: a sensor on the jar, a charger that does not end, a hot night.
func caseThermometer(t *testing.T) *yard {
	y := newYard(t, 4, func(s *bay.Setup) { s.TempOnCase = true })
	y.climate = func(time.Duration) float64 { return 34 }
	y.innerC = 40
	y.work(0.7*y.setup.Pack.CapacityAh, 4)
	y.lawTimes = 0.5
	for range 24 {
		y.run(time.Hour)
		y.charger.finished, y.charger.done = 0, false
	}
	return y
}

// its level is at the threshold.
func noisyNight(t *testing.T, seed uint64) int {
	y := newYard(t, seed, nil)
	dueMM := y.setup.Pack.FillMarkMM - (y.setup.Pack.FillMarkMM-y.setup.Pack.ChargeLevelMM)/3
	y.work(0.6*y.setup.Pack.CapacityAh, 0)
	y.run(14 * time.Hour)
	for i := range y.cells {
		y.cells[i].ml = dueMM * y.setup.Pack.FreeSurfaceCM2 / 10
	}
	// The lowest cell's estimate is what is compared: let the probe be where it is at
	// the threshold.
	before := y.pic.Water.SettledMM - y.pic.Water.LowMM
	for i := range y.cells {
		y.cells[i].ml += before * y.setup.Pack.FreeSurfaceCM2 / 10
	}
	y.errors.noiseMM = 0.02
	y.readied = 0
	y.seconds(8 * time.Hour)
	return y.readied
}

// TestACallIsMadeOnce: at its threshold the call to water does not follow the noise of
// the probe.
func TestACallIsMadeOnce(t *testing.T) {
	for seed := range uint64(3) {
		require.LessOrEqual(t, noisyNight(t, seed), 1)
	}
}
