package bay_test

import (
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// benchSetup is the invented pack of the demo.
func benchSetup() bay.Setup {
	return bay.Setup{
		Name: "bay-1", Limits: bay.DefaultLimits(),
		Fitted: reading.SensorsOf(reading.PackCurrent, reading.AmbientTemperature, reading.ContactorFeedback),
		Pack: bay.Pack{
			Name: "lift-24v", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3,
			FillMarkMM: 13, VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350, ChargeFactor: 1.15,
		},
	}
}

func benchReadings(r *bay.Readings, now time.Duration, packV, currentA, packC, levelMM float64) {
	r.Now = now
	r.PackV, r.CurrentA = reading.Good(packV, now), reading.Good(currentA, now)
	r.PackC, r.AmbientC = reading.Good(packC, now), reading.Good(22, now)
	r.Level = reading.LevelBetween(levelMM, levelMM, now)
	r.ContactorClosed = reading.Good(0, now)
}

func BenchmarkStep(b *testing.B) {
	for _, c := range []struct {
		name                      string
		packV, currentA, packC, c float64
	}{
		{"vacant", 0, 0, 22, 8},
		{"waiting", 24.6, 0, 25, 8},
		{"charging", 27.9, 35, 30, 8},
		{"bare", 24.6, 0, 25, -4},
	} {
		b.Run(c.name, func(b *testing.B) {
			core := bay.New(benchSetup())
			var r bay.Readings
			now := time.Duration(0)
			step := func() {
				benchReadings(&r, now, c.packV, c.currentA, c.packC, c.c)
				core.Step(&r)
				now += time.Second
			}
			for range 3600 {
				step()
			}
			b.ReportAllocs()
			b.ResetTimer()
			for range b.N {
				step()
			}
		})
	}
}
