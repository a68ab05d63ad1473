package circuit

import "testing"

// TestBill: every part of the circuits is on the bill once, and no line is empty.
func TestBill(t *testing.T) {
	want := converters
	for _, c := range append(append([]*Circuit(nil), ofBay...), ofPi...) {
		for _, p := range c.Parts {
			if billed(p) != "" {
				want++
			}
		}
	}
	for _, i := range counted() {
		want -= i.EachBay + i.EachPi
	}
	if want != 0 {
		t.Errorf("%d parts of the circuits are not on the bill", want)
	}
	for _, i := range Bill() {
		if i.Count(1) < 1 || i.Count(8) != 2*i.Count(4) || i.Count(5) != i.Count(4)+i.Count(1) {
			t.Errorf("%s: %d, %d, %d", i.What, i.Count(1), i.Count(4), i.Count(8))
		}
	}
}
