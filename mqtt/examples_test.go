package mqtt

import (
	"bufio"
	"database/sql"
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"

	"bayward/mqtt/mqtttest"
)

// example starts a program of the folder examples, and returns its lines and what ends it, and all that it
// has started, by a signal.
func example(t *testing.T, program string, args ...string) (lines <-chan string, end func(syscall.Signal)) {
	t.Helper()
	cmd := exec.Command(program, args...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	said, read := make(chan string, 1000), make(chan struct{})
	go func() {
		defer close(read)
		defer close(said)
		for s := bufio.NewScanner(out); s.Scan(); {
			said <- s.Text()
		}
	}()
	ended := false
	end = func(by syscall.Signal) {
		if !ended {
			ended = true
			_ = syscall.Kill(-cmd.Process.Pid, by)
			<-read
			_ = cmd.Wait()
		}
	}
	t.Cleanup(func() { end(syscall.SIGKILL) })
	return said, end
}

// line waits for a line of the program that has a part.
func line(t *testing.T, lines <-chan string, part string) string {
	t.Helper()
	for text := range lines {
		if strings.Contains(text, part) {
			return text
		}
	}
	t.Fatalf("the program ended without a line with %q", part)
	return ""
}

// python finds one with the library that the example needs: that of Debian's package.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(name, "-c", "import paho.mqtt.client").Run() == nil {
			return name
		}
	}
	if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
		t.Fatal("apt-get install python3-paho-mqtt")
	}
	t.Skip("python3-paho-mqtt is not installed")
	return ""
}

// TestExampleHistory kills the reader while events come and go: each is in its file, once.
func TestExampleHistory(t *testing.T) {
	program := python(t)
	b := startMosquitto(t)
	host, port, _ := net.SplitHostPort(b.addr())
	file := filepath.Join(t.TempDir(), "history.db")
	read := func() (<-chan string, func(syscall.Signal)) {
		lines, end := example(t, program, "examples/history.py", file, host, port)
		line(t, lines, "reading bayward/+/+/+/event 1")
		return lines, end
	}
	o := newOutbox()
	c := newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: o})

	_, end := read()
	runClient(t, c)
	o.add("bay-1", 40)
	c.Wake()
	o.awaitCursor("bay-1", 20)
	end(syscall.SIGKILL) // in the middle
	o.add("bay-1", 20)
	o.add("bay-2", 1)
	c.Wake()
	o.awaitCursor("bay-2", 1)

	lines, _ := read()
	payload, err := Event{Bay: "bay-2", Epoch: "7d0f3a52c4e1b896", Seq: 5, At: testWall(), Kind: "charge-full", Text: "Full."}.JSON()
	if err != nil {
		t.Fatal(err)
	}
	sender := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.addr()).SetClientID("sender").SetProtocolVersion(4))
	mqtttest.Await(t, sender.Connect())
	defer sender.Disconnect(0)
	mqtttest.Await(t, sender.Publish(testTopics.Event("bay-2"), 1, false, payload))
	if got := line(t, lines, "GAP"); got != "GAP quarry-road shed-2 7d0f3a52c4e1b896 bay-2 2 4" {
		t.Errorf("the reader prints %q", got)
	}
	mqtttest.Await(t, sender.Publish(testTopics.Event("bay-2"), 1, false, payload)) // a repeat
	later := strings.Replace(string(payload), `"seq":5`, `"seq":9`, 1)
	mqtttest.Await(t, sender.Publish(testTopics.Event("bay-2"), 1, false, later))
	line(t, lines, "bay-2 6 8") // everything before is on the disk, but perhaps this one

	db, err := sql.Open("sqlite", "file:"+file+"?_pragma=busy_timeout(60000)") // the reader may be writing
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for bay, want := range map[string][3]int{"bay-1": {1, 60, 60}, "bay-2": {1, 5, 2}} {
		var got [3]int
		row := db.QueryRowContext(t.Context(), "SELECT min(seq), max(seq), count(*) FROM event WHERE bay = ? AND seq < 1 + ?", bay, want[1])
		if err := row.Scan(&got[0], &got[1], &got[2]); err != nil || got != want {
			t.Errorf("%s: first, last and number %v, want %v (%v)", bay, got, want, err)
		}
	}
}

// nodeRED starts the flow of the examples in a folder that keeps what it knows.
func nodeRED(t *testing.T, folder, addr, events string) (lines <-chan string, end func(syscall.Signal)) {
	t.Helper()
	program := needProgram(t, "node")
	start, err := filepath.Abs("examples/node-red/node_modules/node-red/red.js")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(start); err != nil {
		if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
			t.Fatal("npm ci --prefix mqtt/examples/node-red")
		}
		t.Skip("node-red is not installed")
	}
	flow, err := os.ReadFile("examples/node-red/flow.json")
	if err != nil {
		t.Fatal(err)
	}
	settings := `module.exports = { httpAdminRoot: false, httpNodeRoot: false, flowFile: "flow.json", credentialSecret: false,
		contextStorage: { default: { module: "localfilesystem", config: { flushInterval: 0.05 } } }, logging: { console: { level: "info" } } }`
	watched := strings.Replace(string(flow), `"name": "kept", "active": false`, `"name": "kept", "active": true`, 1)
	for name, text := range map[string]string{"flow.json": watched, "settings.js": settings} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	host, port, _ := net.SplitHostPort(addr)
	t.Setenv("BAYWARD_BROKER", host)
	t.Setenv("BAYWARD_PORT", port)
	t.Setenv("BAYWARD_EVENTS", events)
	lines, end = example(t, program, start, "--userDir", folder, "--settings", filepath.Join(folder, "settings.js"))
	line(t, lines, "Started flows")
	return lines, end
}

// TestExampleFlow: the flow keeps each event once, over its own end too, tells a gap, what is for people and
// an agent that is gone.
func TestExampleFlow(t *testing.T) {
	b := startMosquitto(t)
	folder, events := t.TempDir(), filepath.Join(t.TempDir(), "events.jsonl")
	o := newOutbox()
	c := newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: o})
	c.Notice("bay-2", Notice{Kind: "ready-to-water", State: Raised, Since: testWall(), Text: "Ready to water.", WhatToDo: "Give each cell its amount."})
	runClient(t, c)
	lines, end := nodeRED(t, folder, b.addr(), events)
	line(t, lines, "shed-2 bay-2: Ready to water. Give each cell its amount.") // kept by the broker: so it has subscribed
	o.add("bay-1", 20)
	c.Wake()
	line(t, lines, `"seq":20`)
	end(syscall.SIGTERM) // it keeps what it knows, and the broker what comes
	o.add("bay-1", 10)
	c.Wake()
	o.awaitCursor("bay-1", 30)

	lines, _ = nodeRED(t, folder, b.addr(), events)
	line(t, lines, `"seq":30`)
	sender := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.addr()).SetClientID("sender").SetProtocolVersion(4))
	mqtttest.Await(t, sender.Connect())
	defer sender.Disconnect(0)
	payload, err := Event{Bay: "bay-1", Epoch: "7d0f3a52c4e1b896", Seq: 33, At: testWall(), Kind: "charge-full", Text: "Full."}.JSON()
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		mqtttest.Await(t, sender.Publish(testTopics.Event("bay-1"), 1, false, payload))
	}
	line(t, lines, "events missing] quarry-road shed-2 7d0f3a52c4e1b896 bay-1 31 32")
	line(t, lines, `"seq":33`)
	mqtttest.Await(t, sender.Publish("bayward/quarry-road/shed-9/status", 1, true, `{"v":1,"state":"offline"}`))
	line(t, lines, "quarry-road shed-9 is offline")
	text, err := os.ReadFile(events)
	if err != nil {
		t.Fatal(err)
	}
	last := 0
	for at, one := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		var e struct {
			Site, Agent, Bay, Epoch string
			Seq                     int
		}
		if err := json.Unmarshal([]byte(one), &e); err != nil || e.Site != "quarry-road" || e.Agent != "shed-2" || e.Bay != "bay-1" || e.Seq <= last {
			t.Errorf("line %d is %q (%v)", at+1, one, err)
		}
		last = e.Seq
	}
	if last != 33 {
		t.Errorf("the last event is %d", last)
	}
}

// TestExampleNotices prints what is raised, and nothing else.
func TestExampleNotices(t *testing.T) {
	needProgram(t, "mosquitto_sub")
	needProgram(t, "jq")
	b := startMosquitto(t)
	c := newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: newOutbox()})
	c.Notice("bay-1", Notice{Kind: "ready-to-water", State: Settled, Since: testWall(), Text: "Watered."})
	c.Notice("bay-2", Notice{Kind: "ready-to-water", State: Raised, Since: testWall(), Text: "Ready to water.", WhatToDo: "Give each cell its amount."})
	got := subscribe(t, b.addr(), testTopics.Notice("+"), nil)
	runClient(t, c)
	await(t, got, testTopics.Notice("bay-2"), `"raised"`)
	host, port, _ := net.SplitHostPort(b.addr())
	lines, _ := example(t, "examples/notices.sh", host, port)
	if text := <-lines; text != "2026-03-01T05:07:08.090Z\tbay-2\tReady to water.\tGive each cell its amount." {
		t.Errorf("printed %q", text)
	}
}

// TestExampleDiscovery: each announced value is a field of the contract with the unit of its name, nothing
// can be commanded, and everything is taken back.
func TestExampleDiscovery(t *testing.T) {
	for _, name := range []string{"mosquitto_sub", "mosquitto_pub", "jq"} {
		needProgram(t, name)
	}
	b := startMosquitto(t)
	host, port, _ := net.SplitHostPort(b.addr())
	announce := func(args ...string) {
		t.Helper()
		if out, err := exec.CommandContext(t.Context(), "examples/discovery.sh", append(args, "found", host, port)...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	c := newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: newOutbox()})
	c.State("bay-1", testView(), testWall())
	got := subscribe(t, b.addr(), "#", nil)
	runClient(t, c)
	await(t, got, testTopics.State("bay-1"), `"bay-1"`)

	announce()
	announce("--remove")
	schema, err := contract(t).Schema("state")
	if err != nil {
		t.Fatal(err)
	}
	fields, unit := schema["properties"].(map[string]any), map[string]string{"v": "V", "a": "A", "c": "°C", "mm": "mm", "pct": "%", "s": "s", "h": "h"}
	topic := regexp.MustCompile(`^found/(binary_sensor|sensor)/bayward_quarry-road_shed-2_bay-1/([a-z_]+)/config$`)
	announced, removed := map[string]bool{}, 0
	for removed == 0 || removed < len(announced) {
		m := <-got
		found := topic.FindStringSubmatch(m.Topic())
		if found == nil {
			continue
		}
		if len(m.Payload()) == 0 {
			removed++
			continue
		}
		announced[m.Topic()] = true
		var config map[string]any
		if err := json.Unmarshal(m.Payload(), &config); err != nil {
			t.Fatal(err)
		}
		field := found[2]
		if fields[field] == nil || !strings.Contains(config["value_template"].(string), "value_json."+field) {
			t.Errorf("%s: %v is not that of a field of the state", m.Topic(), config["value_template"])
		}
		if config["state_topic"] != testTopics.State("bay-1") || config["availability_topic"] != testTopics.Status() || config["command_topic"] != nil {
			t.Errorf("%s: topics of %v", m.Topic(), config)
		}
		parts := strings.Split(field, "_")
		if u, has := config["unit_of_measurement"]; has && u != unit[parts[len(parts)-1]] {
			t.Errorf("%s is announced in %v", field, u)
		}
	}
	if len(announced) != 14 {
		t.Errorf("%d values are announced, want 14", len(announced))
	}
}
