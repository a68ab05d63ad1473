package wiring

import (
	"math"
	"testing"
	"time"
)

// TestTakes: a request of eight bytes and an answer of nine, by hand: 11 bits a character
// and 3.5 characters of silence after each, 1.75 ms above 19200 baud (Modbus over Serial
// Line V1.02, 2.5.1 and 2.5.1.1).
func TestTakes(t *testing.T) {
	for baud, wantMS := range map[int]float64{
		1200:   (17 + 7) * 11000.0 / 1200,
		9600:   (17 + 7) * 11000.0 / 9600,
		115200: 17*11000.0/115200 + 3.5,
	} {
		l := Line{Baud: baud}
		got := float64(l.Takes()-20*time.Millisecond) / float64(time.Millisecond)
		if math.Abs(got-wantMS) > 0.05 {
			t.Errorf("arithmetic %d baud: %.2f ms, want %.2f ms", baud, got, wantMS)
		}
	}
}
