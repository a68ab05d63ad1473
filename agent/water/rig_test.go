package water_test

import (
	"path"
	"testing"
	"time"

	"bayward/agent/reading"
	"bayward/agent/referencetest"
	"bayward/agent/water"
)

// pack is an invented pack of six-volt blocks: 13 ml per millimetre.
func pack() water.Config {
	return water.Config{
		Cells: 12, ChargeLevelMM: 3, FillMarkMM: 13, VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350,
		FullGravity: 1.277, HottestC: 52, GasHoldUpMM: 3,
	}
}

// rig steps a balance at 25 °C and rest.
type rig struct {
	*water.Balance
	now time.Duration
	in  water.Inputs
}

func newRig(cfg water.Config, levelMM float64) *rig {
	r := &rig{Balance: water.New(cfg)}
	r.stand(levelMM, levelMM)
	return r
}

// stand steps a second with the level in a span.
func (r *rig) stand(lowMM, highMM float64) *water.Status { return r.wait(time.Second, lowMM, highMM) }

func (r *rig) wait(dt time.Duration, lowMM, highMM float64) *water.Status {
	r.now += dt
	r.in.Now, r.in.Level = r.now, reading.LevelBetween(lowMM, highMM, r.now)
	if r.in.PackC.Fault == reading.Missing {
		r.in.PackC = reading.Good(25, r.now)
	}
	r.Step(&r.in)
	return r.Status()
}

// lose makes the balance count gassing that uses a given height of water.
func (r *rig) lose(mm float64) { r.in.GassingAh += mm * 13 * 0.99705 / 0.336087 }

func rows(t *testing.T, elem ...string) []referencetest.Row {
	t.Helper()
	return referencetest.Table(t, path.Join(elem...))
}

func num(t *testing.T, row referencetest.Row, col string) float64 {
	t.Helper()
	return row.Num(t, col)
}
