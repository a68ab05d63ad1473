package words

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// TestEvidence checks word for word the sentences that a technician reads: each
// finding with each of its reasons.
func TestEvidence(t *testing.T) {
	v := EnglishSI()
	bad := func(f reading.Fault) interlock.Evidence { return interlock.Evidence{Fault: f} }
	said := map[string]bool{}
	for _, tc := range []struct {
		code interlock.Code
		e    interlock.Evidence
		want string
	}{
		{interlock.PlatesBare, interlock.Evidence{Value: -4.8, Limit: 3, Fault: reading.None}, "Level is 5 mm below the plate tops; charging needs 3 mm above them."},
		{interlock.PlatesBare, interlock.Evidence{Value: -0.3, Limit: 3, Fault: reading.None}, "Level is 1 mm below the plate tops; charging needs 3 mm above them."},
		{interlock.PlatesBare, interlock.Evidence{Value: 0, Limit: 3, Fault: reading.None}, "Level is at the plate tops; charging needs 3 mm above them."},
		{interlock.PlatesBare, interlock.Evidence{Value: 2.9, Limit: 3, Reason: interlock.BelowChargeLevel}, "Level is 2.9 mm above the plate tops; charging needs 3 mm."},
		{interlock.PlatesBare, interlock.Evidence{Value: 4, Limit: 3.5}, "The plates were dry. Level is now 4 mm above the plate tops; charging needs 3.5 mm."},
		{interlock.PlatesBare, interlock.Evidence{Value: 8, Limit: 3, Reason: interlock.CellsBare, Fault: reading.None}, "Cells still bare by the record: 8. Charging needs 3 mm above the plate tops in each."},
		{interlock.LevelUnknown, bad(reading.Open), "Level probe: wire broken. Level not known."},
		{interlock.PackUnknown, interlock.Evidence{}, "Nobody has named the battery that is plugged in."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.NoSensor}, "No battery's own sensor answers here, so it is not known which battery is plugged in."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.TwoSensors}, "The sensors of several batteries answer here at once."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.PackChanged}, "Another battery's sensor answers now, although none was unplugged: unplug it and plug it in again, or name it."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.Elsewhere}, "Another bay reports this battery, or has its visit open: a battery cannot be in two bays."},
		{interlock.TemperatureUnknown, bad(reading.PowerOn), "Temperature sensor: it shows its power-on value, not a measurement. Battery temperature not known."},
		{interlock.VoltageUnknown, bad(reading.NoAnswer), "Voltage input: the device does not answer. Battery voltage not known."},
		{interlock.CurrentUnknown, bad(reading.Stale), "Current sensor: last good reading too old. Charging current not known."},
		{interlock.VoltageImplausible, interlock.Evidence{Value: -2.1, Reason: interlock.Reversed}, "Voltage is -2.10 V per cell: the battery is connected the wrong way round."},
		{interlock.VoltageImplausible, interlock.Evidence{Value: 3.15, Limit: 2.45, Reason: interlock.TooHigh}, "Voltage is 3.15 V per cell, above 2.45 V: wrong battery or broken sense lead."},
		{interlock.VoltageImplausible, interlock.Evidence{Value: 1.58, Limit: 1.7, Reason: interlock.TooLow}, "Voltage is 1.58 V per cell, below 1.70 V: wrong battery, dead cell or broken sense lead."},
		{interlock.PackHot, interlock.Evidence{Value: 53, Limit: 38}, "Electrolyte is or was too hot. It is at 53.0 °C now; charging starts again at 38.0 °C or below."},
		{interlock.PackFrozen, interlock.Evidence{Value: -20, Limit: -18}, "Electrolyte is at -20.0 °C; at its estimated gravity it must be above -18.0 °C."},
		{interlock.PackHot, interlock.Evidence{Value: 53, Limit: 38, Reason: interlock.OnCase}, "Electrolyte is or was too hot. By the sensor on the case it may be at 53.0 °C now; charging starts again at 38.0 °C or below."},
		{interlock.PackFrozen, interlock.Evidence{Value: -20, Limit: -18, Reason: interlock.OnCase}, "The sensor on the case allows electrolyte as cold as -20.0 °C; at its estimated gravity it must be above -18.0 °C."},
		{interlock.PackWarm, interlock.Evidence{Value: 44, Limit: 43, Reason: interlock.OnCase}, "By the sensor on the case the electrolyte may be at 44.0 °C; the warning starts at 43.0 °C."},
		{interlock.AirflowUnproven, bad(reading.None), "The airflow switch shows no airflow."},
		{interlock.AirflowUnproven, interlock.Evidence{Value: 1, Fault: reading.None, Reason: interlock.NeverOff}, "The airflow switch has never shown the fan off, so it may be stuck. Switch the fan off and on again. If the fan never stops, prove its switch with a commissioning walk."},
		{interlock.AirflowUnproven, bad(reading.Missing), "Airflow switch: no reading."},
		{interlock.HydrogenHigh, interlock.Evidence{Value: 2.1, Limit: 1, Fault: reading.None}, "Hydrogen is at 2.10 % by volume; charging starts again below 1.00 %."},
		{interlock.HydrogenHigh, bad(reading.OverRange), "Hydrogen sensor: converter at the end of its range."},
		{interlock.HydrogenWarning, interlock.Evidence{Value: 1.1, Limit: 1}, "Hydrogen is at 1.10 % by volume; the warning starts at 1.00 %."},
		{interlock.PackWarm, interlock.Evidence{Value: 44, Limit: 43}, "Electrolyte is at 44.0 °C; the warning starts at 43.0 °C."},
		{interlock.CloseDelay, interlock.Evidence{Value: 40, Limit: 60}, "The last lock was removed. The contactor may close in 40 s."},
		{interlock.ChargeOverrun, interlock.Evidence{Value: 18.1, Limit: 18, Reason: interlock.ByHours}, "Charging for 18.1 h without becoming full; ceiling 18.0 h."},
		{interlock.ChargeOverrun, interlock.Evidence{Value: 325, Limit: 324, Reason: interlock.ByAmpereHours}, "325 Ah charged without becoming full; ceiling 324 Ah."},
		{interlock.ChargeOverrun, interlock.Evidence{Value: 8.02, Limit: 8, Reason: interlock.AfterFull}, "Still charging 8.0 h after full; ceiling 8.0 h. The charger does not stop."},
		{interlock.Runaway, interlock.Evidence{Value: 3, Limit: 4}, "At constant voltage the current rose by 3.0 A while the battery warmed by 4.0 °C."},
		{interlock.ContactorStuck, interlock.Evidence{Value: 30, Reason: interlock.ByCurrent}, "The battery is still charging at 30.0 A although the contactor is ordered open."},
		{interlock.ContactorStuck, interlock.Evidence{}, "The feedback contact says closed although the contactor is ordered open."},
		{interlock.ContactorOpen, interlock.Evidence{Value: 30, Reason: interlock.ByCurrent, Fault: reading.None}, "The contactor is ordered closed and 30.0 A is flowing, but its feedback contact does not say closed: the contact or its wire is broken."},
		{interlock.ContactorOpen, bad(reading.Missing), "The contactor is ordered closed. Feedback contact: no reading."},
		{interlock.ContactorOpen, bad(reading.None), "The contactor is ordered closed, but its feedback contact says open and no current is seen: the battery is not charging."},
		{interlock.Overfilled, interlock.Evidence{Value: 4, Limit: 1, Fault: reading.None}, "Cell 4 is above its highest level for a charge."},
		{interlock.Overfilled, interlock.Evidence{Value: 4, Limit: 3, Fault: reading.None, Reason: interlock.Several}, "3 cells are above their highest level for a charge, cell 4 first."},
		{interlock.LevelDoubted, interlock.Evidence{Value: 41 * 24, Limit: 7, Fault: reading.None}, "Cell 7 has not been read for 41 days. Its level may be at the plate tops."},
		{interlock.LevelDoubted, interlock.Evidence{Value: 1, Limit: 7, Fault: reading.None}, "By its readings and the charges since, the level of cell 7 may be at the plate tops."},
		{interlock.LevelDoubted, interlock.Evidence{Value: 41 * 24, Limit: 4, Fault: reading.None, Reason: interlock.ByBalance}, "By the charges since cell 4 was last read, its level may be at the plate tops, whatever its probe shows."},
		{interlock.LevelDoubted, interlock.Evidence{Fault: reading.None, Reason: interlock.NeverRead}, "Cell levels were never read, and the bay has nothing to count them from."},
		{interlock.VisitOpen, interlock.Evidence{}, "A visit is open; charging is locked out until it is closed."},
		{interlock.Held, interlock.Evidence{}, "A person has put the bay on hold."},
		{interlock.Held, interlock.Evidence{Reason: interlock.Forgotten}, "What people ordered before the restart may be missing from the record: a visit may be open or a finding latched. The bay is on hold until a person has checked it and removes the hold."},
		{interlock.Held, interlock.Evidence{Reason: interlock.NewBay}, "This bay is new. It is on hold until its commissioning walk is signed or a person removes the hold."},
		{interlock.AgentUnready, interlock.Evidence{Value: 12}, "Checking readings: 12 s left."},
		{interlock.AgentUnready, interlock.Evidence{Reason: interlock.NoPack}, "No battery connected."},
		{interlock.AgentUnready, interlock.Evidence{Value: 40, Reason: interlock.ContactorRest}, "Contactor off-time: 40 s left."},
		{interlock.AgentUnready, interlock.Evidence{Value: 9, Reason: interlock.Restored}, "The memory was in doubt after a restart. Checking readings: 9 s left."},
		{interlock.AgentUnready, interlock.Evidence{Reason: interlock.LateTick}, "The agent or the relay's keeper was late, so the relay opened."},
		{interlock.AgentUnready, interlock.Evidence{Reason: interlock.KeeperSilent}, "The relay's keeper does not answer."},
		{interlock.AgentUnready, interlock.Evidence{Reason: interlock.KeeperOther}, "The relay's keeper was started with other lines: restart bayward-keeper."},
		{interlock.AgentUnready, interlock.Evidence{Reason: interlock.KeeperFails}, "The relay's keeper cannot drive the line."},
		{interlock.CellsMiscounted, interlock.Evidence{Value: 11, Limit: 12}, "11 cells fit the voltage at rest better than the 12 of the configuration: either the number is wrong, or a cell is dead or reversed."},
		{interlock.CellsMiscounted, interlock.Evidence{Value: 13, Limit: 12, Reason: interlock.MoreCells}, "13 cells fit the voltage at rest better than the 12 of the configuration."},
		{interlock.WaterBalance, interlock.Evidence{Value: 6, Limit: 4}, "The level is 6 mm higher than the charge records explain; 4 mm is allowed. Who watered which cells?"},
		{interlock.WaterBalance, interlock.Evidence{Value: -6, Limit: 4}, "The level differs by 6 mm from what the charge records predict; 4 mm is allowed."},
		{interlock.WaterUnrecorded, interlock.Evidence{Value: 6}, "The level rose by 6 mm without a visit. Who watered which cells?"},
		{interlock.ReadingsOff, interlock.Evidence{Value: 2.5}, "The last four level readings in the probe's cell are all above what the probe shows, by 2.5 mm on average."},
		{interlock.ReadingsOff, interlock.Evidence{Value: 2, Reason: interlock.TooLow}, "The last four level readings in the probe's cell are all below what the probe shows, by 2 mm on average."},
		{interlock.RecordFailing, interlock.Evidence{}, "The logbook cannot be written."},
		{interlock.NoCode, interlock.Evidence{}, "Unknown finding."},
		{interlock.NumCodes, interlock.Evidence{}, "Unknown finding."},
		{200, interlock.Evidence{}, "Unknown finding."},
	} {
		said[tc.code.String()+tc.e.Reason.String()] = true
		require.Equal(t, tc.want, v.Evidence(tc.code, tc.e), "%s %+v", tc.code, tc.e)
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		for _, r := range interlock.Table[c].Reasons {
			require.True(t, said[c.String()+r.String()], "%s by %s has no sentence in this test", c, r)
		}
	}
}

// TestAFindingWhoseReadingIsGoodOrGone does not say of this reading, or of none, that it
// is what led to the finding.
func TestAFindingWhoseReadingIsGoodOrGone(t *testing.T) {
	clean := interlock.Evidence{Value: 0, Limit: 1, Fault: reading.None}
	dry := interlock.Evidence{Value: -5, Limit: 3, Fault: reading.None}
	for _, tc := range []struct {
		code   interlock.Code
		f      bay.Finding
		en, es string
	}{
		{interlock.HydrogenHigh, bay.Finding{Evidence: clean, Clearing: true},
			"The hydrogen sensor works and shows 0.00 % by volume now; charging starts again after 5 min below 1.00 % without a break.",
			"El sensor de hidrógeno funciona y muestra ahora un 0,00 % en volumen; la carga vuelve a empezar después de 5 min por debajo del 1,00 % sin interrupción."},
		{interlock.AirflowUnproven, bay.Finding{Clearing: true, Evidence: interlock.Evidence{Value: 1, Fault: reading.None}},
			"Good again, but not for long enough yet: this ends after 30 s without a break.",
			"Vuelve a estar bien, pero aún no el tiempo suficiente: termina después de 30 s sin interrupción."},
		{interlock.LevelUnknown, bay.Finding{Clearing: true, Evidence: interlock.Evidence{Fault: reading.None}},
			"Level probe: good again, but not for long enough yet. Level not known.",
			"Sonda de nivel: vuelve a ser buena, pero aún no el tiempo suficiente. Nivel desconocido."},
		{interlock.PackHot, bay.Finding{Clearing: true, Evidence: interlock.Evidence{Value: 37, Limit: 38}},
			"Electrolyte is or was too hot. It is at 37.0 °C now; charging starts again at 38.0 °C or below.", ""},
		{interlock.PlatesBare, bay.Finding{Clearing: true, Evidence: interlock.Evidence{Value: 8, Limit: 3, Fault: reading.None}},
			"The plates were dry. Level is now 8 mm above the plate tops; charging needs 3 mm.", ""},
		{interlock.PlatesBare, bay.Finding{Gone: true, Evidence: dry},
			"There is no reading now. The last one: Level is 5 mm below the plate tops; charging needs 3 mm above them.",
			"Ahora no hay lectura. La última: " + New("es", "si").Evidence(interlock.PlatesBare, dry)},
	} {
		tc.f.Raised = true
		p := &bay.Picture{}
		p.Findings[tc.code] = tc.f
		require.Equal(t, tc.en, EnglishSI().Why(p, tc.code))
		if tc.es != "" {
			require.Equal(t, tc.es, New("es", "si").Why(p, tc.code))
		}
	}
}

// TestEveryReasonHasItsOwnSentence: no two reasons of a finding read alike in any
// language.
func TestEveryReasonHasItsOwnSentence(t *testing.T) {
	for _, language := range Languages() {
		v := New(language, "si")
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			seen := map[string]interlock.Reason{}
			for _, r := range append([]interlock.Reason{interlock.Usual}, interlock.Table[c].Reasons...) {
				text := v.Evidence(c, interlock.Evidence{Value: -4, Limit: 17.5, Fault: reading.None, Reason: r})
				other, twice := seen[text]
				require.False(t, twice, "%s.json: %s says the same by %s and by %s: %s", language, c, r, other, text)
				seen[text] = r
			}
		}
	}
}

// TestOverrunAfterFullIsTheChargers: the text must not send a technician to look
// for a weak cell in a full battery. The words below were written by hand.
func TestOverrunAfterFullIsTheChargers(t *testing.T) {
	e := interlock.Evidence{Value: 8.1, Limit: 8, Fault: reading.None, Reason: interlock.AfterFull}
	for language, want := range map[string]struct{ says, not, do, notDo string }{
		"en": {"after full", "without becoming full", "charger", "weak cell"},
		"es": {"después de llena", "sin llegar a llena", "cargador", "vaso débil"},
	} {
		v := New(language, "si")
		text, do := v.Evidence(interlock.ChargeOverrun, e), v.WhatToDo(interlock.ChargeOverrun, e)
		require.Contains(t, text, want.says)
		require.NotContains(t, text, want.not)
		require.Contains(t, do, want.do)
		require.NotContains(t, do, want.notDo)
		e := interlock.Evidence{Value: 18.1, Limit: 18, Fault: reading.None, Reason: interlock.ByHours}
		require.Contains(t, v.Evidence(interlock.ChargeOverrun, e), want.not)
		require.Contains(t, v.WhatToDo(interlock.ChargeOverrun, e), want.notDo)
	}
}

// TestSafetyWordsAreInEveryLanguage: each translation has the words that a
// technician must read. They are written by hand; a new language adds its own
// here.
func TestSafetyWordsAreInEveryLanguage(t *testing.T) {
	for _, tc := range []struct {
		code   interlock.Code
		en, es string
	}{
		{interlock.PlatesBare, "face shield", "pantalla facial"},
		{interlock.PlatesBare, "Open a visit", "Abra una visita"},
		{interlock.PlatesBare, "full, rested and cool", "llena, reposada y fría"},
		{interlock.LevelUnknown, "gloves", "guantes"},
		{interlock.WaterBalance, "gloves", "guantes"},
		{interlock.Held, "nobody is working on the battery", "nadie trabaje en la batería"},
		{interlock.HydrogenHigh, "a missing reading does not mean clean air", "un sensor sin lectura no significa aire limpio"},
		{interlock.HydrogenHigh, "no switch", "ni interruptores"},
		{interlock.AirflowUnproven, "switch nothing inside", "no accione ningún interruptor dentro"},
		{interlock.VoltageUnknown, "converter", "convertidor"},
		{interlock.VoltageImplausible, "Do not charge", "No cargue"},
		{interlock.PackFrozen, "Do not charge", "No cargue"},
		{interlock.ContactorStuck, "before you unplug", "antes de desenchufar"},
		{interlock.ContactorStuck, "qualified electrician", "electricista cualificado"},
	} {
		for language, want := range map[string]string{"en": tc.en, "es": tc.es} {
			require.Contains(t, New(language, "si").WhatToDo(tc.code, interlock.Evidence{}), want, language)
		}
	}
}

// TestUnitsStandInEvidence: quantities that have a unit in the reader's system
// are shown in it.
func TestUnitsStandInEvidence(t *testing.T) {
	v := New(English, "us")
	require.Equal(t, "Level is 0.19 in below the plate tops; charging needs 0.12 in above them.",
		v.Evidence(interlock.PlatesBare, interlock.Evidence{Value: -4.8, Limit: 3, Fault: reading.None}))
	hot := v.Evidence(interlock.PackHot, interlock.Evidence{Value: 50, Limit: 40})
	require.True(t, strings.Contains(hot, "122 °F") && strings.Contains(hot, "104 °F"), hot)
}
