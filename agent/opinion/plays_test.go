package opinion

import (
	"slices"
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
	{"level-flaps", 10 * time.Second, flaps(bare, 2, levelFlaps)},
	{"level-wire-loose", 10 * time.Second, flaps(blind, 2, levelWireLoose)},
	{"hydrogen-flaps", 10 * time.Second, flaps(gassy, 2, hydrogenFlaps)},
	{"temperature-flaps", 20 * time.Second, flaps(hot, 10, temperatureFlaps)},
	{"voltage-flaps", 10 * time.Second, flaps(volts, 2, voltageFlaps)},
	{"air-flaps", 20 * time.Second, flaps(airless, 10, airFlaps)},
	{"air-never-off", 0, airNeverOff},
	{"time-goes-back", 2 * time.Second, timeGoesBack},
	{"case-thermometer", 0, caseThermometer},
	{"power-cuts", 0, powerCuts},
	{"complete-welded", 0, completeWelded},
	{"temperature-stuck", 0, temperatureStuck},
	{"thermometers-exchanged", 0, thermometersExchanged},
	{"thermometer-in-air", 0, thermometerInAir},
	{"current-stuck", 0, currentStuck},
	{"voltage-stuck", 0, voltageStuck},
	{"cell-passed-over", 0, cellPassedOver},
	{"said-to-the-mark", 0, saysToTheMark},
	{"careless", 12 * time.Hour, careless},
	{"only-the-pilot-filled", 0, onlyThePilotFilled},
	{"blind-visit", 0, blindVisit},
	{"probe-stuck", 0, probeStuck},
	{"rods-shorted", 0, rodsShorted},
	{"current-half", 0, currentHalf},
	{"probe-drifts", 0, probeDrifts},
	{"lying-cells", 0, lyingCells},
	{"lying-cells-unread", 0, lyingCellsUnread},
	{"readings-too-high", 0, oneSided},
	{"readings-too-low", 0, oneSidedLow},
	{"reader-slips", 0, readerSlips},
	{"jar-cracks", 24 * time.Hour, jarCracks},
}

// TestPlays holds each play to its time, and the hazard log to what finds it.
func TestPlays(t *testing.T) {
	for _, p := range plays {
		t.Run(p.name, func(t *testing.T) {
			y := p.run(t)
			t.Logf("figure: %s: %v; blocked by %v", p.name, &y.oracle, y.blockers())
			if named := hazardOf(t, p.name).findings; len(named) > 0 {
				found := slices.ContainsFunc(named, func(name string) bool { return slices.Contains(y.blockers(), name) })
				require.True(t, found, "the hazard log names %v, and the charge was blocked by %v", named, y.blockers())
			}
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
	require.Greater(t, y.warmest, y.setup.Limits.ChargeMaxC-5, "the play does not come near the limit")
	return y
}

// powerCuts: a charger that never ends, and a cut each 55 minutes. The memory was
// stored with each event and within its time. The agent is back after a minute, and
// cannot prove for how long it was off.
func powerCuts(t *testing.T) *yard {
	y := newYard(t, 5, nil)
	y.work(0.6*y.setup.Pack.CapacityAh, 0)
	y.lawTimes = 0.2 // plates that never come to gas
	stored, savedAt := y.core.Memory(), y.now
	for range 360 {
		for end := y.now + 55*time.Minute; y.now < end; {
			y.outAh = max(y.outAh, 30) // a shorted cell takes all
			y.charger.done = false
			if events := y.tick(time.Minute); len(events) > 0 || y.now-savedAt >= bay.SavedWithin {
				stored, savedAt = y.core.Memory(), y.now
			}
		}
		y.pass(time.Minute)
		y.core, y.granted = bay.New(y.setup), false
		if err := y.core.Restore(&stored, y.now, 0, false); err != nil {
			t.Fatal(err)
		}
	}
	return y
}

// noisyNight returns how often a pack is called ready to water in a night in which
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
