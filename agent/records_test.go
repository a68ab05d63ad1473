package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
)

// someBook is a logbook with one charge and one visit, and a configuration
// that names it.
func someBook(t *testing.T) (path, cfg string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "logbook.db")
	b, err := logbook.Open(t.Context(), path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	span := func(n int) logbook.Span {
		at := func(n int) logbook.Stamp {
			return logbook.Stamp{Wall: start.Add(time.Duration(n) * time.Hour), Trusted: true}
		}
		return logbook.Span{Bay: "bay-1", Pack: "lift-a", Start: at(n), End: at(n + 8)}
	}
	err = b.Write(t.Context(), logbook.Entry{Bay: "bay-1", Pack: "lift-a", Stamp: span(0).Start, Rows: logbook.Rows{
		Charges: []logbook.Charge{{Span: span(0), InAh: logbook.Known(101.5), LowMM: logbook.Known(7.5), FlowS: 28000, Full: true, Ended: logbook.EndedFull}},
		Visits: []logbook.Visit{{Span: span(12), Kind: logbook.VisitWater, By: "=1+1", TotalML: 150, Cells: []logbook.VisitCell{
			{Cell: 1, ML: logbook.Known(150), Gravity: logbook.Known(1.265), AtC: logbook.Known(31)},
		}}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	return path, configtest.File(t, "good.yaml", configtest.OneBay(t, "LOGBOOK", path))
}

// TestRecordsSay runs each command as a person would.
func TestRecordsSay(t *testing.T) {
	path, cfg := someBook(t)
	for _, row := range []struct {
		args string
		says []string
	}{
		{"list", []string{"pack", "lift-a", "bay-1"}},
		{"list --kind charges --pack lift-a --since 2026-03-01", []string{"2026-03-01T06:00:00Z", "101.5", "7.5", "no"}},
		{"list --kind visits --json", []string{`"by":"=1+1"`, `"us_per_cm":null`}},
		{"show charge 1", []string{"in_ah", "101.5", "ampere-hours in"}},
		{"show visit 1", []string{"=1+1", "gravity_c", "1.265"}},
		{"show visit 1 --json", []string{`"total_ml":150`}},
		{"export --table cells", []string{"'=1+1", ",150,"}},
		{"export --table charges --format json --until 2030-01-01", []string{`"dry":"no"`, `"start":"2026-03-01T06:00:00.000Z"`}},
		{"report --pack lift-a --since 2026-01-01", []string{"Record of battery lift-a", "No. In its one charge", "size: A4", "1.269"}},
		{"report --pack lift-a --since 2026-01-01 --paper letter --units us", []string{"size: letter", "5.1"}},
		{"verify", []string{"The chain holds: 2 charges and visits."}},
		{"verify --json", []string{`"holds":true,"rows":2`}},
	} {
		for _, which := range []string{"--logbook " + path, "--config " + cfg, "--logbook " + path + " --config " + example} {
			args := strings.Fields("records " + row.args + " " + which)
			code, out, complaints := bayward(t, "", args...)
			if code != exitDone || complaints != "" {
				t.Errorf("%v: exit code %d, %s", args, code, complaints)
			}
			for _, want := range row.says {
				if !strings.Contains(out, want) {
					t.Errorf("%v does not say %q:\n%s", args, want, out)
				}
			}
		}
	}
	_, out, _ := bayward(t, "", "records", "export", "--table", "charges", "--logbook", path)
	if lines, err := csv.NewReader(strings.NewReader(out)).ReadAll(); err != nil || len(lines) != 2 {
		t.Errorf("%d lines, %v", len(lines), err)
	}
	if code, out, says := bayward(t, "", "records", "list", "--kind", "refusals", "--logbook", path); code != exitDone || !strings.Contains(says, "table refusals") || strings.Count(out, "\n") != 1 {
		t.Errorf("an empty list: %d %q %q", code, out, says)
	}
}

func TestRecordsRefuse(t *testing.T) {
	path, _ := someBook(t)
	foreign := configtest.File(t, "foreign.db", "no database")
	for _, row := range []struct {
		args string
		code int
		says []string
	}{
		{"list", exitUsage, []string{"--config FILE", "--logbook FILE"}},
		{"list --logbook " + path + ".none", exitUsage, []string{"no such file", "bayward run"}},
		{"list --logbook " + foreign, exitFailed, []string{"foreign.db"}},
		{"list --kind cells --logbook " + path, exitUsage, []string{"--kind", "packs"}},
		{"list --since tomorrow --logbook " + path, exitUsage, []string{"--since", `"tomorrow"`, "30d"}},
		{"list --since 2026-03-02 --until 2026-03-01 --logbook " + path, exitUsage, []string{"--until", "after --since"}},
		{"show charge 7 --logbook " + path, exitUsage, []string{"charge 7", "list --kind charges"}},
		{"show bay 7 --logbook " + path, exitUsage, []string{"charge"}},
		{"export --table ways --logbook " + path, exitUsage, []string{"--table", `"ways"`, "cells"}},
		{"export --logbook " + path, exitUsage, []string{"--table"}},
		{"export --table charges --format xml --logbook " + path, exitUsage, []string{"--format", "csv"}},
		{"report --pack lift-z --logbook " + path, exitUsage, []string{"--pack", `"lift-z"`, "it has lift-a"}},
		{"report --logbook " + path, exitUsage, []string{"--pack"}},
		{"report --pack lift-a --paper a5 --logbook " + path, exitUsage, []string{"--paper", "letter"}},
		{"dataset --bay bay-1 new --logbook " + path, exitUsage, []string{"ask the owner of bay-1", "--owner-agrees", "cannot be taken back"}},
		{"dataset --owner-agrees new --logbook " + path, exitUsage, []string{"--bay"}},
		{"dataset --owner-agrees --bay bay-9 new --logbook " + path, exitUsage, []string{"--bay", `"bay-9"`, "one of bay-1"}},
		{"dataset --owner-agrees --bay bay-1 --bay bay-1 new --logbook " + path, exitUsage, []string{"--bay", "given twice"}},
		{"dataset --owner-agrees --bay bay-1 " + filepath.Dir(foreign) + " --logbook " + path, exitUsage, []string{"it is there already"}},
		{"backup " + foreign + " --logbook " + path, exitUsage, []string{"there already", "--replace"}},
		{"backup " + path + " --replace --logbook " + path, exitUsage, []string{"the logbook itself"}},
	} {
		code, out, complaints := bayward(t, "", strings.Fields("records "+row.args)...)
		if code != row.code || out != "" {
			t.Errorf("%s: exit code %d, said %s%s", row.args, code, complaints, out)
		}
		for _, want := range row.says {
			if !strings.Contains(complaints, want) {
				t.Errorf("%s does not say %q: %s", row.args, want, complaints)
			}
		}
	}
	if got, err := os.ReadFile(foreign); err != nil || string(got) != "no database" {
		t.Errorf("a file that was there was touched: %q, %v", got, err)
	}
}

// TestRecordsDataset reads what the configuration adds: the pack's figures, not its name.
func TestRecordsDataset(t *testing.T) {
	_, cfg := someBook(t)
	dir := filepath.Join(t.TempDir(), "given")
	code, out, says := bayward(t, "", "records", "dataset", "--owner-agrees", "--bay", "bay-1", "--config", cfg, dir)
	if code != exitDone || says != "" || !strings.Contains(out, "before you publish it") {
		t.Fatalf("exit code %d: %s%s", code, out, says)
	}
	packs, err := os.ReadFile(filepath.Join(dir, "packs.csv"))
	if err != nil || !strings.Contains(string(packs), "\n1,12,0,225,20,1.277,3,13,22,130,1350,1.15,") || strings.Contains(string(packs), "lift-a") {
		t.Errorf("%v: %s", err, packs)
	}
}

// TestRecordsBackup: a copy while the logbook is open for writing, which every
// command reads.
func TestRecordsBackup(t *testing.T) {
	path, cfg := someBook(t)
	b, err := logbook.Open(t.Context(), path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	to := filepath.Join(t.TempDir(), "copy.db")
	for _, more := range []string{"", " --replace"} {
		code, out, says := bayward(t, "", strings.Fields("records backup "+to+" --config "+cfg+more)...)
		if code != exitDone || !strings.Contains(out, "with 2 charges and visits in its chain") {
			t.Fatalf("exit code %d, %s%s", code, out, says)
		}
	}
	if code, out, says := bayward(t, "", "records", "list", "--logbook", to); code != exitDone || !strings.Contains(out, "lift-a") {
		t.Errorf("exit code %d, %s%s", code, out, says)
	}
	if left, err := filepath.Glob(to + ".*"); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestRecordsVerifyBroken changes a charge in the file as a person would who
// wants it to look better.
func TestRecordsVerifyBroken(t *testing.T) {
	path, _ := someBook(t)
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(raw), "=1+1", "=1+2", 1)
	if changed == string(raw) {
		t.Fatal("the name does not stand in the file")
	}
	bad := configtest.File(t, "bad.db", changed)
	code, out, says := bayward(t, "", "records", "verify", "--logbook", bad)
	if code != exitFailed || !strings.Contains(says, "link 2 (visit 1)") || !strings.Contains(out, "first 1 ") {
		t.Errorf("exit code %d, %s%s", code, out, says)
	}
	code, out, _ = bayward(t, "", "records", "verify", "--json", "--logbook", bad)
	var found struct {
		Holds bool
		Break string
	}
	if err := json.Unmarshal([]byte(out), &found); err != nil || code != exitFailed || found.Holds || found.Break == "" {
		t.Errorf("exit code %d, %v: %s", code, err, out)
	}
}

// TestRecordsVerifyDamagedMemory: the chain holds, and the bay will be held.
func TestRecordsVerifyDamagedMemory(t *testing.T) {
	path, _ := someBook(t)
	b, err := logbook.Open(t.Context(), path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	err = b.SaveMemory(t.Context(), "bay-1", logbook.Stamp{}, []byte(`{"held":true}`))
	if err = errors.Join(err, b.Close()); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bad := configtest.File(t, "bad.db", strings.Replace(string(raw), `{"held":true}`, `{"hele":true}`, 1))
	code, out, says := bayward(t, "", "records", "verify", "--logbook", bad)
	if code != exitFailed || !strings.Contains(out, "The chain holds") || !strings.Contains(out, "The memory of bay-1 does not match") || !strings.Contains(says, "bay-1") {
		t.Errorf("exit code %d, %s%s", code, out, says)
	}
	code, out, _ = bayward(t, "", "records", "verify", "--json", "--logbook", bad)
	if code != exitFailed || !strings.Contains(out, `"damaged_memories":["bay-1"]`) {
		t.Errorf("exit code %d, %s", code, out)
	}
}

// TestRecordsImport: checked first, written when told, never twice, never
// beside an agent.
func TestRecordsImport(t *testing.T) {
	path, _ := someBook(t)
	const example = "../testdata/records/visits.csv"
	run := func(want int, says string, more ...string) {
		t.Helper()
		args := append([]string{"records", "import", "--logbook", path}, more...)
		code, out, complaints := bayward(t, "", args...)
		if code != want || !strings.Contains(out+complaints, says) {
			t.Errorf("%v: exit code %d, %s%s", args, code, out, complaints)
		}
	}
	run(exitDone, "0 charges and 2 visits. Nothing was written", example)
	b, err := logbook.Open(t.Context(), path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	run(exitFailed, "another agent has it open", "--write", example)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	run(exitDone, "0 charges and 2 visits were written", "--write", example)
	run(exitDone, "0 charges and 0 visits (2 more are in the record already). Nothing was written", example)
	run(exitDone, "0 charges and 0 visits (2 more are in the record already) were written", "--write", example)
	text, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	header, rest, _ := strings.Cut(string(text), "\n")
	first, _, _ := strings.Cut(rest, "\n")
	another := regexp.MustCompile(`20\d\d-\d\d-\d\d`).ReplaceAllString(first, "2024-02-03")
	grown := configtest.File(t, "grown.csv", header+"\n"+rest+another+"\n")
	run(exitDone, "0 charges and 1 visits (2 more are in the record already) were written", "--write", grown)
	run(exitDone, "0 charges and 0 visits (3 more", "--write", grown)
	cut := configtest.File(t, "cut.csv", header+"\n"+first+"\n") // the same visit with a cell less
	run(exitUsage, "1 of its rows say something else than the record", "--write", cut)
	run(exitDone, "2 charges and 0 visits were written", "--write", "../testdata/records/charges.csv")
	run(exitUsage, "no such file", "none.csv")
	run(exitUsage, `line 2: field cell: value "x"`, configtest.File(t, "h.csv", "bay,pack,start,cell\nb,p,2026-01-01,x\n"))
	if code, out, says := bayward(t, "", "records", "verify", "--logbook", path); code != exitDone || !strings.Contains(out, "7 charges and visits") {
		t.Errorf("exit code %d, %s%s", code, out, says)
	}
	if _, out, _ := bayward(t, "", "records", "report", "--pack", "lift-a", "--since", "2025-01-01", "--logbook", path); !strings.Contains(out, "‡ kept by hand") {
		t.Error("the report does not mark what was kept by hand")
	}
}

// TestRecordsInTheREADME runs every command of the record's README as it stands
// there.
func TestRecordsInTheREADME(t *testing.T) {
	readme, err := os.ReadFile("records/README.md")
	if err != nil {
		t.Fatal(err)
	}
	path, cfg := someBook(t)
	dir := t.TempDir()
	history, err := os.ReadFile("../testdata/records/visits.csv")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, m := range regexp.MustCompile("`bayward (records [^`]+)`").FindAllSubmatch(readme, -1) {
		command, _, _ := strings.Cut(string(m[1]), " >")
		args := strings.Fields(strings.NewReplacer("FILE", cfg, "NAME", "lift-a", "BAY", "bay-1", "FOLDER", filepath.Join(dir, "given"), "demo.db", path, "copy.db", filepath.Join(dir, "copy.db"),
			"history.csv", configtest.File(t, "history.csv", string(history))).Replace(command))
		if code, out, says := bayward(t, "", args...); code != exitDone || out == "" {
			t.Errorf("%s: exit code %d, %s", m[0], code, says)
		}
		n++
	}
	if n < 9 {
		t.Errorf("only %d commands were found", n)
	}
}

// TestRestore does what the record's README says of a backup, over a logbook that has
// gone on.
func TestRestore(t *testing.T) {
	path, _ := someBook(t)
	copied := filepath.Join(t.TempDir(), "copy.db")
	if code, _, says := bayward(t, "", "records", "backup", "--logbook", path, copied); code != exitDone {
		t.Fatal(says)
	}
	if code, _, says := bayward(t, "", "records", "import", "--logbook", path, "--write", "../testdata/records/visits.csv"); code != exitDone {
		t.Fatal(says)
	}
	for _, name := range []string{path, path + "-journal", path + "-wal", path + "-shm"} {
		if err := os.Rename(name, name+".old"); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
	}
	raw, err := os.ReadFile(copied)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	b, err := logbook.Open(t.Context(), path, assemblytest.Quiet()) // as the agent does
	if err != nil || b.SetAside() != "" {
		t.Fatalf("%v, set aside as %q", err, b.SetAside())
	}
	defer b.Close()
	chain, err := b.Verify(t.Context())
	if err != nil || chain.Rows != 2 || chain.Break != nil {
		t.Errorf("%+v, %v", chain, err)
	}
}
