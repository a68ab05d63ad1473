package bay_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// caseBay is a bay that charges, with its thermometer on the outside of a cell.
func caseBay(air bool) *baytest.Driver {
	s := baytest.Setup("bay-1")
	s.TempOnCase = true
	if !air {
		s.Fitted = s.Fitted.Without(reading.AmbientTemperature)
	}
	d := baytest.New(s)
	if !air {
		d.Change = func(r *bay.Readings) { r.AmbientC = reading.Reading{} }
	}
	d.Run(3 * time.Minute)
	d.Values.PackV, d.Values.CurrentA = 28.8, 20
	return d
}

// throughWall is what a sensor on the case shows while a share of the excess over the
// air is lost in the wall: 11 to 17 % of it (3 to 5 mm of polypropylene, 0.2 W/(m K), in
// still air, 8 W/(m² K); from memory).
func throughWall(inC, airC, lost float64) float64 { return airC + (inC-airC)*(1-lost) }

// TestCaseOnAHotNight: the charge ends while the electrolyte is at 51.7 °C (125 °F,
// NAVEDTRA 14113) or less, and at
// most as much above as the wall may lose more than the published middle, 2 % of the
// excess, plus what it warms in the raise time. Without a temperature of the air a share
// of an excess of 17 K is allowed for.
func TestCaseOnAHotNight(t *testing.T) {
	const kPerS = 0.01 // 36 K/h, so that a test is short
	for _, night := range []struct {
		airC, lost float64
		air        bool
		most       float64
	}{
		{19.1, 0.15, true, 51.7}, {19.1, 0.17, true, 51.8}, {19.1, 0.11, true, 51.7}, {30, 0.15, true, 51.7}, {-5, 0.15, true, 51.7},
		{35, 0.15, false, 51.7}, {35, 0.17, false, 51.7},
	} {
		d := caseBay(night.air)
		inC := 44.0
		d.Values.AmbientC = night.airC
		step := func() *bay.Picture {
			d.Values.PackC = throughWall(inC, night.airC, night.lost)
			p, _ := d.Tick()
			return p
		}
		d.Values.PackC = 25
		require.True(t, d.Run(time.Minute).Permit.Granted, "%+v: no charge to end", night)
		p := step()
		for ; p.Permit.Granted && inC < 70; inC += kPerS {
			p = step()
		}
		t.Logf("%+v: stopped at %.2f °C of electrolyte, %.2f °C on the case", night, inC, d.Values.PackC)
		require.LessOrEqual(t, inC, night.most+11*kPerS, "%+v", night)
		require.Equal(t, interlock.PackHot, p.FirstReason())
		require.Equal(t, interlock.OnCase, p.Findings[interlock.PackHot].Evidence.Reason)
	}
}

// TestCaseInFrost: a cold pack in a warm shed is colder inside than on its case.
func TestCaseInFrost(t *testing.T) {
	for _, air := range []bool{true, false} {
		d := caseBay(air)
		d.Values.PackV, d.Values.CurrentA = 25.2, 0
		d.Values.AmbientC, d.Values.PackC = 20, 5
		require.True(t, d.Run(time.Minute).Permit.Granted)
		stopped := math.NaN()
		for inC := 5.0; inC > -80 && math.IsNaN(stopped); inC -= 0.05 {
			d.Values.PackC = throughWall(inC, 20, 0.15)
			if !air {
				d.Values.PackC = inC + 3
			}
			if p, _ := d.Tick(); !p.Permit.Granted {
				require.Equal(t, interlock.PackFrozen, p.FirstReason())
				stopped = inC
			}
		}
		// The same pack with its sensor in the acid.
		e := baytest.New(baytest.Setup("bay-1"))
		e.Values.PackC = 5
		require.True(t, e.Run(3*time.Minute).Permit.Granted)
		want := 5.0
		for p, _ := e.Tick(); p.Permit.Granted; want -= 0.05 {
			e.Values.PackC = want
			p, _ = e.Tick()
		}
		require.InDelta(t, want, stopped, 0.2)
	}
}
