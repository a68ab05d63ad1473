package water_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"bayward/agent/reading"
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

func rows(t *testing.T, elem ...string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join(append([]string{"..", "..", "testdata"}, elem...)...))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = rec[i]
		}
		out = append(out, row)
	}
	return out
}

func num(t *testing.T, row map[string]string, col string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[col], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
