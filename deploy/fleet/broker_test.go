package main

import (
	"bufio"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// patience is how long a test waits for what must come.
const patience = time.Minute

// startBroker starts the real broker with the files that a run wrote for it, on a free
// port.
func startBroker(t *testing.T, out string) (address string) {
	t.Helper()
	program, etc := needProgram(t, "mosquitto"), filepath.Join(out, "servers/broker/etc/mosquitto/")
	conf := readAll(t, filepath.Join(etc, "conf.d/bayward.conf"))
	require.Contains(t, conf, "\nlistener 8883\n")
	for range 20 { // a port that was free a moment ago may be taken by now
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		address = l.Addr().String()
		require.NoError(t, l.Close())
		_, port, _ := net.SplitHostPort(address)
		file := filepath.Join(t.TempDir(), "mosquitto.conf")
		text := strings.NewReplacer("listener 8883", "listener "+port+" 127.0.0.1", "/etc/mosquitto/", etc+"/").Replace(conf)
		require.NoError(t, os.WriteFile(file, []byte("user root\n"+text), 0o600)) // keys are the owner's
		if brokerRuns(t, exec.Command(program, "-c", file)) {
			return address
		}
	}
	t.Fatal("mosquitto does not start")
	return ""
}

// brokerRuns starts the broker and waits until it says that it runs.
func brokerRuns(t *testing.T, cmd *exec.Cmd) bool {
	t.Helper()
	log, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	lines, drained := bufio.NewScanner(log), make(chan struct{})
	for lines.Scan() {
		if !strings.HasSuffix(lines.Text(), " running") {
			continue
		}
		go func() {
			defer close(drained)
			for lines.Scan() { // a full pipe would stop the broker
			}
		}()
		t.Cleanup(func() {
			_ = cmd.Process.Kill()
			<-drained
			_ = cmd.Wait()
		})
		return true
	}
	_ = cmd.Wait()
	return false
}

// connect is a client with the certificate of a run.
func connect(t *testing.T, address, authority, pair string) (paho.Client, error) {
	t.Helper()
	cert, err := tls.LoadX509KeyPair(pair+".pem", pair+"-key.pem")
	require.NoError(t, err)
	pool := x509.NewCertPool()
	require.True(t, pool.AppendCertsFromPEM([]byte(readAll(t, authority))))
	c := paho.NewClient(paho.NewClientOptions().AddBroker("ssl://" + address).SetClientID(pair).SetProtocolVersion(4).SetAutoReconnect(false).
		SetTLSConfig(&tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{cert}, RootCAs: pool, ServerName: "broker.quarry.example"}))
	t.Cleanup(func() { c.Disconnect(0) })
	token := c.Connect()
	require.True(t, token.WaitTimeout(patience))
	return c, token.Error()
}

// TestTheBrokersRights: what each may publish arrives and what it may not does not, at
// the real broker with the written files.
func TestTheBrokersRights(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, time.Now())
	address := startBroker(t, out)
	ca := filepath.Join(out, "authority/machines.pem")
	as := func(pair string) paho.Client {
		c, err := connect(t, address, ca, filepath.Join(out, pair))
		require.NoError(t, err)
		return c
	}
	shed2, hut := as("pis/quarry-road/shed-2/etc/bayward/mqtt"), as("pis/hill/hut/etc/bayward/mqtt")
	display, maintenance := as("clients/display/display"), as("clients/maintenance/maintenance")
	seen := listens(t, display, "bayward/#")
	spied := listens(t, hut, "#")
	orders := listens(t, shed2, "bayward/quarry-road/shed-2/+/command")
	others := listens(t, shed2, "bayward/quarry-road/+/status")

	n := 0
	publishes := func(by paho.Client, topic string) (got string) {
		n++
		finish(t, by.Publish(topic, 1, false, fmt.Sprint(n)))
		// A refused publication is acknowledged and dropped (MQTT 3.1.1, section 3.3.5), so
		// one that is allowed follows it, from the same client.
		marker := map[paho.Client]string{shed2: "bayward/quarry-road/shed-2/status", hut: "bayward/hill/hut/status", maintenance: "bayward/quarry-road/shed-2/marker/command"}[by]
		finish(t, by.Publish(marker, 1, false, "marker"))
		for {
			m := next(t, seen)
			if string(m.Payload()) == "marker" {
				return got
			}
			got = m.Topic()
		}
	}
	for _, c := range []struct {
		name  string
		by    paho.Client
		topic string
		may   bool
	}{
		{"its status", shed2, "bayward/quarry-road/shed-2/status", true},
		{"a state", shed2, "bayward/quarry-road/shed-2/bay-1/state", true},
		{"an event", shed2, "bayward/quarry-road/shed-2/bay-1/event", true},
		{"a notice", shed2, "bayward/quarry-road/shed-2/bay-1/notice", true},
		{"a response", shed2, "bayward/quarry-road/shed-2/bay-1/response", true},
		{"an order to itself", shed2, "bayward/quarry-road/shed-2/bay-1/command", false},
		{"another's state", shed2, "bayward/quarry-road/shed-3/bay-2/state", false},
		{"a status of another site", shed2, "bayward/hill/hut/status", false},
		{"the other site's own state", hut, "bayward/hill/hut/bay-1/state", true},
		{"the first site's order", hut, "bayward/quarry-road/shed-2/bay-1/command", false},
		{"an order that is forwarded", maintenance, "bayward/quarry-road/shed-2/bay-1/command", true},
		{"an order at a site that is not its own", maintenance, "bayward/hill/hut/bay-1/command", false},
		{"a state by who forwards orders", maintenance, "bayward/quarry-road/shed-2/bay-1/state", false},
	} {
		got := publishes(c.by, c.topic)
		if c.may {
			assert.Equal(t, c.topic, got, c.name)
		} else {
			assert.Empty(t, got, c.name)
		}
	}
	finish(t, display.Publish("bayward/quarry-road/shed-2/bay-1/command", 1, false, "forged"))
	finish(t, maintenance.Publish("bayward/quarry-road/shed-2/bay-1/command", 1, false, "last"))
	for m := next(t, orders); string(m.Payload()) != "last"; m = next(t, orders) {
		assert.NotEqual(t, "forged", string(m.Payload()), "who only reads forwards nothing")
	}
	assert.Equal(t, "bayward/quarry-road/shed-2/status", next(t, others).Topic(), "an agent follows its site")
	finish(t, hut.Publish("bayward/hill/hut/bay-1/event", 1, false, "end"))
	for m := next(t, spied); string(m.Payload()) != "end"; m = next(t, spied) {
		assert.True(t, strings.HasPrefix(m.Topic(), "bayward/hill/"), "another site's agent reads %s", m.Topic())
	}
}

// TestWhoLeavesIsLockedOut: an agent that is no longer in the file still has a
// certificate, and no right.
func TestWhoLeavesIsLockedOut(t *testing.T) {
	out, before := filepath.Join(t.TempDir(), "out"), filepath.Join(t.TempDir(), "before")
	runs(t, example, out, time.Now())
	require.NoError(t, os.CopyFS(before, os.DirFS(out)))
	runs(t, changed(t, "    - name: display            # only reads\n", ""), out, time.Now())
	address := startBroker(t, out)
	ca := filepath.Join(out, "authority/machines.pem")
	gone, err := connect(t, address, ca, filepath.Join(before, "clients/display/display"))
	require.NoError(t, err)
	gone.Subscribe("bayward/#", 1, nil)
	stranger := make(chan paho.Message, 10)
	gone.AddRoute("#", func(_ paho.Client, m paho.Message) { stranger <- m })
	shed2, err := connect(t, address, ca, filepath.Join(out, "pis/quarry-road/shed-2/etc/bayward/mqtt"))
	require.NoError(t, err)
	echo := listens(t, shed2, "bayward/quarry-road/shed-2/+/event")
	finish(t, shed2.Publish("bayward/quarry-road/shed-2/bay-1/event", 1, false, "x"))
	next(t, echo)
	assert.Empty(t, stranger)

	other := filepath.Join(t.TempDir(), "out")
	runs(t, example, other, time.Now())
	_, err = connect(t, address, ca, filepath.Join(other, "clients/display/display"))
	assert.Error(t, err, "a certificate of another authority")
}

func listens(t *testing.T, c paho.Client, filter string) <-chan paho.Message {
	t.Helper()
	got := make(chan paho.Message, 1000)
	finish(t, c.Subscribe(filter, 1, func(_ paho.Client, m paho.Message) { got <- m }))
	return got
}

func finish(t *testing.T, token paho.Token) {
	t.Helper()
	require.True(t, token.WaitTimeout(patience), "no acknowledgement")
	require.NoError(t, token.Error())
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
