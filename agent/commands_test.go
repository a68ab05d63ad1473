package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
	"bayward/agent/words"
)

// example is the commented configuration that is shipped.
const example = "../deploy/bayward.yaml"

func TestHelp(t *testing.T) {
	for command, mentions := range map[string][]string{
		"":        {"run", "demo", "check", "replay", "lines", "Exit codes: 0 done, 1 failed, 2 wrong use", "not a certified safety device"},
		"run":     {"--config", "--listen", "SIGTERM", "sensors: simulated"},
		"check":   {"--config", "--json", "--strict", "--schema", "line"},
		"demo":    {"--speed", "--listen", "--broker", "--for", "--by-hand", "--logbook", "600", "127.0.0.1:1883"},
		"replay":  {"--config", "--bay", "--pack", "--orders", "--start", "--every", "--events", "--schema", "hydrogen_pct", "charger_complete", "--hold", "15m", "time_s", "pack_v", "current_a", "pack_c", "ambient_c", "level_mm", "TRACE.csv", "standard input"},
		"lines":   {"--config", "--to", "--user", "bayward-keeper", "ExecStartPre", "low"},
		"support": {"--config", "--days", "14", "FILE", "SHA-256", "Names of people"},
		"wiring":  {"--config", "--bay", "--fragment", "--resume", "--last", "locked off", "licensed electrician", "systemctl stop bayward"},

		"records":         {"list", "show", "export", "verify", "backup", "--logbook", "--config", "UTC"},
		"records list":    {"--pack", "--bay", "--since", "--until", "--kind", "--json", "30d", "refusals"},
		"records show":    {"charge", "visit", "finding", "ID", "--json"},
		"records export":  {"--table", "--format", "RFC 4180", "RFC 3339", "columns.md", "apostrophe"},
		"records report":  {"--pack", "--since", "--until", "--paper", "letter", "--units", "charged dry"},
		"records verify":  {"hash", "Exit code 1"},
		"records import":  {"--write", "FILE.csv", "cell", "in_ah", "testdata/records", "columns.md", "stop the agent"},
		"records dataset": {"--bay", "--owner-agrees", "CC0 1.0", "README.md", "FOLDER"},
		"records backup":  {"--replace", "FILE", "restore", "stop the agent"},
	} {
		args := strings.Fields(command + " --help")
		code, out, complaints := bayward(t, "", args...)
		if code != exitDone || complaints != "" {
			t.Errorf("%v: exit code %d, said %q", args, code, complaints)
		}
		for _, want := range mentions {
			if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
				t.Errorf("%v does not mention %q", args, want)
			}
		}
	}
	_, whole, _ := bayward(t, "", "--help")
	if code, out, _ := bayward(t, ""); code != exitDone || out != whole {
		t.Error("without arguments it does not show the help")
	}
	if code, out, _ := bayward(t, "", "--version"); code != exitDone || strings.TrimSpace(out) != version() {
		t.Errorf("--version: %d %q", code, out)
	}
}

// TestWrongInput: one clear message with file, line and field, and exit code 2.
func TestWrongInput(t *testing.T) {
	good := configtest.File(t, "good.yaml", configtest.OneBay(t))
	missing := t.TempDir() + "/none.yaml"
	bad := func(replace ...string) string {
		return configtest.File(t, "bad.yaml", configtest.OneBay(t, replace...))
	}
	twice := configtest.File(t, "twice.yaml", onTheSameChannel(t))
	for name, row := range map[string]struct {
		args  []string
		stdin string
		says  []string // all in one line
	}{
		"missing config":    {args: []string{"--config", missing}, says: []string{missing, "no such file", "--config FILE"}},
		"a folder":          {args: []string{"--config", t.TempDir()}, says: []string{"directory"}},
		"wrong type":        {args: []string{"--config", bad("cells: 12", "cells: twelve")}, says: []string{"bad.yaml:13: field packs[0].cells: value", "twelve", "number"}},
		"unknown key":       {args: []string{"--config", bad("    cells: 12", "    cels: 12\n    cells: 12")}, says: []string{"bad.yaml:13:", "cels"}},
		"negative capacity": {args: []string{"--config", bad("capacity_ah: 225", "capacity_ah: -225")}, says: []string{"bad.yaml:14: field packs[0].capacity_ah: value -225 is not accepted", "Ah"}},
		"fill mark above bottom of the vent well": {args: []string{"--config", bad("fill_mark_mm: 13", "fill_mark_mm: 30")}, says: []string{"bad.yaml:18: field packs[0].fill_mark_mm: value 30 is not accepted", "vent_well_mm"}},
		"two bays on one channel":                 {args: []string{"--config", twice}, says: []string{"twice.yaml:", "field bays[1].wiring.voltage.channel: value 0 is not accepted", "already used by bays[0].wiring.voltage.channel (line "}},
		"unknown command":                         {args: []string{"charge"}, says: []string{"charge", "--help"}},
		"unknown flag":                            {args: []string{"run", "--config", good, "--fast"}, says: []string{"--fast", "--help"}},
		"no config":                               {args: []string{"run"}, says: []string{"--config"}},
		"demo too fast":                           {args: []string{"demo", "--speed", "1e9"}, says: []string{"--speed", "1e+09", "1 to 3600"}},
		"demo at no speed":                        {args: []string{"demo", "--speed", "nan"}, says: []string{"--speed", "1 to 3600"}},
		"demo on a real record":                   {args: []string{"demo", "--logbook", good}, says: []string{"--logbook", "good.yaml", "a new file"}},
		"demo open to the network":                {args: []string{"demo", "--listen", "127.0.0.1:0", "--broker", "0.0.0.0:0"}, says: []string{"0.0.0.0", "127.0.0.1"}},
		"replay without hold":                     {args: []string{"replay", "--config", good, "--hold", "0s", "-"}, says: []string{"--hold", "1s to 24h"}},
		"unknown pack":                            {args: []string{"replay", "--config", good, "--pack", "none", "-"}, says: []string{"--pack", "none", "lift-a"}},
		"unknown bay":                             {args: []string{"replay", "--config", good, "--bay", "bay-7", "-"}, says: []string{"--bay", "bay-7", "bay-1"}},
		"no orders":                               {args: []string{"replay", "--config", good, "--orders", missing, "-"}, stdin: "time_s\n0\n", says: []string{"--orders", missing, "no such file"}},
		"orders that are none":                    {args: []string{"replay", "--config", good, "--orders", good, "-"}, stdin: "time_s\n0\n", says: []string{"good.yaml:1:", "one JSON object on each line"}},
		"lines that never come":                   {args: []string{"replay", "--config", good, "--every", "-1h", "-"}, says: []string{"--every", "-1h", "1h"}},
		"no time of day":                          {args: []string{"replay", "--config", good, "--start", "noon", "-"}, says: []string{"--start", "noon"}},
		"a replay of nothing":                     {args: []string{"replay", "--config", good}, says: []string{"TRACE.csv"}},
		"no trace":                                {args: []string{"replay", "--config", good, missing}, says: []string{missing, "no such file", "standard input"}},
		"a folder for a trace":                    {args: []string{"replay", "--config", good, t.TempDir()}, says: []string{"directory"}},
		"time goes back": {
			args: []string{"replay", "--config", good, "-"}, stdin: "time_s,pack_v\n0,24\n10,24\n9,24\n",
			says: []string{"standard input:4:", "time_s", "9"},
		},
		"no number in a trace": {
			args: []string{"replay", "--config", good, configtest.File(t, "t.csv", "time_s,pack_v\n0,24\n1,volts\n")},
			says: []string{"t.csv:3:", "pack_v", "volts"},
		},
		"no trace at all": {
			args: []string{"replay", "--config", good, configtest.File(t, "t.csv", "\x00\x01\x02")}, says: []string{"t.csv:1:", "time_s"},
		},
	} {
		commands := [][]string{row.args}
		if row.args[0] == "--config" { // every command that reads one says the same
			commands = nil
			for _, c := range []string{"check", "run"} {
				commands = append(commands, append([]string{c}, row.args...))
			}
			if name != "two bays on one channel" { // a replay has no wiring, and lines lists those it can read
				commands = append(commands, append([]string{"lines"}, row.args...), append(append([]string{"replay"}, row.args...), "-"))
			}
		}
		for _, args := range commands {
			code, out, complaints := bayward(t, row.stdin, args...)
			lines := strings.Split(strings.TrimSuffix(complaints, "\n"), "\n")
			one := len(lines) == 1 || name == "two bays on one channel" // which share all else as well
			if code != exitUsage || !one || !strings.HasPrefix(complaints, "bayward: ") || out != "" && args[0] != "replay" {
				t.Errorf("%s: %v: exit code %d, said\n%s%s", name, args, code, complaints, out)
			}
			for _, want := range row.says {
				if !strings.Contains(complaints, want) {
					t.Errorf("%s: %v: does not say %q:\n%s", name, args, want, complaints)
				}
			}
		}
	}
}

// onTheSameChannel is the shipped example with its bay twice.
func onTheSameChannel(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, ok := strings.Cut(string(text), "\nbays:\n")
	bays, tail, ok2 := strings.Cut(rest, "\npacks:\n")
	if !ok || !ok2 || !strings.Contains(bays, "- name: bay-1\n") {
		t.Fatal("the example has changed its form")
	}
	second := strings.Replace(bays, "- name: bay-1\n", "- name: bay-2\n", 1)
	second = strings.Replace(second, "GPIO17", "GPIO16", 1)
	return head + "\nbays:\n" + bays + "\n" + second + "\npacks:\n" + tail
}

// TestPortTaken says so and what to do, and fails with 1: the input is good.
func TestPortTaken(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	addr, good := taken.Addr().String(), configtest.File(t, "good.yaml", configtest.OneBay(t))
	for name, args := range map[string][]string{
		"run":           {"run", "--config", good, "--listen", addr},
		"demo's page":   {"demo", "--listen", addr, "--broker", "127.0.0.1:0"},
		"demo's broker": {"demo", "--listen", "127.0.0.1:0", "--broker", addr},
	} {
		code, _, complaints := bayward(t, "", args...)
		flag := "--listen HOST:PORT"
		if name == "demo's broker" {
			flag = "--broker HOST:PORT"
		}
		last := lastLine(complaints)
		if code != exitFailed || !strings.Contains(last, addr) || !strings.Contains(last, flag) || !strings.Contains(last, "port 0 takes a free one") {
			t.Errorf("%s: exit code %d, said %q", name, code, last)
		}
	}
}

func lastLine(text string) string {
	all := strings.Split(strings.TrimSpace(text), "\n")
	return all[len(all)-1]
}

func TestCheck(t *testing.T) {
	for _, path := range []string{example, configtest.File(t, "good.yaml", configtest.OneBay(t))} {
		code, out, complaints := bayward(t, "", "check", "--config", path)
		if code != exitDone || complaints != "" {
			t.Errorf("%s: exit code %d, %s", path, code, complaints)
		}
		for _, want := range []string{filepath.Base(path) + " is good.", "bay-1: pack lift-", "12 cells, 225 Ah at 20 h", "no charge", "bottom of the vent well 22.0 mm", "fitted", "level (4-20ma)", "not a certified safety device"} {
			if !strings.Contains(out, want) {
				t.Errorf("%s: does not say %q:\n%s", path, want, out)
			}
		}
	}
}

// TestCheckKnowsTheProof: the report has the age of the watchdog relay's last proof, from
// the record that the configuration names.
func TestCheckKnowsTheProof(t *testing.T) {
	shipped, err := os.ReadFile(example)
	require.NoError(t, err)
	record := filepath.Join(t.TempDir(), "logbook.db")
	path := configtest.File(t, "wired.yaml", strings.Replace(string(shipped), "/var/lib/bayward/logbook.db", record, 1))
	reported := func() string {
		code, out, complaints := bayward(t, "", "check", "--config", path)
		require.Zero(t, code, complaints)
		return out
	}
	require.Contains(t, reported(), "GPIO27; when it was proven is in the record, which cannot be read here")

	book, err := logbook.Open(t.Context(), record, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	stamp := commission.Stamp{Wall: time.Now().Add(-100 * 24 * time.Hour), Trusted: true}
	body, err := json.Marshal(commission.Record{
		V: 1, ID: "w", Bay: "bay-1", Watchdog: "GPIO27", Steps: []commission.Step{{Key: "heartbeat", Result: commission.Passed, Ended: stamp, By: "A. Person"}},
	})
	require.NoError(t, err)
	require.NoError(t, book.SaveCommissioning(t.Context(), logbook.Commissioning{Bay: "bay-1", ID: "w", Body: body}))
	require.NoError(t, book.Close())
	require.Contains(t, reported(), "by A. Person, 100 days ago")
}

// TestCheckExplains: it says what will block and by which limits, warns of
// the unwise, and fails for it only when asked to.
func TestCheckExplains(t *testing.T) {
	unwise := configtest.File(t, "unwise.yaml", configtest.OneBay(t, "limits:", "limits:\n  charge_max_c: 54"))
	code, out, _ := bayward(t, "", "check", "--config", unwise)
	flat := strings.Join(strings.Fields(out), " ")
	for _, want := range []string{
		"At bay-1 a charge is blocked when", "- plates-bare:", "- hydrogen-high:", "charge_max_c: 54 °C, from the file (NAVEDTRA 14113",
		"rest_min_minutes: 60 minutes, the default", "limits.charge_max_c: 54 °C is outside 38 to 51. Better: stop at 51 or lower.",
		"nobody is called", "Warnings: ",
	} {
		if code != exitDone || !strings.Contains(flat, want) {
			t.Errorf("exit code %d, does not say %q:\n%s", code, want, out)
		}
	}
	code, _, said := bayward(t, "", "check", "--strict", "--config", unwise)
	if code != exitFailed || !strings.Contains(said, "warnings, and --strict") {
		t.Errorf("--strict: exit code %d, %q", code, said)
	}
	code, out, _ = bayward(t, "", "check", "--json", "--config", unwise)
	var whole struct{ Warnings []config.Warning }
	if err := json.Unmarshal([]byte(out), &whole); code != exitDone || err != nil || len(whole.Warnings) < 2 || whole.Warnings[0].Field == "" {
		t.Errorf("--json: exit code %d, %v, %+v", code, err, whole)
	}
	if code, _, said := bayward(t, "", "check"); code != exitUsage || !strings.Contains(said, "--config") {
		t.Errorf("without a file: exit code %d, %q", code, said)
	}
	code, out, _ = bayward(t, "", "check", "--schema")
	if code != exitDone || out != string(config.Schema()) {
		t.Errorf("--schema: exit code %d, %.80q", code, out)
	}
}

// TestCommandsSpeakTheConfiguredLanguage: text is for a person, JSON is for programs.
func TestCommandsSpeakTheConfiguredLanguage(t *testing.T) {
	path := configtest.File(t, "es.yaml", "language: es\n"+configtest.OneBay(t))
	for command, want := range map[string]string{"check": "es correcto.", "airflow": "caudal de aire necesario"} {
		code, out, complaints := bayward(t, "", command, "--config", path)
		if code != exitDone || complaints != "" || !strings.Contains(out, want) {
			t.Errorf("%s: exit code %d, %s\n%s", command, code, complaints, out)
		}
		spanish := out
		code, out, _ = bayward(t, "", command, "--json", "--config", path)
		if code != exitDone || strings.Contains(out, want) || !strings.Contains(out, " the ") || strings.Contains(spanish, "Note:") {
			t.Errorf("%s --json: exit code %d\n%s", command, code, out)
		}
	}
}

// TestCheckJSON: what it prints is the configuration with its defaults, under
// the names of the file.
func TestCheckJSON(t *testing.T) {
	code, out, complaints := bayward(t, "", "check", "--json", "--config", example)
	var whole map[string]any
	if err := json.Unmarshal([]byte(out), &whole); code != exitDone || err != nil || whole["site"] != "quarry-road" {
		t.Fatalf("exit code %d, %v, %s", code, err, complaints)
	}
	for _, key := range []string{"agent", "bays", "http", "limits", "logbook", "mqtt", "packs", "sensors", "units"} {
		if _, ok := whole[key]; !ok {
			t.Errorf("key %s is missing", key)
		}
	}
	packs, ok := whole["packs"].([]any)
	if !ok || len(packs) != 1 {
		t.Fatalf("packs: %v", whole["packs"])
	}
	if pack, ok := packs[0].(map[string]any); !ok || pack["capacity_ah"] != 225.0 {
		t.Errorf("pack: %v", packs[0])
	}
}

// TestLines: what the units call, and a user whom the machine does not have.
func TestLines(t *testing.T) {
	to := filepath.Join(t.TempDir(), "lines")
	code, out, complaints := bayward(t, "", "lines", "--config", example, "--user", "root", "--to", to)
	text, err := os.ReadFile(to)
	if code != exitDone || out+complaints != "" || err != nil || string(text) != "user 0\nbay-1 GPIO17 GPIO27\n" {
		t.Errorf("exit code %d, %q, %q, %v: %q", code, out, complaints, err, text)
	}
	code, out, complaints = bayward(t, "", "lines", "--config", example, "--user", "nobody-like-this")
	if code != exitUsage || out != "" || !strings.Contains(complaints, "nobody-like-this") {
		t.Errorf("exit code %d, %q, %q", code, out, complaints)
	}
}

// TestExampleAsInstalled: it says what to do and never starts.
func TestExampleAsInstalled(t *testing.T) {
	shipped, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	path := configtest.File(t, "bayward.yaml", strings.Replace(string(shipped), "sensors: wired", "sensors: not-yet", 1))
	for _, command := range []string{"check", "run"} {
		code, out, complaints := bayward(t, "", command, "--config", path)
		if code != exitUsage || out != "" || strings.Count(complaints, "\n") != 1 || !strings.Contains(complaints, "the example as it was installed") {
			t.Errorf("%s: exit code %d, %q, %q", command, code, out, complaints)
		}
	}
}

// TestDemoCommand greets, and ends well when it is interrupted.
func TestDemoCommand(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	r, w := io.Pipe()
	var complaints bytes.Buffer
	code := make(chan int, 1)
	go func() {
		code <- execute(ctx, []string{"demo", "--listen", "127.0.0.1:0", "--broker", "127.0.0.1:0", "--bays", "2", "--for", "1h"},
			&program{strings.NewReader(""), w, &complaints, words.EnglishSI()})
		_ = w.Close()
	}()
	lines := bufio.NewScanner(r)
	require.True(t, lines.Scan())
	require.Equal(t, "bayward demo: 2 invented bays, 600 times faster than life. A simulated technician answers the notices.", lines.Text())
	cancel()
	for lines.Scan() { // the rest of it
	}
	require.Equal(t, exitDone, <-code)
	require.Empty(t, complaints.String())
	wrong, _, said := bayward(t, "", "demo", "--bays", "many")
	require.Equal(t, exitUsage, wrong)
	require.Contains(t, said, "--bays")
}
