package bay_test

import (
	"slices"
	"testing"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/reading"
)

// TestChargeThenCoolThenWater: charge, then cool, then water (common practice, no
// source; TM 10-3930-644-14&P and PS Magazine 631 give the reason: a full cell
// spills acid when its level rises on charge). One night, every stage in order,
// and no call to water before.
func TestChargeThenCoolThenWater(t *testing.T) {
	setup := baytest.Setup("bay-1")
	setup.Fitted = setup.Fitted.Without(reading.ContactorFeedback)
	core := bay.New(setup)
	n := coolNight{tauH: 6, startC: 42, airC: 18, noiseK: 0.05, seed: 1}
	var stages []bay.Stage
	for i := range 12 * 360 {
		if _, events := core.Step(n.readings(i)); len(events) > 0 {
			for _, e := range events {
				if e.Kind == bay.StageChanged {
					stages = append(stages, e.Stage)
				}
			}
		}
	}
	want := []bay.Stage{bay.Checking, bay.Waiting, bay.Charging, bay.Cooling, bay.ReadyToWater}
	if !slices.Equal(stages, want) {
		t.Errorf("stages %v, want %v", stages, want)
	}
}
