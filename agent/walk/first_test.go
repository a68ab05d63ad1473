package walk

import (
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/words"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// TestFirstRow: a row of a real bay has the board, the kernel and the parts, and the
// figures of its walk beside those of the simulator. What breaks a table is left out.
func TestFirstRow(t *testing.T) {
	ended := commission.Stamp{Wall: time.Date(2026, 5, 4, 22, 0, 0, 0, time.UTC)}
	r := &commission.Record{ID: "w-1", Bay: "bay-1", Signed: true, Ended: &ended, Steps: []commission.Step{
		{Key: "rest", Result: commission.Passed, Proof: []words.Sentence{
			words.Of("walk.rest.mean", words.Of("walk.reading.voltage"), 25.2, "V", 0.0206, 10.0),
			words.Of("walk.rest.mean", words.Of("walk.reading.air"), 20.0, "°C", 0.1, 10.0),
		}},
		{Key: "heartbeat", Result: commission.Passed, Proof: []words.Sentence{words.Of("walk.heartbeat.opened", 5.0)}},
		{Key: "death", Result: commission.Failed},
	}}
	w := config.DefaultWiring(0, config.Pack{Cells: 12, CapacityAh: 225, VentWellMM: 22})
	w.Voltage.RangeV, w.Voltage.Ratio = 4.096, 11 // noise of 1.5 steps: 2.06 mV
	text := firstText(r, &w, fstest.MapFS{
		"proc/device-tree/model":    {Data: []byte("Some Board | Rev 1\x00")},
		"proc/sys/kernel/osrelease": {Data: []byte("6.12.1-v8\n")},
	})
	for _, want := range []string{
		"| Some Board   Rev 1 | Linux 6.12.1-v8 | 1 × ADS1115, level 4-20ma, ", "contactor-feedback (break contact)", "| 2026-05-04 (clock not set) |",
		"| noise of the voltage, V | 0.0206 | 0.00206 | 10 |", "| watchdog relay holds, s | 5 | 10 | 0.5 |",
		"walk failed, 2 of 3 steps; 1 of 2 figures within", FirstColumns, "CAUTION",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	rods := w
	rods.Level = &wiring.Level{Kind: level.SingleRod, Expander: 0x20, Settings: level.Settings{ReferenceOhm: 10e3}}
	back := *r
	back.Steps = []commission.Step{{Key: "level", Result: commission.Passed, Proof: []words.Sentence{words.Of("walk.level.rods", words.Of("walk.level.before-lift"), 4.3, 11.0, 14.0), words.Of("walk.level.rods", words.Of("walk.level.lifted"), 47.0, 0.1, 0.0)}}}
	of := firstText(&back, &rods, fstest.MapFS{})
	// 3.3 V over 20 kΩ for 8 ms charge 60 and 120 µF in series by 33 mV.
	for _, want := range []string{"level rod, TCA9534", "| left on the rods by a test pulse, mV | 11 | 33 | 0.33 |"} {
		if !strings.Contains(of, want) {
			t.Errorf("no %q in\n%s", want, of)
		}
	}
	if strings.Contains(text, simulatedMark) {
		t.Errorf("a real bay is marked as simulated:\n%s", text)
	}
	if r.Simulated = true; strings.Count(firstText(r, &w, fstest.MapFS{}), simulatedMark) != 6 {
		t.Error("a simulated bay is not marked in its title and in each cell")
	}
}
