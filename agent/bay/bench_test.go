package bay_test

import (
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
)

func BenchmarkStep(b *testing.B) {
	for _, c := range []struct {
		name   string
		values baytest.Values
	}{
		{"vacant", baytest.Values{PackC: 22, AmbientC: 22, LevelMM: 8}},
		{"waiting", baytest.Values{PackV: 24.6, PackC: 25, AmbientC: 22, LevelMM: 8}},
		{"charging", baytest.Values{PackV: 27.9, CurrentA: 35, PackC: 30, AmbientC: 22, LevelMM: 8}},
		{"bare", baytest.Values{PackV: 24.6, PackC: 25, AmbientC: 22, LevelMM: -4}},
	} {
		b.Run(c.name, func(b *testing.B) {
			core := bay.New(baytest.Setup("bay-1"))
			var r bay.Readings
			now := time.Duration(0)
			step := func() {
				c.values.Put(&r, now)
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
