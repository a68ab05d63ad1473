package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// fanBay is a bay with an airflow switch that shows what the test wants.
type fanBay struct {
	core *bay.Bay
	now  time.Duration
}

func (f *fanBay) setup() bay.Setup {
	s := baytest.Setup("bay-1")
	s.Fitted = s.Fitted.With(reading.Airflow, true)
	return s
}

func (f *fanBay) run(span time.Duration, air float64) (p *bay.Picture) {
	for end := f.now + span; f.now < end; {
		f.now += time.Second
		r := baytest.AtRest().At(f.now)
		r.Airflow = reading.Good(air, f.now)
		p, _ = f.core.Step(&r)
	}
	return p
}

// restart has the agent off for a time that cannot be proven, with the memory as JSON.
func (f *fanBay) restart(t *testing.T) {
	m := f.core.Memory()
	f.core = bay.New(f.setup())
	require.NoError(t, f.core.Restore(&m, f.now, 0, false))
}

// TestAFanIsBelievedOnceItWasOff: an airflow switch that has shown air ever since it is
// watched may be stuck or bridged. No charge starts by it, also not after a restart,
// until it has once shown none; this is then known for good.
func TestAFanIsBelievedOnceItWasOff(t *testing.T) {
	f := &fanBay{}
	f.core = bay.New(f.setup())
	never := func(p *bay.Picture) {
		t.Helper()
		require.False(t, p.Permit.Granted)
		require.Equal(t, interlock.AirflowUnproven, p.FirstReason())
		require.Equal(t, interlock.NeverOff, p.Findings[interlock.AirflowUnproven].Evidence.Reason)
	}
	never(f.run(time.Hour, 1))
	f.restart(t)
	never(f.run(time.Hour, 1))

	off := f.run(time.Minute, 0)
	require.Equal(t, interlock.Usual, off.Findings[interlock.AirflowUnproven].Evidence.Reason, "a fan that is off is told as such")
	require.False(t, off.Permit.Granted)
	require.True(t, f.run(2*time.Minute, 1).Permit.Granted, "off and on again")
	f.restart(t)
	require.True(t, f.run(5*time.Minute, 1).Permit.Granted, "seen off before the restart")
}

// TestAWalkProvesAFanThatNeverStops, without any sight of it at rest.
func TestAWalkProvesAFanThatNeverStops(t *testing.T) {
	f := &fanBay{}
	s := f.setup()
	s.Fan = bay.Fan{Line: "GPIO6 low", SeenOff: true}
	f.core = bay.New(s)
	require.True(t, f.run(5*time.Minute, 1).Permit.Granted)
	require.False(t, f.run(time.Minute, 0).Permit.Granted)
}
