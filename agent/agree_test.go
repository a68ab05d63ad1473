package main

import (
	"bytes"
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bayward/agent/config/configtest"
	"bayward/agent/words"
)

// TestCheckAndRunAgree feeds both with installs that are bad, each in one thing, and with
// good ones: what one refuses the other refuses, with the same words.
func TestCheckAndRunAgree(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	missing := filepath.Join(dir, "not-there")
	foreign := filepath.Join(dir, "foreign.db")
	sqlite(t, foreign, "CREATE TABLE x (y); PRAGMA application_id = 1")
	newer := filepath.Join(dir, "newer.db")
	sqlite(t, newer, "PRAGMA application_id = 1650555255; PRAGMA user_version = 99; CREATE TABLE x (y)")
	const page = "listen: 127.0.0.1:0"
	for name, row := range map[string]struct {
		replace   []string
		refused   string // "" for good
		elsewhere bool   // it is good for another machine
		warns     string // check warns of it
	}{
		"good":                            {},
		"open to the network":             {replace: []string{page, "listen: 0.0.0.0:0"}, refused: "http.listen"},
		"open to the network by name":     {replace: []string{page, `listen: ":0"`}, refused: "http.listen"},
		"open on IPv6":                    {replace: []string{page, `listen: "[::]:0"`}, refused: "http.listen"},
		"localhost":                       {replace: []string{page, "listen: localhost:0"}},
		"another loopback address":        {replace: []string{page, "listen: 127.3.2.1:0"}},
		"an address of no machine here":   {replace: []string{page, "listen: 192.0.2.1:0\n  web_config_file: " + file("plain.yaml", "{}")}, refused: "192.0.2.1", elsewhere: true},
		"no web configuration":            {replace: []string{page, page + "\n  web_config_file: " + missing}, refused: "http.web_config_file", elsewhere: true},
		"a bad web configuration":         {replace: []string{page, page + "\n  web_config_file: " + file("bad.yaml", "tls: yes")}, refused: "http.web_config_file", elsewhere: true},
		"a web configuration without key": {replace: []string{page, page + "\n  web_config_file: " + file("half.yaml", "tls_server_config: {cert_file: x.pem}")}, refused: "http.web_config_file", elsewhere: true},
		"another program's database":      {replace: []string{"path: LOGBOOK", "path: " + foreign}, refused: "foreign.db", elsewhere: true},
		"a newer program's logbook":       {replace: []string{"path: LOGBOOK", "path: " + newer}, refused: "newer.db", elsewhere: true},
		"a file for the record's folder":  {replace: []string{"path: LOGBOOK", "path: " + file("file", "x") + "/l.db"}, warns: "logbook.path"},
		"no broker's authority":           {replace: []string{"bays:\n", "mqtt: {broker: 'ssl://127.0.0.1:1', ca_file: " + missing + "}\nbays:\n"}, warns: "mqtt.ca_file"},
		"no password":                     {replace: []string{"bays:\n", "mqtt: {broker: 'ssl://127.0.0.1:1', username: a, password_file: " + missing + "}\nbays:\n"}, warns: "mqtt.password_file"},
		"no certificate":                  {replace: []string{"bays:\n", "mqtt: {broker: 'ssl://127.0.0.1:1', cert_file: " + missing + ", key_file: " + missing + "}\nbays:\n"}, warns: "mqtt.cert_file"},
		"no key of a person":              {replace: []string{"bays:\n", "people:\n  - {name: Ana, role: visit, pin_hash: '$2a$11$iY8GzQJPoDx1o0XnUHnPHOAcJ0hCMgkmxgWMFdXZZ0cL1f3G9L3sK', mqtt_key_file: " + missing + "}\nbays:\n"}, warns: "people[0].mqtt_key_file"},
		"no authority of a webhook":       {replace: []string{"bays:\n", "notify: {webhooks: [{name: a, url: 'https://127.0.0.1:1/', ca_file: " + missing + "}]}\nbays:\n"}, refused: "not-there", elsewhere: true},
	} {
		t.Run(name, func(t *testing.T) {
			path := configtest.File(t, "bayward.yaml", configtest.OneBay(t, row.replace...))
			checked, out, said := bayward(t, "", "check", "--config", path)
			ran, why := runAWhile(t, path)
			switch {
			case row.refused == "" && (checked != exitDone || ran != exitDone):
				t.Errorf("check: %d %s\nrun: %d %s", checked, said, ran, why)
			case row.refused != "" && (checked != exitUsage || ran != exitUsage || said != why || !strings.Contains(said, row.refused)):
				t.Errorf("check: %d %s\nrun: %d %s", checked, said, ran, why)
			}
			if row.warns != "" && !strings.Contains(out, row.warns) {
				t.Errorf("no warning of %s in\n%s", row.warns, out)
			}
			if code, _, said := bayward(t, "", "check", "--elsewhere", "--config", path); (code == exitDone) != (row.refused == "" || row.elsewhere) {
				t.Errorf("for another machine: %d %s", code, said)
			}
		})
	}
}

// runAWhile runs the agent until it looks after its bays or refuses.
func runAWhile(t *testing.T, path string) (code int, complaint string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	log := &untilSaid{part: "looking after the bays", then: cancel}
	code = execute(ctx, []string{"run", "--config", path}, &program{strings.NewReader(""), &bytes.Buffer{}, log, words.EnglishSI()})
	return code, log.complaint
}

// untilSaid is a log that calls a function when a part of a line is written.
type untilSaid struct {
	part      string
	then      func()
	complaint string // the line of the program itself
}

func (u *untilSaid) Write(b []byte) (int, error) {
	if strings.HasPrefix(string(b), "bayward: ") {
		u.complaint = string(b)
	}
	if strings.Contains(string(b), u.part) {
		u.then()
	}
	return len(b), nil
}

// sqlite writes a database with statements.
func sqlite(t *testing.T, path, statements string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(t.Context(), statements); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}
