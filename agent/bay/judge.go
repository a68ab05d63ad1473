package bay

import (
	"time"

	"bayward/agent/reading"
)

// judgeReadings ages the readings: everything judged and shown after this counts
// at this tick.
func judgeReadings(s, r *Readings, now, stale time.Duration) {
	s.Now = now
	for i := range sensorTable {
		if row := &sensorTable[i]; row.at != nil {
			*row.at(s) = within(row.at(r).Aged(now, stale), row.most)
		}
	}
	s.Level = r.Level.Aged(now, stale)
	if s.Level.Usable() && (s.Level.LowMM < -mostMM || s.Level.HighMM > mostMM) {
		s.Level.Fault = reading.Implausible
	}
	s.RecordFailing, s.NoRecord, s.LateTick, s.Keeper, s.Bare = r.RecordFailing, r.NoRecord, r.LateTick, r.Keeper, r.Bare
	s.Pack, s.Taken = r.Pack.Aged(now, stale), r.Taken
}

func within(r reading.Reading, most float64) reading.Reading {
	if r.OK() && (r.Value > most || r.Value < -most) {
		r.Fault = reading.Implausible
	}
	return r
}

// flows reports whether a current is larger than the offset of a sensor, in
// either direction.
func flows(currentA *reading.Reading, strayA float64) bool {
	return currentA.OK() && (currentA.Value > strayA || currentA.Value < -strayA)
}
