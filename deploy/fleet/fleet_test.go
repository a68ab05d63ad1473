package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bayward/agent/assembly"
	"bayward/agent/check"
	"bayward/agent/config"
)

const example = "example.yaml"

// began is when the first run is.
var began = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// runs starts the program, which must succeed, and returns what it prints.
func runs(t *testing.T, file, folder string, now time.Time) string {
	t.Helper()
	var out, complaints strings.Builder
	require.Zero(t, run([]string{file, folder}, &out, &complaints, now), complaints.String())
	require.Empty(t, complaints.String())
	return out.String()
}

// changed is a copy of the example with a piece of its text replaced.
func changed(t *testing.T, old, with string) string {
	t.Helper()
	text, err := os.ReadFile(example)
	require.NoError(t, err)
	require.Contains(t, string(text), old)
	path := filepath.Join(t.TempDir(), "fleet.yaml")
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(text), old, with, 1)), 0o600))
	return path
}

// tree is every file below a folder by name.
func tree(t *testing.T, folder string) map[string]string {
	t.Helper()
	all := map[string]string{}
	require.NoError(t, filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(folder, path)
		all[name] = string(data)
		return err
	}))
	return all
}

// TestEachConfigurationPasses: what the agent's own check says, as "bayward check
// --elsewhere" does.
func TestEachConfigurationPasses(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	files, err := filepath.Glob(filepath.Join(out, "pis", "*", "*", configFile))
	require.NoError(t, err)
	require.Len(t, files, 3)
	for _, file := range files {
		cfg, err := config.Load(file)
		require.NoError(t, err)
		_, err = check.Setups(cfg)
		require.NoError(t, err)
		require.NoError(t, assembly.Refusals(t.Context(), cfg, true), file)
		root := strings.TrimSuffix(file, configFile)
		for _, named := range []string{cfg.HTTP.WebConfigFile, cfg.MQTT.CAFile, cfg.MQTT.CertFile, cfg.MQTT.KeyFile} {
			assert.FileExists(t, root+named, "%s names it", file)
		}
		assert.Equal(t, filepath.Join("pis", cfg.Site, cfg.Agent), strings.TrimPrefix(filepath.Clean(root), out+"/"))
	}
	shed3, err := config.Load(filepath.Join(out, "pis/quarry-road/shed-3", configFile))
	require.NoError(t, err)
	assert.Equal(t, 90.0, shed3.Limits["rest_min_minutes"], "the agent's own setting")
	assert.Equal(t, "112", shed3.FirstAid.EmergencyPhone, "the site's setting")
	assert.Len(t, shed3.Packs, 1, "only the packs that its bays charge")
	assert.Len(t, shed3.People, 2)
	shed2, err := config.Load(filepath.Join(out, "pis/quarry-road/shed-2", configFile))
	require.NoError(t, err)
	assert.Equal(t, config.Plate{Serial: "00417", InService: "2021-05-04", WarrantyUntil: "2026-05-03"}, shed2.Packs[0].Plate, "the plate goes with its pack")
	hut, err := config.Load(filepath.Join(out, "pis/hill/hut", configFile))
	require.NoError(t, err)
	assert.Equal(t, "es", hut.Language)
	require.Len(t, hut.People, 1, "B. Person is of the other site")
	assert.Equal(t, "A. Person", hut.People[0].Name)
}

// TestSecretsAreTheOwners: keys and configurations, which have hashes of PINs, are read
// by nobody else, whatever the umask is; and the list has every file with its hash.
func TestSecretsAreTheOwners(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	info, err := os.Stat(out)
	require.NoError(t, err)
	assert.Equal(t, fs.FileMode(0o700), info.Mode().Perm())
	files, listed := tree(t, out), ""
	for name, data := range files {
		info, err := os.Stat(filepath.Join(out, name))
		require.NoError(t, err)
		if strings.Contains(data, "PRIVATE KEY") || strings.Contains(data, "pin_hash") {
			assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm(), name)
		}
	}
	for line := range strings.Lines(files[listFile]) {
		sum, name, _ := strings.Cut(strings.TrimSpace(line), "  ")
		assert.Equal(t, fmt.Sprintf("%x", sha256.Sum256([]byte(files[name]))), sum, name)
		listed += name + "\n"
	}
	assert.Equal(t, len(files)-1, strings.Count(listed, "\n"), "every file but the list itself")
}

// TestTheSameFileGivesTheSameBytes: a second run, months later, replaces nothing.
func TestTheSameFileGivesTheSameBytes(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	first := tree(t, out)
	said := runs(t, example, out, began.AddDate(0, 3, 0))
	assert.Equal(t, first, tree(t, out))
	assert.NotContains(t, said, "made", "it reports nothing new")
}

// TestWhoLeavesIsGone: from every file, in one run.
func TestWhoLeavesIsGone(t *testing.T) {
	folder := t.TempDir()
	out, key := filepath.Join(folder, "out"), filepath.Join(folder, "b-person.pem")
	makeKey(t, key)
	with := changed(t, "    # mqtt_key_file: b-person.pem ", "    mqtt_key_file: "+key+" ")
	runs(t, with, out, began)
	require.Contains(t, tree(t, out), "pis/quarry-road/shed-2/etc/bayward/people/b-person.pem")
	text, err := os.ReadFile(with)
	require.NoError(t, err)
	from := bytes.Index(text, []byte("  - name: B. Person"))
	to := bytes.Index(text, []byte("\nsites:\n"))
	require.NoError(t, os.WriteFile(with, append(text[:from:from], text[to:]...), 0o600))
	runs(t, with, out, began)
	for name, data := range tree(t, out) {
		assert.NotContains(t, data, "B. Person", name)
		assert.NotContains(t, name, "b-person")
	}
}

// TestAnAgentLeaves: with its keys, and with its rights at the broker.
func TestAnAgentLeaves(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	text, err := os.ReadFile(example)
	require.NoError(t, err)
	from := strings.Index(string(text), "      - name: shed-3")
	to := strings.Index(string(text), "  - name: hill")
	left := filepath.Join(t.TempDir(), "fleet.yaml")
	require.NoError(t, os.WriteFile(left, append(text[:from:from], text[to:]...), 0o600))
	runs(t, left, out, began)
	for name, data := range tree(t, out) {
		assert.NotContains(t, name, "shed-3")
		assert.NotContains(t, data, "shed-3", name)
	}
}

// TestFaults: each names the file, the line, the field, the value and what is accepted.
func TestFaults(t *testing.T) {
	line := func(of string) int {
		text, err := os.ReadFile(example)
		require.NoError(t, err)
		before, _, found := strings.Cut(string(text), of)
		require.True(t, found, of)
		return strings.Count(before, "\n") + 1
	}
	for _, c := range []struct {
		name, old, with string
		says            string // after the file and the line
	}{
		{"a voltage's ratio", "ratio: 21}", "ratio: -21}", `field sites[0].agents[1].bays[0].wiring.voltage.ratio: value -21 is not accepted: must be`},
		{"a key of the wiring", "level: {kind: 4-20ma, adc: 0x48, channel: 2, shunt_ohm: 100, low_mm: -20, high_mm: 60}", "levels: {kind: 4-20ma}", `field sites[0].agents[1].bays[0].wiring.levels: unknown key; did you mean level?`},
		{"a pack of nobody", "pack: sweeper-36v", "pack: sweeper", `field sites[1].agents[0].bays[0].pack: value "sweeper" is not accepted: must be the name of a pack under packs: sweeper-36v`},
		{"a pack's fill mark", "fill_mark_mm: 25", "fill_mark_mm: 45", `field sites[0].packs[1].fill_mark_mm: value 45 is not accepted: must be below vent_well_mm`},
		{"a pack's warranty", "warranty_until: 2026-05-03", "warranty_until: 2026-02-30", `field sites[0].packs[0].warranty_until: value "2026-02-30" is not accepted: must be a day such as 2021-05-04`},
		{"a limit of an agent", "rest_min_minutes: 90", "rest_min_minutes: 5", `field sites[0].agents[1].settings.limits.rest_min_minutes: value 5 is not accepted: must be`},
		{"an octal number", "cells: 18", "cells: 022", `field sites[1].packs[0].cells: value 022 is not accepted: must be`},
		{"a setting of all", "keep_alive_seconds: 30", "keep_alive_seconds: 3", `field settings.mqtt.keep_alive_seconds: value 3 is not accepted: must be 5 to 1200`},
		{"what is made here", "  units: si", "  people: []", `field settings.people: must be left out: it is made from people`},
		{"a key in one word", "  units: si", "  http.wall_key: abcdefghijklmnop", `field settings.http.wall_key: must be the name of one key, without a point`},
		{"settings that are none", "settings:\n  units: si\n  mqtt:\n    keep_alive_seconds: 30", "settings: si", `field settings: must be keys of the configuration, one each line`},
		{"a role", "role: visit", "role: all", `field people[1].role: value "all" is not accepted: must be look, visit or release`},
		{"a PIN", "role: visit\n    pin_hash: $2a$11$iY8GzQJPoDx1o0XnUHnPHOAcJ0hCMgkmxgWMFdXZZ0cL1f3G9L3sK", "role: visit\n    pin_hash: \"98127645\"", `field people[1].pin_hash: must be a bcrypt hash`},
		{"a site of nobody", "sites: [quarry-road]       # left", "sites: [quarry]  # left", `field people[1].sites[0]: value "quarry" is not accepted: must be the name of a site: quarry-road, hill`},
		{"a key file that is missing", "    # mqtt_key_file: b-person.pem ", "    mqtt_key_file: nowhere.pem ", `field people[1].mqtt_key_file: value "nowhere.pem" is not accepted: must be a file with a public key (Ed25519, PEM): `},
		{"a host elsewhere", "host: hut.hill.quarry.example", "host: hut.example", `field sites[1].agents[0].host: value "hut.example" is not accepted: must be in one of certificates.domains or certificates.networks`},
		{"a host with a port", "host: hut.hill.quarry.example", "host: hut.quarry.example:80", `field sites[1].agents[0].host: value "hut.quarry.example:80" is not accepted: must be a host name in lower case or an address, without a port`},
		{"a host twice", "host: shed-3.quarry.example", "host: shed-2.quarry.example", `field sites[0].agents[1].host: value "shed-2.quarry.example" is not accepted: must be unlike the hosts of the other agents`},
		{"an agent twice", "- name: shed-3", "- name: shed-2", `field sites[0].agents[1].name: value "shed-2" is not accepted: must be unlike the other names of this list`},
		{"a network with a host", "networks: []", "networks: [192.168.7.1/24]", `field certificates.networks[0]: value "192.168.7.1/24" is not accepted: must be a network with its length, such as 192.168.7.0/24`},
		{"a renewal that never ends", "renew_days: 60", "renew_days: 180\n  page_days: 200", `field certificates.page_days: value 200 is not accepted: must be at least twice renew_days, 360`},
		{"the broker's own name", "- name: display", "- name: broker", `field broker.clients[0].name: value "broker" is not accepted: must be another name`},
		{"a right that is none", "orders: forward", "orders: all", `field broker.clients[1].orders: value "all" is not accepted: must be forward or none`},
		{"a server without a port", "alertmanagers: [alarms.quarry.example:9093]", "alertmanagers: [alarms.quarry.example]", `field prometheus.alertmanagers[0]: value "alarms.quarry.example" is not accepted: must be host:port`},
		{"a receiver without keys", "shift:                     # within the shift\n      email_configs: [{to: shift@quarry.example}]", "shift: []", `field alertmanager.receivers.shift: must be Alertmanager's keys, one each line, without a name`},
		{"a receiver that is none", "    planning:    ", "    plannings:   ", `field alertmanager.receivers.plannings: unknown key; did you mean planning?`},
		{"a site's heartbeat", "webhook_configs: [{url: http://pager.quarry.example/hill}]", "webhook_configs: [{url: http://pager.quarry.example/hill}]\n      heartbeat: {webhook_configs: []}", `field sites[1].receivers.heartbeat: must be left out`},
		{"who may not sign in", "user: yard ", "user: root ", `field first_boot.user: value "root" is not accepted: must be`},
		{"a key that is none", "    - ssh-ed25519 ", "    - ssh-ed255 ", `field first_boot.ssh_keys[0]: value "ssh-ed255 `},
		{"a wave", "wave: 2", "wave: 10", `field sites[1].wave: value 10 is not accepted: must be 1 to 9`},
		{"an archive without a key", "# archive:                     # the site's own packages; a version reaches sites in waves\n#   url:", "archive:\n  url:", `field archive.key_file: is missing`},
		{"a collector with a port", "host: logs.quarry.example ", "host: logs.quarry.example:19532 ", `field logs.host: value "logs.quarry.example:19532" is not accepted: must be a host name`},
		{"an unknown key", "renew_days: 60", "renew_day: 60", `field certificates.renew_day: unknown key; did you mean renew_days?`},
	} {
		t.Run(c.name, func(t *testing.T) {
			file, out := changed(t, c.old, c.with), filepath.Join(t.TempDir(), "out")
			var said, complaints strings.Builder
			assert.Equal(t, 2, run([]string{file, out}, &said, &complaints, began))
			at := line(c.old)
			if key := c.says[len("field "):strings.Index(c.says, ": ")]; key != "settings" {
				key = key[strings.LastIndexAny(key, ".")+1:]
				key, _, _ = strings.Cut(key, "[")
				for i, l := range strings.Split(c.with, "\n") {
					if strings.Contains(l, key+":") {
						at += i
					}
				}
			}
			assert.Equal(t, 1, strings.Count(complaints.String(), "\n"), "one fault, one complaint: %s", complaints.String())
			assert.True(t, strings.HasPrefix(complaints.String(), fmt.Sprintf("%s:%d: %s", file, at, c.says)), "got  %swant %s:%d: %s", complaints.String(), file, at, c.says)
			assert.NotContains(t, complaints.String(), "98127645", "a PIN is never repeated")
			assert.NoDirExists(t, out, "nothing is written")
		})
	}
}

// TestNoFleet: what is missing altogether.
func TestNoFleet(t *testing.T) {
	for text, says := range map[string]string{
		"":                          "the file is empty",
		"certificates: {}\n":        "field sites: is missing: a list with at least one site",
		"sites: [{name: a-site}]\n": "field sites[0].agents: is missing: a list with at least one agent",
		"sites: [{name: a, agents: [{name: b, host: 192.0.2.1}]}]\ncertificates: {networks: [192.0.2.0/24]}\n": "field sites[0].agents[0].bays: is missing:",
	} {
		file := filepath.Join(t.TempDir(), "fleet.yaml")
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		var said, complaints strings.Builder
		assert.Equal(t, 2, run([]string{file, filepath.Join(t.TempDir(), "out")}, &said, &complaints, began))
		assert.Contains(t, complaints.String(), says, text)
	}
	for _, args := range [][]string{nil, {"one"}, {"one", "two", "three"}} {
		var said, complaints strings.Builder
		assert.Equal(t, 2, run(args, &said, &complaints, began))
		assert.Equal(t, usage, complaints.String())
	}
}

// needProgram finds a program; without it the test is skipped, or fails under
// deploy/test.
func needProgram(t *testing.T, name string) string {
	t.Helper()
	for _, path := range []string{name, "/usr/sbin/" + name} {
		if found, err := exec.LookPath(path); err == nil {
			return found
		}
	}
	if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
		t.Fatalf("%s is not installed: deploy/test installs it", name)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

// tool runs a program that must succeed and returns what it prints.
func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	var complaints strings.Builder
	cmd := exec.CommandContext(t.Context(), needProgram(t, name), args...)
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	require.NoError(t, err, "%s %v: %s%s", name, args, out, &complaints)
	return string(out)
}

// makeKey writes a public key for signed orders, as people make one.
func makeKey(t *testing.T, path string) {
	t.Helper()
	private := path + "-private"
	tool(t, "openssl", "genpkey", "-algorithm", "ed25519", "-out", private)
	tool(t, "openssl", "pkey", "-in", private, "-pubout", "-out", path)
}
