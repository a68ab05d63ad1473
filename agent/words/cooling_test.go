package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/cooldown"
	"bayward/agent/words"
)

// TestAFullBatteryStillOnCharge waits for its rest: it is not called rested and cool, and
// it does not wait for nothing.
func TestAFullBatteryStillOnCharge(t *testing.T) {
	p := &bay.Picture{Stage: bay.Cooling, Limits: &bay.Limits{RestMin: time.Hour}}
	p.Charge.Full, p.Charge.Active = true, true
	require.Equal(t, "Full, cooling down: waiting for the minimum rest.", words.EnglishSI().Says(p))

	p.Cool = cooldown.Status{Cool: true}
	require.Contains(t, words.EnglishSI().Says(p), "Full, rested and cool. Level not known")
}
