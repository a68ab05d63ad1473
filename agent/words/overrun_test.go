package words

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// TestChargerThatGoesOnAfterFull runs the core: the battery is proven full, the
// charger keeps its current up, and after hours the core blocks. The text that a
// technician then reads must not send anyone to look for a weak cell.
func TestChargerThatGoesOnAfterFull(t *testing.T) {
	setup := baytest.Setup("bay-1")
	setup.Fitted = reading.SensorsOf(reading.PackCurrent)
	core := bay.New(setup)
	full, raised := time.Duration(0), time.Duration(0)
	var p *bay.Picture
	for now := time.Duration(0); raised == 0 && now < 30*time.Hour; now += 10 * time.Second {
		p, _ = core.Step(&bay.Readings{
			Now: now, PackV: reading.Good(30, now), CurrentA: reading.Good(2.4+30*math.Exp(-now.Hours()), now), PackC: reading.Good(25, now),
			Level: reading.LevelBetween(12, 12, now),
		})
		if p.Charge.Full && full == 0 {
			full = now
		}
		if p.Findings[interlock.ChargeOverrun].Raised {
			raised = now
		}
	}
	require.NotZero(t, full, "the battery never became full")
	require.InDelta(t, 8, (raised - full).Hours(), 0.1, "an equalize charge may take eight hours after full")
	require.False(t, p.Permit.Granted)
	for language, want := range map[string]struct{ evidence, do string }{
		"en": {
			"Still charging 8.0 h after full; ceiling 8.0 h. The charger does not stop.",
			"The battery is full and the charger does not stop. Switch the charger off at its own switch and have it checked, then release. Have a qualified electrician look at it.",
		},
		"es": {
			"Sigue cargando 8,0 h después de llena; límite 8,0 h. El cargador no para.",
			"La batería está llena y el cargador no para. Apague el cargador en su propio interruptor y hágalo revisar; después libere. Debe mirarlo un electricista cualificado.",
		},
	} {
		v, e := New(language, "si"), p.Findings[interlock.ChargeOverrun].Evidence
		require.Equal(t, want.evidence, v.Evidence(interlock.ChargeOverrun, e))
		require.Equal(t, want.do, v.WhatToDo(interlock.ChargeOverrun, e))
		text, do := v.Notice("charge-blocked", false, p)
		require.Contains(t, text, want.evidence)
		require.Equal(t, want.do, do)
	}
}
