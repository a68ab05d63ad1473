package interlock_test

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"bayward/agent/interlock"
	"bayward/agent/words"
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
			"raise condition": words.EnglishSI().When(c), "clear condition": r.ClearWhen, "reason of its times": r.Why, "basis": r.Basis,
		} {
			if len(text) < 8 || strings.TrimSpace(text) != strings.TrimSpace(strings.Trim(text, "\n\t")) {
				t.Errorf("%s: %s is %q", r.Name, what, text)
			}
		}
		if !strings.HasSuffix(r.Why, ".") || !unicode.IsUpper([]rune(r.Why)[0]) {
			t.Errorf("%s: the reason of its times is not a sentence: %q", r.Name, r.Why)
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

// TestReasons: each reason belongs to a finding, and has a name of its own.
func TestReasons(t *testing.T) {
	names := map[string]bool{}
	for r := interlock.Usual; r < interlock.NumReasons; r++ {
		owned := r == interlock.Usual
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			owned = owned || slices.Contains(interlock.Table[c].Reasons, r)
		}
		if !owned || names[r.String()] || interlock.ParseReason(r.String()) != r {
			t.Errorf("reason %d, %q: has a finding %v, named twice %v", r, r, owned, names[r.String()])
		}
		names[r.String()] = true
	}
	if interlock.ParseReason("no such") != interlock.Usual || interlock.NumReasons.String() == "" {
		t.Error("a reason that does not exist is found")
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
proved the opposite, and cleared after the all-clear has held for the clear time without a break.
While a blocking finding is raised, the charge contactor is ordered open. A finding that latches stays
until it is released by someone with the right to do so; a release does nothing while the condition
holds. No charge starts while a blocking condition holds, however briefly: raise times only protect a
charge in progress.

A condition that comes and goes counts, too: a good second takes off a quarter of a bad one. Bad every
other second is raised after less than three raise times, bad for nine seconds of ten after little more
than one. Single disturbed readings, up to one in five, raise nothing that has a raise time.

bayward is not a certified safety device. Local rules and the battery's own instructions come first;
only trained people may work on batteries.

| finding | says | severity | charge | raised after | cleared after |
| --- | --- | --- | --- | --- | --- |
`

func findingsPage() string {
	var b strings.Builder
	b.WriteString(pageHead)
	english := words.EnglishSI()
	rules := interlock.Table[interlock.NoCode+1:]
	for i := range rules {
		r := &rules[i]
		fmt.Fprintf(&b, "| [`%s`](#%s) | %s | %s | %s | %s | %s |\n", r.Name, r.Name, english.Title(r.Code), r.Severity, does(r), span(r.Raise), clears(r))
	}
	for i := range rules {
		r := &rules[i]
		fmt.Fprintf(&b, "\n## %s\n\n%s: %s.\n\n", r.Name, upper(r.Severity.String()), english.Title(r.Code))
		fmt.Fprintf(&b, "- Raised when %s, for %s.\n", english.When(r.Code), span(r.Raise))
		if r.Latches {
			fmt.Fprintf(&b, "- Latches: released by a person, when %s.\n", r.ClearWhen)
		} else {
			fmt.Fprintf(&b, "- Cleared when %s, for %s.\n", r.ClearWhen, span(r.Clear))
		}
		fmt.Fprintf(&b, "- Why these times: %s\n", r.Why)
		usual := english.WhatToDo(r.Code, interlock.Evidence{})
		fmt.Fprintf(&b, "- What to do: %s\n", usual)
		for _, reason := range r.Reasons {
			if do := english.WhatToDo(r.Code, interlock.Evidence{Reason: reason}); do != usual {
				fmt.Fprintf(&b, "- What to do (%s): %s\n", reason, do)
			}
		}
		fmt.Fprintf(&b, "- Basis: %s.\n", upper(r.Basis))
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
