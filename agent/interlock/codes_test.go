package interlock_test

import (
	"testing"

	"bayward/agent/interlock"
)

// TestCodesAreGivenInOrder: all of a set, in order, and no more than are asked for.
func TestCodesAreGivenInOrder(t *testing.T) {
	set := interlock.Codes(1<<interlock.PlatesBare | 1<<interlock.Held | 1<<interlock.RecordFailing)
	var got []interlock.Code
	for c := range set.All() {
		got = append(got, c)
	}
	if len(got) != 3 || got[0] != interlock.PlatesBare || got[1] != interlock.Held || got[2] != interlock.RecordFailing {
		t.Errorf("got %v", got)
	}
	for c := range set.All() {
		if c != interlock.PlatesBare {
			t.Errorf("%v came after the reader had stopped", c)
		}
		break
	}
}
