package charge_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestARestAlone: at a charger that holds its voltage, what the voltage alone can show of a
// charge is above all the rest after it, and that cannot both miss a tenth of the full packs
// at most and call one of 1,000 full that is not. The spread of full gravity, 1.275 to 1.295
// (TM 10-6140-200-14), moves it by 20 mV and a voltmeter of 0.25 % by 10, where a tenth of
// the charge moves it by some 15. This observer has everything else: an endless rest, mixed
// acid, no noise, and the best threshold in hindsight.
//
// On 886 nights of five kinds of charger that hold a voltage (seeds from 8,800,000, the same
// model) the best threshold in hindsight that calls none full below 90 % misses 25 % by the
// rest, 86 % by the hours of gassing, 61 % by the time until gassing, and 21 % by the best
// sum of twelve such figures of voltage and temperature, fitted to these very nights. With one
// false of the 886 that sum misses 7 %, 9 % on nights it was not fitted to. The program's
// rules, which are published ones, miss 96 %: TM 5-684/MO-200 asks for 16 h of rest and
// mixed acid before the rest says anything, and the model knows no layers of acid.
func TestARestAlone(t *testing.T) {
	const packs, notFull, full = 4000, 0.89, 0.985
	r := rand.New(rand.NewPCG(1, 1))
	at := func(n *night, soc float64) float64 {
		v := 0.0
		for i := range n.pack.cells {
			c := &n.pack.cells[i]
			c.pos.q, c.neg.q, c.poreV = soc, soc, 0
			v += c.times / n.pack.n * c.acidV(25)
		}
		return v * n.sensor.vGain
	}
	var low, high []float64
	for range packs {
		n := makeNight(r.Uint64(), "IU held on", spread{sulfated: 0.2, old: 0.25})
		low, high = append(low, at(n, notFull)), append(high, at(n, full))
	}
	slices.Sort(low)
	threshold := low[packs-1-packs/1000]
	missed := 0
	for _, v := range high {
		if v <= threshold {
			missed++
		}
	}
	t.Logf("figure: by an ideal rest alone, one of 1,000 packs at %.0f %% called full: %.0f %% of those at %.1f %% missed", 100*notFull, 100*float64(missed)/packs, 100*full)
	require.Greater(t, float64(missed)/packs, 0.10, "a rest alone can prove a pack: let it")
}
