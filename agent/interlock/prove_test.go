package interlock_test

import (
	"testing"
	"time"

	"bayward/agent/interlock"
)

// TestProve: what was seen between two ticks is raised at once, and a finding
// already raised keeps its time and evidence.
func TestProve(t *testing.T) {
	lock := interlock.New(interlock.Limits{ChargeLevelMM: 3}, 0)
	lock.Prove(interlock.PlatesBare, interlock.Evidence{Value: -1}, time.Second)
	first := lock.Standing(interlock.PlatesBare)
	if !first.Raised || first.Since != time.Second || first.Evidence.Value != -1 {
		t.Fatalf("after the proof: %+v", first)
	}
	lock.Prove(interlock.PlatesBare, interlock.Evidence{Value: -2}, time.Minute)
	if again := lock.Standing(interlock.PlatesBare); again != first {
		t.Errorf("a second proof made it %+v from %+v", again, first)
	}
}
