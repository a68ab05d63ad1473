package charge_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/reading"
)

// TestRunawayInADoubtedReading: current and temperature that rise together at constant
// voltage, by 7 % and 0.7 K in ten minutes, are a runaway within an hour (the rule's own
// promise), also while a sensor is doubted: a doubt that ends must not have hidden it. A
// broken wire shows nothing.
func TestRunawayInADoubtedReading(t *testing.T) {
	for name, c := range map[string]struct {
		of    func(*charge.Inputs) *reading.Reading
		fault reading.Fault
		want  bool
	}{
		"believed":              {func(in *charge.Inputs) *reading.Reading { return &in.PackC }, reading.None, true},
		"temperature not alive": {func(in *charge.Inputs) *reading.Reading { return &in.PackC }, reading.NotMoving, true},
		"thermometers swapped":  {func(in *charge.Inputs) *reading.Reading { return &in.PackC }, reading.Exchanged, true},
		"current not alive":     {func(in *charge.Inputs) *reading.Reading { return &in.CurrentA }, reading.NotMoving, true},
		"zero off":              {func(in *charge.Inputs) *reading.Reading { return &in.CurrentA }, reading.ZeroOff, true},
		"noisy":                 {func(in *charge.Inputs) *reading.Reading { return &in.CurrentA }, reading.Noisy, true},
		"voltage not alive":     {func(in *charge.Inputs) *reading.Reading { return &in.CellV }, reading.NotMoving, true},
		"broken wire":           {func(in *charge.Inputs) *reading.Reading { return &in.PackC }, reading.Open, false},
		"no current read":       {func(in *charge.Inputs) *reading.Reading { return &in.CurrentA }, reading.NoAnswer, false},
	} {
		tr, in := charge.New(config(225, 1.277)), charge.Inputs{}
		in.CellV, in.CurrentA, in.PackC = reading.Good(2.45, 0), reading.Good(20, 0), reading.Good(26, 0)
		tr.Step(&in)
		for minute := range 60 {
			in.Now = time.Duration(minute+1) * time.Minute
			in.CurrentA.Value *= 1.007
			in.PackC.Value += 0.07
			if minute > 5 { // the charge has begun
				c.of(&in).Fault = c.fault
			}
			tr.Step(&in)
		}
		_, _, got := tr.Runaway()
		require.Equal(t, c.want, got, name)
	}
}
