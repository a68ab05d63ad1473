package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"bayward/agent/bay"
	"bayward/agent/order"
)

// TestCommandsThroughABroker: good, bad and huge commands are answered, and the
// connection stays up.
func TestCommandsThroughABroker(t *testing.T) {
	eachBroker(t, func(t *testing.T, b testBroker) {
		k := &clerk{}
		topic, answers := testTopics.Command("bay-1"), testTopics.Response("bay-1")
		got := subscribe(t, b.addr(), "bayward/#", nil)
		sender := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.addr()).SetClientID("sender").SetAutoReconnect(false))
		finish(t, sender.Connect())
		t.Cleanup(func() { sender.Disconnect(0) })
		// A retained command from long ago.
		finish(t, sender.Publish(topic, 1, true, strings.Replace(openHold, "h-1", "retained", 1)))
		await(t, got, topic, "retained") // a broker acknowledges it before it has sent it to those who are there

		c := newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: newOutbox(), Bays: []string{"bay-1"}, Submit: k.submit})
		c.State("bay-1", testView(), testWall())
		runClient(t, c)
		await(t, got, answers, `"reason":"retained"`)
		for _, x := range []struct{ payload, says string }{
			{`{"v":1,"id":"h-1","order":"hold","by":"A"}`, `"result":"done"`},
			{`{"v":1,"id":"h-1","order":"hold","by":"A"}`, `"id":"h-1","order":"hold","by":"A","result":"done"`},
			{`{"v":1,"id":"h-2","order":"release","by":"A"}`, `"reason":"unsigned"`},
			{`nonsense`, `"reason":"bad-json"`},
			{strings.Repeat("x", maxCommandBytes+1), `"reason":"too-large"`},
			{strings.Repeat("x", 40_000), `"reason":"too-large"`},
		} {
			finish(t, sender.Publish(topic, 1, false, x.payload))
			await(t, got, answers, x.says)
		}
		finish(t, sender.Publish(topic, 1, false, `{"v":1,"id":"s-1","order":"state","by":"A"}`))
		await(t, got, testTopics.State("bay-1"), `"waiting"`)
		finish(t, sender.Publish(testTopics.Command("bay-7"), 1, false, `{}`)) // there is no such bay
		if n := c.CommandsRefused(); n != 5 {                                  // the retained one, and four above
			t.Errorf("%d commands are counted as refused, want 5", n)
		}
		if s := c.Stats(); s.Drops != 0 || len(k.taken()) != 1 {
			t.Errorf("stats %+v, orders %+v", s, k.taken())
		}
	})
}

// A hold that is slow at the bay does not delay events.
func TestSlowBayKeepsNothingBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, p := newOutbox(), newPeer()
		c := newClient(t, Options{Outbox: o, Bays: []string{"bay-1"}, Submit: func(ctx context.Context, _ string, _ order.Order) (bay.Event, error) {
			<-ctx.Done()
			return bay.Event{}, ctx.Err()
		}})
		c.dial = dialPeers(p)
		runClient(t, c)
		synctest.Wait() // for the birth
		c.desks["bay-1"].take(inbound{payload: []byte(`{"v":1,"id":"h","order":"hold","by":"A"}`)})
		o.add("bay-1", 3)
		c.Wake()
		synctest.Wait() // for the events
		if o.cursor("bay-1") != 3 {
			t.Error("events wait for the bay")
		}
		time.Sleep(answerWithin)
		synctest.Wait() // for the answer
		if !strings.Contains(p.last(), `"result":"unknown","reason":"no-answer"`) {
			t.Errorf("last %s", p.last())
		}
	})
}

// An answer that does not arrive is sent on the next connection.
func TestAnswerSurvivesALoss(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		first, second := newPeer(), newPeer()
		first.fate = func(n int, _ message) (bool, error) { return n == 1, nil } // only the birth
		c := newClient(t, Options{Outbox: newOutbox(), Bays: []string{"bay-1"}, Submit: (&clerk{}).submit})
		c.dial = dialPeers(first, second)
		runClient(t, c)
		synctest.Wait() // for the birth
		c.desks["bay-1"].take(inbound{payload: []byte(`{"v":1,"id":"h","order":"hold","by":"A"}`)})
		synctest.Wait() // for the answer to be in flight
		close(first.lost)
		time.Sleep(time.Minute)
		if second.told() != "status bay-1/response" {
			t.Errorf("second connection: %s", second.told())
		}
	})
}

// Brokers are tried in their order, and the one that answers is kept until it
// is lost.
func TestBrokersInOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newClient(t, Options{
			Outbox: newOutbox(), Brokers: []string{"tcp://a", "ssl://b", "ws://c/mqtt"}, BackOff: func(int) time.Duration { return time.Second },
		})
		var mu sync.Mutex // guards the next two
		alive := map[string]*fakePeer{}
		var tried []string
		set := func(name string, p *fakePeer) {
			mu.Lock()
			defer mu.Unlock()
			alive[name] = p
		}
		c.dial = func(_ context.Context, u *url.URL, _ []byte) (peer, error) {
			mu.Lock()
			defer mu.Unlock()
			tried = append(tried, u.Hostname())
			if p := alive[u.Hostname()]; p != nil {
				return p, nil
			}
			return nil, errors.New("refused")
		}
		step := func(want string) {
			t.Helper()
			time.Sleep(time.Second)
			synctest.Wait() // for the connection to be used
			mu.Lock()
			defer mu.Unlock()
			if got := strings.Join(tried, " "); got != want {
				t.Errorf("tried %q, want %q", got, want)
			}
			tried = nil
		}
		a, b := newPeer(), newPeer()
		set("b", b)
		runClient(t, c)
		step("a b")
		set("a", a)
		step("") // b is kept
		close(b.lost)
		step("a")
		set("a", nil)
		set("b", nil)
		close(a.lost)
		step("a b c")
	})
}

// TestClientCertificate: the broker gets the certificate from the files, which are
// read at each connection.
func TestClientCertificate(t *testing.T) {
	a := newAuthority(t)
	cert, key := a.server(t, time.Now().Add(time.Hour))
	b := startMosquitto(t, "allow_anonymous true", "cafile "+a.file, "certfile "+cert, "keyfile "+key, "require_certificate true")
	o := Options{Brokers: []string{"ssl://" + b.addr()}, CAFile: a.file, CertFile: cert, KeyFile: key}
	if err := connectOnce(t, o, patience); err != nil {
		t.Error(err)
	}
	o.KeyFile = key + ".missing"
	if err := connectOnce(t, o, patience); err == nil || !strings.Contains(err.Error(), "client certificate") {
		t.Errorf("without its key: %v", err)
	}
	o.CertFile, o.KeyFile = "", ""
	if err := connectOnce(t, o, patience); err == nil {
		t.Error("connected without a certificate: the test is broken")
	}
}

// TestQoSOfEachTopic: a message is sent with the quality that was set.
func TestQoSOfEachTopic(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, p := newOutbox(), newPeer()
		o.add("bay-1", 1)
		c := newClient(t, Options{
			Outbox: o, QoS: QoS{Status: 2, State: 0, Event: 1, Notice: 2, Command: 1, Response: 0},
			Bays: []string{"bay-1"}, Submit: (&clerk{}).submit,
		})
		c.dial = dialPeers(p)
		c.State("bay-1", testView(), testWall())
		c.Notice("bay-1", Notice{Kind: "ready-to-water", State: Raised})
		c.desks["bay-1"].take(inbound{payload: []byte(`{"v":1,"id":"h","order":"hold","by":"A"}`)})
		stop := runClient(t, c)
		synctest.Wait() // for all to be published
		stop()
		got := map[string]byte{}
		for _, m := range p.got {
			got[m.topic[strings.LastIndex(m.topic, "/")+1:]] = m.qos
		}
		want := map[string]byte{"status": 2, "state": 0, "event": 1, "notice": 2, "response": 0}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("got %v, want %v", got, want)
		}
	})
}

func TestBadOptions(t *testing.T) {
	known, _ := person("a")
	blank := known
	blank.Name = " a"
	good := Options{Topics: testTopics, Brokers: []string{"tcp://h"}, Outbox: newOutbox(), Log: quiet()}
	for says, change := range map[string]func(*Options){
		"no broker":           func(o *Options) { o.Brokers = nil },
		"needs both":          func(o *Options) { o.CertFile = "c" },
		"quality of service":  func(o *Options) { o.QoS = QoS{Status: 1, Event: 0, State: 1} },
		"in flight":           func(o *Options) { o.MaxInFlight = 65 },
		"keep alive":          func(o *Options) { o.KeepAlive = time.Second },
		"has no key":          func(o *Options) { o.People = []Person{{Name: "a"}} },
		"printable":           func(o *Options) { o.People = []Person{blank} },
		"two people have the": func(o *Options) { o.People = []Person{known, known} },
	} {
		o := good
		change(&o)
		if _, err := New(o); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("got %v, want %q in it", err, says)
		}
	}
	if _, err := New(good); err != nil {
		t.Error(err)
	}
}
