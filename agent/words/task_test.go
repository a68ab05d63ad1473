package words

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// TestTimeBesideAFinding: a line of the work list that names a finding says for how long,
// not when the battery will be ready.
func TestTimeBesideAFinding(t *testing.T) {
	p := &bay.Picture{Stage: bay.Cooling, Now: 10 * time.Hour}
	p.Cool.ReadyKnown, p.Cool.ReadyIn = true, 102*time.Minute
	v := EnglishSI()
	task := func(p *bay.Picture) Task { b := v.Brief(p); return v.Task(&b) }
	require.Equal(t, "in 1 h 42 min", task(p).Much)
	p.Findings[interlock.ChargeOverrun] = bay.Finding{Raised: true, Since: 5*time.Hour + 45*time.Minute}
	require.Equal(t, "for 4 h 15 min", task(p).Much)
}
