package interlock_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
	"unicode"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

var update = flag.Bool("update", false, "rewrite findings.md")

// TestTable: an empty or repeated text in a row helps nobody.
func TestTable(t *testing.T) {
	names := map[string]bool{}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		r := &interlock.Table[c]
		if r.Code != c || interlock.Lookup(r.Name) != c || c.String() != r.Name || names[r.Name] {
			t.Errorf("row %d is of code %d, name %q", c, r.Code, r.Name)
		}
		names[r.Name] = true
		if strings.Trim(r.Name, "abcdefghijklmnopqrstuvwxyz-") != "" || r.Severity == interlock.SeverityUnknown {
			t.Errorf("%s: name or severity %v", r.Name, r.Severity)
		}
		for what, text := range map[string]string{
			"title": r.Title, "raise condition": r.RaiseWhen, "clear condition": r.ClearWhen,
			"reason of its times": r.Why, "what to do": r.WhatToDo, "basis": r.Basis,
		} {
			if len(text) < 8 || strings.TrimSpace(text) != strings.TrimSpace(strings.Trim(text, "\n\t")) {
				t.Errorf("%s: %s is %q", r.Name, what, text)
			}
		}
		for what, text := range map[string]string{"what to do": r.WhatToDo, "reason of its times": r.Why} {
			if text = strings.TrimSpace(text); !strings.HasSuffix(text, ".") || !unicode.IsUpper([]rune(text)[0]) {
				t.Errorf("%s: %s is not a sentence: %q", r.Name, what, text)
			}
		}
		checkTimes(t, r)
	}
	if interlock.Lookup("") != interlock.NoCode || interlock.Lookup("code-1") != interlock.NoCode {
		t.Error("a name that does not exist is found")
	}
	if s := interlock.NoCode.String() + interlock.NumCodes.String(); !strings.HasPrefix(s, "code-0code-") {
		t.Errorf("name of no finding: %q", s)
	}
}

// checkTimes: a blocking finding is never slower than a minute, and never clears
// faster than it is raised.
func checkTimes(t *testing.T, r *interlock.Rule) {
	t.Helper()
	if r.Blocks && r.Raise > 10*time.Second || r.Raise < 0 {
		t.Errorf("%s: raise time %v", r.Name, r.Raise)
	}
	if r.Clear < r.Raise && !r.Latches && r.Code != interlock.WaterBalance {
		t.Errorf("%s: clears after %v, is raised after %v", r.Name, r.Clear, r.Raise)
	}
	if r.Latches && r.Clear != 0 {
		t.Errorf("%s: latches and has a clear time", r.Name)
	}
}

// TestSeverities checks the words that rank the findings.
func TestSeverities(t *testing.T) {
	for s, want := range map[interlock.Severity]string{
		interlock.Info: "info", interlock.Warning: "warning", interlock.Danger: "danger",
		interlock.SeverityUnknown: "unknown", 200: "unknown",
	} {
		if s.String() != want {
			t.Errorf("severity %d is %q, want %q", s, s, want)
		}
	}
}

// TestExplain: each finding says in one sentence the numbers that led to it.
// The sentences are what a technician reads; they are held word by word.
func TestExplain(t *testing.T) {
	explained := map[interlock.Code]bool{}
	bad := func(f reading.Fault) interlock.Evidence { return interlock.Evidence{Fault: f} }
	for _, tc := range []struct {
		code interlock.Code
		e    interlock.Evidence
		want string
	}{
		{interlock.PlatesBare, interlock.Evidence{Value: -4, Limit: 3, Fault: reading.None}, "Electrolyte stands at -4.0 mm; the plate tops are at 0 mm, a charge needs at least 3.0 mm."},
		{interlock.PlatesBare, interlock.Evidence{Value: 0, Limit: 3, Fault: reading.None}, "Electrolyte stands at 0.0 mm; the plate tops are at 0 mm, a charge needs at least 3.0 mm."},
		{interlock.PlatesBare, interlock.Evidence{Value: 1, Limit: 3, Reason: interlock.NotYetCharge}, "Electrolyte stands 1.0 mm above the plate tops; a charge needs at least 3.0 mm."},
		{interlock.PlatesBare, interlock.Evidence{Value: 4, Limit: 3}, "The plates were bare; electrolyte now stands 4.0 mm above their tops, a charge needs at least 3.0 mm."},
		{interlock.LevelUnknown, bad(reading.Open), "The electrolyte level is not known because its wire is broken."},
		{interlock.PackUnknown, interlock.Evidence{}, "Nobody has said yet which pack is plugged in."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.NoSensor}, "No pack's own sensor answers at this bay, so it is not known which pack is plugged in."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.TwoSensors}, "The sensors of several packs answer at this bay at once."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.PackChanged}, "Another pack's sensor answers than before, although no pack was unplugged: unplug it and plug it in again, or name it."},
		{interlock.PackUnknown, interlock.Evidence{Reason: interlock.Elsewhere}, "Another bay says that it has this pack, or has its visit open: a pack cannot stand in two bays."},
		{interlock.TemperatureUnknown, bad(reading.PowerOn), "The pack temperature is not known because it shows its power-on value, not a measurement."},
		{interlock.VoltageUnknown, bad(reading.NoAnswer), "The pack voltage is not known because the device does not answer."},
		{interlock.CurrentUnknown, bad(reading.Stale), "The charging current is not known because the last good value is too old."},
		{interlock.VoltageImplausible, interlock.Evidence{Value: -2.1, Reason: interlock.Reversed}, "The pack shows -2.10 V for each cell: it is connected the wrong way round."},
		{interlock.VoltageImplausible, interlock.Evidence{Value: 3.15, Limit: 2.45, Reason: interlock.TooHigh}, "The pack shows 3.15 V for each cell, more than 2.45 V: wrong pack, or a broken sense lead."},
		{interlock.VoltageImplausible, interlock.Evidence{Value: 1.58, Limit: 1.7, Reason: interlock.TooLow}, "The pack shows 1.58 V for each cell, less than 1.70 V: wrong pack, a dead cell, or a broken sense lead."},
		{interlock.PackHot, interlock.Evidence{Value: 53, Limit: 38}, "The electrolyte is or was too hot to charge; it is at 53.0 °C now, and charging resumes at 38.0 °C or below."},
		{interlock.PackFrozen, interlock.Evidence{Value: -20, Limit: -18}, "The electrolyte is at -20.0 °C; at its estimated gravity it must be above -18.0 °C."},
		{interlock.AirflowUnproven, bad(reading.None), "The fan's proof switch says that no air moves."},
		{interlock.AirflowUnproven, bad(reading.Missing), "The fan's proof is not read because nothing is read."},
		{interlock.HydrogenHigh, interlock.Evidence{Value: 2.1, Limit: 1, Fault: reading.None}, "Hydrogen is at 2.10 % by volume; charging resumes below 1.00 %."},
		{interlock.HydrogenHigh, bad(reading.OverRange), "The hydrogen sensor is not read because the converter is at the end of its range."},
		{interlock.ChargeOverrun, interlock.Evidence{Value: 18.1, Limit: 18, Reason: interlock.ByHours}, "The charge ran 18.1 h without ending; its ceiling is 18.0 h."},
		{interlock.ChargeOverrun, interlock.Evidence{Value: 325, Limit: 324, Reason: interlock.ByAmpereHours}, "The charge put in 325 Ah without becoming full; its ceiling is 324 Ah."},
		{interlock.Runaway, interlock.Evidence{Value: 3, Limit: 4}, "At constant voltage the current rose by 3.0 A while the pack warmed by 4.0 K."},
		{interlock.ContactorStuck, interlock.Evidence{Value: 30, Reason: interlock.ByCurrent}, "30.0 A still charge the pack although the contactor is ordered open."},
		{interlock.ContactorStuck, interlock.Evidence{}, "The feedback contact says closed although the contactor is ordered open."},
		{interlock.ContactorOpen, interlock.Evidence{Value: 30, Reason: interlock.ByCurrent, Fault: reading.None}, "The contactor is ordered closed and 30.0 A flow, but its feedback contact does not say closed: the contact or its wire is broken."},
		{interlock.ContactorOpen, bad(reading.Missing), "The contactor is ordered closed and its feedback contact is not read because nothing is read."},
		{interlock.ContactorOpen, bad(reading.None), "The contactor is ordered closed, but its feedback contact says open and no current is seen: the pack is not charging."},
		{interlock.VisitOpen, interlock.Evidence{}, "A visit is open; the charge stays locked out until it is closed."},
		{interlock.Held, interlock.Evidence{}, "A person has put the bay on hold."},
		{interlock.Held, interlock.Evidence{Reason: interlock.Forgotten}, "What people had ordered before the restart cannot be read: a visit may be open or a finding latched. The bay is held until a person has looked and takes the hold back."},
		{interlock.AgentUnready, interlock.Evidence{Value: 12}, "Readings must be good for 12 s more."},
		{interlock.AgentUnready, interlock.Evidence{Reason: interlock.NoPack}, "No pack is connected."},
		{interlock.AgentUnready, interlock.Evidence{Value: 40, Reason: interlock.ContactorRest}, "The contactor rests; 40 s left."},
		{interlock.AgentUnready, interlock.Evidence{Value: 9, Reason: interlock.Restored}, "After a restart the memory was in doubt; readings must be good for 9 s more."},
		{interlock.AgentUnready, interlock.Evidence{Reason: interlock.LateTick}, "A tick was late and the guard has opened the relay."},
		{interlock.WaterBalance, interlock.Evidence{Value: -6, Limit: 4}, "The level differs by -6.0 mm from what the charge records predict; 4.0 mm are allowed."},
		{interlock.RecordFailing, interlock.Evidence{}, "The logbook cannot be written."},
		{interlock.NoCode, interlock.Evidence{}, "Unknown finding."},
		{interlock.NumCodes, interlock.Evidence{}, "Unknown finding."},
		{200, interlock.Evidence{}, "Unknown finding."},
	} {
		explained[tc.code] = true
		if got := interlock.Explain(tc.code, tc.e); got != tc.want {
			t.Errorf("%s %+v:\n got %s\nwant %s", tc.code, tc.e, got, tc.want)
		}
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if !explained[c] {
			t.Errorf("%v has no sentence in this test", c)
		}
	}
}

// TestFindingsPage keeps findings.md identical to the table.
func TestFindingsPage(t *testing.T) {
	page := findingsPage()
	if *update {
		if err := os.WriteFile("findings.md", []byte(page), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("findings.md")
	if err != nil || string(got) != page {
		t.Fatalf("findings.md differs from the table (%v); regenerate it with: go test ./agent/interlock -run TestFindingsPage -update", err)
	}
}

const pageHead = `# Findings

Made from the table in table.go by its test; do not edit.

A finding is raised after its condition has held for the raise time, counted from the last tick that
proved the opposite, and cleared after the all-clear has held for the clear time. While one that
blocks is raised, the charge contactor is ordered open. One that latches stays until a person with
the right to it releases it, and a release does nothing while the condition holds. No charge starts
while a condition that blocks holds, however short: raise times only spare a charge under way.

bayward is not a certified safety device. Local rules and the battery's own instructions come first;
work on batteries is for people who are trained for it.

| finding | says | severity | charge | raised after | cleared after |
| --- | --- | --- | --- | --- | --- |
`

func findingsPage() string {
	var b strings.Builder
	b.WriteString(pageHead)
	rules := interlock.Table[interlock.NoCode+1:]
	for i := range rules {
		r := &rules[i]
		fmt.Fprintf(&b, "| [`%s`](#%s) | %s | %s | %s | %s | %s |\n", r.Name, r.Name, r.Title, r.Severity, does(r), span(r.Raise), clears(r))
	}
	for i := range rules {
		r := &rules[i]
		fmt.Fprintf(&b, "\n## %s\n\n%s: %s.\n\n", r.Name, upper(r.Severity.String()), r.Title)
		fmt.Fprintf(&b, "- Raised when %s, for %s.\n", r.RaiseWhen, span(r.Raise))
		if r.Latches {
			fmt.Fprintf(&b, "- Latches: released by a person, when %s.\n", r.ClearWhen)
		} else {
			fmt.Fprintf(&b, "- Cleared when %s, for %s.\n", r.ClearWhen, span(r.Clear))
		}
		fmt.Fprintf(&b, "- Why these times: %s\n- What to do: %s\n- Basis: %s.\n", r.Why, strings.TrimSpace(r.WhatToDo), upper(r.Basis))
	}
	return b.String()
}

func does(r *interlock.Rule) string {
	if r.Blocks {
		return "blocked"
	}
	return "not blocked"
}

func clears(r *interlock.Rule) string {
	if r.Latches {
		return "release"
	}
	return span(r.Clear)
}

func span(d time.Duration) string {
	switch {
	case d == 0:
		return "one tick"
	case d%time.Hour == 0:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	}
	return fmt.Sprintf("%d s", d/time.Second)
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
