package mqtt

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"bayward/agent/order"
)

const deployed = "../deploy/mosquitto/"

// plant is the broker of deploy/mosquitto, with certificates from that folder's
// script.
type plant struct {
	*mosquitto
	folder  string // of the certificates
	acl     string // file of the access list, a copy of the deployed one
	clients int
}

func startPlant(t *testing.T) *plant {
	t.Helper()
	return startPlantWith(t, func(acl string) string { return acl })
}

// startPlantWith starts it with a changed access list.
func startPlantWith(t *testing.T, change func(acl string) string) *plant {
	t.Helper()
	needProgram(t, "openssl")
	p := &plant{mosquitto: &mosquitto{}, folder: t.TempDir()}
	p.acl = filepath.Join(p.folder, "bayward.acl")
	p.allow(t, change)
	p.certificates(t, "authority")
	p.certificates(t, "broker", "localhost", "127.0.0.1")
	p.certificates(t, "client", "shed-2.quarry-road", "shed-3.quarry-road", "display", "maintenance", "nobody")
	p.whole = func(port string) string { return p.config(t, "bayward.conf", "listener 8883", port) }
	p.start(t)
	t.Cleanup(func() { p.kill(t) })
	return p
}

// allow writes the access list.
func (p *plant) allow(t *testing.T, change func(acl string) string) {
	t.Helper()
	text, err := os.ReadFile(deployed + "bayward.acl")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(p.acl, []byte(change(string(text))), 0o644); err != nil {
		t.Fatal(err)
	}
}

func (p *plant) certificates(t *testing.T, args ...string) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), deployed+"certificates", append([]string{p.folder}, args...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("certificates %v: %v\n%s", args, err, out)
	}
}

// config returns a configuration of deploy/ with the test's port and folders.
func (p *plant) config(t *testing.T, file, listener, port string) string {
	t.Helper()
	text, err := os.ReadFile(deployed + file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), "\n"+listener) {
		t.Fatalf("%s has no %s", file, listener)
	}
	return strings.NewReplacer(
		listener, "listener "+port+" 127.0.0.1",
		"/etc/mosquitto/bayward/", p.folder+"/",
		"/etc/mosquitto/bayward.acl", p.acl,
	).Replace(string(text))
}

// as are the options of a client with a certificate.
func (p *plant) as(name string) Options {
	return Options{
		Brokers: []string{"ssl://" + p.addr()}, CAFile: filepath.Join(p.folder, "ca.pem"), ClientID: name,
		CertFile: filepath.Join(p.folder, name+".pem"), KeyFile: filepath.Join(p.folder, name+"-key.pem"),
	}
}

// connect is an ordinary client with a certificate.
func (p *plant) connect(t *testing.T, name string) paho.Client {
	t.Helper()
	o := p.as(name)
	o.Outbox, o.Log, o.Topics = newOutbox(), quiet(), testTopics
	u, err := o.complete()
	if err != nil {
		t.Fatal(err)
	}
	trust, err := trusted(u[0], &o)
	if err != nil {
		t.Fatal(err)
	}
	p.clients++
	c := paho.NewClient(paho.NewClientOptions().AddBroker("ssl://" + p.addr()).
		SetClientID(fmt.Sprint(name, "-", p.clients)).SetProtocolVersion(4).
		SetTLSConfig(trust).SetAutoReconnect(false))
	finish(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(0) })
	return c
}

func (p *plant) subscribe(t *testing.T, name, filter string) <-chan paho.Message {
	t.Helper()
	got := make(chan paho.Message, 1000)
	finish(t, p.connect(t, name).Subscribe(filter, 1, func(_ paho.Client, m paho.Message) { got <- m }))
	return got
}

func next(t *testing.T, seen <-chan paho.Message) paho.Message {
	t.Helper()
	select {
	case m := <-seen:
		return m
	case <-time.After(patience):
		t.Fatal("nothing came")
		return nil
	}
}

// TestPlantBroker tests the set-up of deploy/mosquitto: who may do what.
func TestPlantBroker(t *testing.T) {
	p := startPlant(t)
	seen := p.subscribe(t, "display", "bayward/#")
	mine, others := "bayward/quarry-road/shed-2/", "bayward/quarry-road/shed-3/"
	shed2, display, maintenance, nobody := p.connect(t, "shed-2.quarry-road"), p.connect(t, "display"), p.connect(t, "maintenance"), p.connect(t, "nobody")

	// Mosquitto acknowledges a refused publication and drops it (MQTT 3.1.1,
	// section 3.3.5). So each refused one is followed by an allowed one of the
	// same kind, from the same or another client: once that has arrived, the
	// refused one would have, too.
	for _, c := range []struct {
		name  string
		by    paho.Client
		topic string
	}{
		{"an agent, another's state", shed2, others + "bay-1/state"},
		{"an agent, another's status", shed2, others + "status"},
		{"an agent, another's daily round", shed2, others + "daily"},
		{"an agent, another's response", shed2, others + "bay-1/response"},
		{"an agent, its own command", shed2, mine + "bay-1/command"},
		{"an agent, another's command", shed2, others + "bay-1/command"},
		{"a reader, a command", display, mine + "bay-1/command"},
		{"a reader, a state", display, mine + "bay-1/state"},
		{"a sender of orders, a state", maintenance, mine + "bay-1/state"},
		{"a sender of orders, another site", maintenance, "bayward/other/shed-2/bay-1/command"},
		{"a user without a section, a command", nobody, mine + "bay-1/command"},
	} {
		t.Run(c.name, func(t *testing.T) {
			finish(t, c.by.Publish(c.topic, 1, false, "forbidden"))
			finish(t, shed2.Publish(mine+"bay-1/event", 1, false, "allowed"))
			if m := next(t, seen); m.Topic() != mine+"bay-1/event" || string(m.Payload()) != "allowed" {
				t.Errorf("seen: %s %s", m.Topic(), m.Payload())
			}
		})
	}
	for _, topic := range []string{"status", "daily", "bay-1/state", "bay-9/event", "bay-1/notice", "bay-1/response"} {
		finish(t, shed2.Publish(mine+topic, 1, false, "x"))
		if m := next(t, seen); m.Topic() != mine+topic {
			t.Errorf("published %s, seen %s", topic, m.Topic())
		}
	}
	finish(t, maintenance.Publish(mine+"bay-1/command", 1, false, "x"))
	if m := next(t, seen); m.Topic() != mine+"bay-1/command" {
		t.Errorf("published a command, seen %s", m.Topic())
	}
}

// TestPlantReading: a user without a section, and another agent, read nothing.
func TestPlantReading(t *testing.T) {
	p := startPlant(t)
	seen, spied := p.subscribe(t, "display", "bayward/#"), make(chan paho.Message, 100)
	for _, name := range []string{"nobody", "shed-3.quarry-road"} {
		// Mosquitto grants the subscription and delivers nothing.
		p.connect(t, name).Subscribe("#", 1, func(_ paho.Client, m paho.Message) { spied <- m })
	}
	shed2, maintenance := p.connect(t, "shed-2.quarry-road"), p.connect(t, "maintenance")
	for range 10 {
		finish(t, shed2.Publish("bayward/quarry-road/shed-2/bay-1/event", 1, false, "x"))
		finish(t, maintenance.Publish("bayward/quarry-road/shed-2/bay-1/command", 1, false, "x"))
		next(t, seen)
		next(t, seen)
	}
	if len(spied) > 0 {
		t.Errorf("%d messages reached a user who may not read them, such as %s", len(spied), (<-spied).Topic())
	}
}

// TestPlantStrangers: no client connects without a certificate of the authority.
func TestPlantStrangers(t *testing.T) {
	p := startPlant(t)
	if err := connectOnce(t, p.as("shed-2.quarry-road"), patience); err != nil {
		t.Fatalf("a known agent: %v", err)
	}
	other := &plant{mosquitto: &mosquitto{}, folder: t.TempDir()}
	other.certificates(t, "authority")
	other.certificates(t, "client", "shed-2.quarry-road")
	foreign, bare, plain := p.as("shed-2.quarry-road"), p.as("shed-2.quarry-road"), p.as("shed-2.quarry-road")
	foreign.CertFile, foreign.KeyFile = other.as("shed-2.quarry-road").CertFile, other.as("shed-2.quarry-road").KeyFile
	bare.CertFile, bare.KeyFile = "", ""
	plain.Brokers = []string{"tcp://" + p.addr()}
	for name, o := range map[string]Options{"certificate of another authority": foreign, "no certificate": bare, "no TLS": plain} {
		err := connectOnce(t, o, patience)
		t.Logf("%s: %v", name, err)
		if err == nil {
			t.Errorf("%s: connected", name)
		}
		if err != nil && !strings.Contains(err.Error(), "cert_file") {
			t.Errorf("%s: %v does not name what to do", name, err)
		}
	}
}

// TestSignedOrderByScript: a person's order, written by deploy/mosquitto/order
// and published by the broker's own client over TLS, reaches the bay.
func TestSignedOrderByScript(t *testing.T) {
	p := startPlant(t)
	publisher := needProgram(t, "mosquitto_pub")
	private, public := filepath.Join(p.folder, "ana-private.pem"), filepath.Join(p.folder, "ana-public.pem")
	for _, args := range [][]string{
		{"genpkey", "-algorithm", "ed25519", "-out", private}, {"pkey", "-in", private, "-pubout", "-out", public},
	} {
		if out, err := exec.CommandContext(t.Context(), "openssl", args...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	key, err := ReadKey(public)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ReadKey(private); err == nil || !strings.Contains(err.Error(), "private") {
		t.Errorf("a private key on the agent: %v", err)
	}
	k := &clerk{}
	o := p.as("shed-2.quarry-road")
	o.Outbox, o.Bays, o.Submit = newOutbox(), []string{"bay-1"}, k.submit
	o.People = []Person{{Name: "Ana Ruiz", Key: key, Right: order.MayVisit}}
	o.OrderNow = func() Wall { return Wall{time.Now(), true} }
	seen := p.subscribe(t, "display", "bayward/#")
	c := newClient(t, o)
	c.began = time.Now().Add(-time.Minute) // the script writes whole seconds
	runClient(t, c)
	await(t, seen, testTopics.Status(), "online")
	for _, step := range []struct {
		args   []string
		result string
	}{
		{[]string{"fill", "cell=3", "ml=150.5", "note=north end"}, `"result":"done"`},
		{[]string{"release"}, `"reason":"no-right"`},
	} {
		topic := testTopics.Command("bay-1")
		payload, err := exec.CommandContext(t.Context(), deployed+"order",
			append([]string{"--key", private, "--by", "Ana Ruiz", "--to", topic}, step.args...)...).Output()
		if err != nil {
			t.Fatalf("order %v: %v", step.args, err)
		}
		host, port, _ := strings.Cut(p.addr(), ":")
		m := p.as("maintenance")
		send := exec.CommandContext(t.Context(), publisher, "-h", host, "-p", port, "--cafile", m.CAFile, "--cert", m.CertFile,
			"--key", m.KeyFile, "-q", "1", "-t", topic, "-s")
		send.Stdin = strings.NewReader(string(payload))
		if out, err := send.CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_pub: %v: %s", err, out)
		}
		await(t, seen, testTopics.Response("bay-1"), step.result)
	}
	want := order.Order{Kind: order.Fill, By: "Ana Ruiz", Cell: 3, ML: 150.5, Note: "north end"}
	got := k.taken()
	if len(got) == 1 {
		want.ID = got[0].ID
	}
	if len(got) != 1 || !reflect.DeepEqual(got[0], want) || len(want.ID) != 36 {
		t.Errorf("orders %+v, want %+v", got, want)
	}
}

// TestBridge: a Mosquitto on the Pi forwards everything to the plant's, and
// commands back.
func TestBridge(t *testing.T) {
	p := startPlant(t)
	local := &mosquitto{}
	local.whole = func(port string) string {
		text := p.config(t, "bridge.conf", "listener 1883 127.0.0.1", port)
		if !strings.Contains(text, "plant-broker.example:8883") {
			t.Fatal("bridge.conf names another broker")
		}
		return strings.Replace(text, "plant-broker.example:8883", p.addr(), 1)
	}
	local.start(t)
	t.Cleanup(func() { local.kill(t) })

	k, o := &clerk{}, newOutbox()
	o.add("bay-1", 5)
	seen, commander := p.subscribe(t, "display", "bayward/#"), p.connect(t, "maintenance")
	c := newClient(t, Options{
		Brokers: []string{"tcp://" + local.addr()}, Outbox: o, Bays: []string{"bay-1"}, Submit: k.submit,
	})
	c.State("bay-1", testView(), testWall())
	runClient(t, c)
	got := map[string]int{}
	for got["event"] < 5 || got["state"] == 0 || got["status"] == 0 {
		select {
		case m := <-seen:
			got[m.Topic()[strings.LastIndex(m.Topic(), "/")+1:]]++
		case <-time.After(patience):
			t.Fatalf("got %v", got)
		}
	}
	hold, err := json.Marshal(map[string]any{"v": 1, "id": "h-1", "order": "hold", "by": "A"})
	if err != nil {
		t.Fatal(err)
	}
	finish(t, commander.Publish(testTopics.Command("bay-1"), 1, false, hold))
	await(t, seen, testTopics.Response("bay-1"), `"done"`)
	if n := len(k.taken()); n != 1 {
		t.Errorf("%d orders", n)
	}
}
