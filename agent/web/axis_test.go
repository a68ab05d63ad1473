package web

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/words"
)

func axisPicture() *bay.Picture {
	pack, limits := baytest.Pack(), bay.DefaultLimits()
	return &bay.Picture{Pack: &pack, Limits: &limits, Now: time.Hour}
}

// TestAnAxisShowsTheCurve: the curve and all that it is judged by lie on the axis, noise
// stays small, and no axis of a battery begins at 0 V.
func TestAnAxisShowsTheCurve(t *testing.T) {
	p, random := axisPicture(), rand.New(rand.NewPCG(1, 2))
	for _, v := range voices() {
		for class, band := range map[string][2]float64{"volts": {22, 32}, "amperes": {-5, 60}, "heat": {-10, 60}, "level": {-10, 25}} {
			unit, _ := unitOfCurve(v, class)
			for range 50 {
				low := band[0] + random.Float64()*(band[1]-band[0])
				high := low + random.Float64()*(band[1]-low)
				a := newAxis(p, v, class, low, high, unit)
				require.LessOrEqual(t, a.Low, unit(low)+1e-9)
				require.GreaterOrEqual(t, a.High, unit(high)-1e-9)
				for _, l := range a.Limits {
					require.GreaterOrEqual(t, l.At, a.Low-1e-9, l.Name)
					require.LessOrEqual(t, l.At, a.High+1e-9, l.Name)
					whole(t, l.Name)
				}
				require.LessOrEqual(t, len(a.ticks()), 8)
				require.GreaterOrEqual(t, len(a.ticks()), 3)
				if class == "volts" {
					require.Greater(t, a.Low, 10.0)
				}
			}
			noise := newAxis(p, v, class, band[0]+1, band[0]+1.01, unit)
			require.Less(t, (unit(band[0]+1.01)-unit(band[0]+1))/(noise.High-noise.Low), 0.02, class)
		}
	}
	level := newAxis(p, words.EnglishSI(), "level", 6, 7, func(x float64) float64 { return x })
	require.Equal(t, []string{"vent", "mark", "charge"}, []string{level.Limits[0].Class, level.Limits[1].Class, level.Limits[2].Class})
	require.Equal(t, []float64{p.Pack.VentWellMM, p.Pack.FillMarkMM, p.Pack.ChargeLevelMM}, []float64{level.Limits[0].At, level.Limits[1].At, level.Limits[2].At})
}

// TestWhereTheRoundStands: each stage has one place on the line, and the next time is by
// the clock.
func TestWhereTheRoundStands(t *testing.T) {
	now := time.Date(2026, 3, 31, 14, 5, 0, 0, time.Local)
	for stage, want := range map[bay.Stage]string{
		bay.Checking: "step.plugged", bay.Waiting: "step.plugged", bay.Charging: "step.charging", bay.Cooling: "step.cooling",
		bay.ReadyToWater: "step.ready", bay.Watering: "step.ready", bay.Rested: "step.watered",
	} {
		p := axisPicture()
		p.Stage, p.StageAt = stage, p.Now-20*time.Minute
		p.Cool.ReadyKnown, p.Cool.ReadyIn = true, 3*time.Hour
		stand := 0
		for _, s := range stepsOf(p, words.EnglishSI(), now) {
			if s.Class == "now" {
				stand++
				require.Equal(t, want, s.Key)
				require.Equal(t, "since 13:45", s.At)
			}
			if s.Key == "step.ready" && stage == bay.Cooling {
				require.Equal(t, "about 17:05", s.At)
			}
		}
		require.Equal(t, 1, stand, stage)
	}
	p := axisPicture()
	p.Stage = bay.Vacant
	require.Nil(t, stepsOf(p, words.EnglishSI(), now))
	require.Equal(t, "04-01 00:05", clockTime(now, 10*time.Hour))
}
