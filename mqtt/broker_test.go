package mqtt

import (
	"context"
	"encoding/json"
	"flag"
	"math/rand/v2"
	"net"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

var soak = flag.Int("soak", 1500, "events in the test with cuts and kills")

// TestLifeOnABroker follows an agent through connection, cut, reconnection and
// stop, as a reader sees it.
func TestLifeOnABroker(t *testing.T) {
	eachBroker(t, func(t *testing.T, b testBroker) {
		o, p := newOutbox(), newProxy(t, b.addr())
		c := newClient(t, Options{Brokers: []string{p.url()}, Outbox: o})
		c.State("bay-1", testView(), testWall())
		c.Notice("bay-1", Notice{Kind: "ready-to-water", State: Raised})
		got := subscribe(t, b.addr(), "bayward/#", nil)
		stop := runClient(t, c)
		status := testTopics.Status()
		await(t, got, status, `"state":"online"`)
		await(t, got, testTopics.Notice("bay-1"), `"raised"`)
		await(t, got, testTopics.State("bay-1"), `"stage":"waiting"`)

		v := testView()
		v.Stage = "charging"
		c.State("bay-1", v, testWall())
		await(t, got, testTopics.State("bay-1"), `"stage":"charging"`)
		o.add("bay-1", 3)
		c.Wake()
		for _, seq := range []string{`"seq":1,`, `"seq":2,`, `"seq":3,`} {
			await(t, got, testTopics.Event("bay-1"), seq)
		}

		o.awaitCursor("bay-1", 3)

		p.lead("") // cut: the broker sends the will
		await(t, got, status, `"reason":"connection-lost"`)
		o.add("bay-1", 1) // while we are away
		p.lead(b.addr())
		await(t, got, status, `"state":"online"`)
		await(t, got, testTopics.State("bay-1"), `"stage":"charging"`)
		await(t, got, testTopics.Event("bay-1"), `"seq":4,`)
		o.awaitCursor("bay-1", 4)
		stop()
		await(t, got, status, `"reason":"shutdown"`)

		// A later subscriber gets what is retained, and no events.
		late := subscribe(t, b.addr(), "bayward/#", func(o *paho.ClientOptions) { o.SetClientID("late") })
		want := map[string]string{
			status: `"shutdown"`, testTopics.State("bay-1"): `"charging"`, testTopics.Notice("bay-1"): `"raised"`,
		}
		for range len(want) {
			m := <-late
			if part := want[m.Topic()]; part == "" || !m.Retained() || !strings.Contains(string(m.Payload()), part) {
				t.Errorf("retained %v: %s %s", m.Retained(), m.Topic(), m.Payload())
			}
		}
		if s := c.Stats(); s.Connected || s.Connects != 2 || s.Drops != 1 || s.EventsSent != 4 {
			t.Errorf("stats %+v", s)
		}
	})
}

// follower checks events as they come: for each bay the next number, or one that
// has come before.
type follower struct {
	t       *testing.T
	events  <-chan arrival
	last    map[string]uint64
	repeats int
}

// next reads one event, and reports whether there was one.
func (f *follower) next() bool {
	f.t.Helper()
	select {
	case m, open := <-f.events:
		if open {
			f.take(m)
		}
		return open
	case <-time.After(patience):
		f.t.Fatalf("%d of %d events came, then none", f.total(), *soak)
		return false
	}
}

func (f *follower) take(m arrival) {
	f.t.Helper()
	var e struct {
		Bay string
		Seq uint64
	}
	if err := json.Unmarshal(m.payload, &e); err != nil || m.topic != testTopics.Event(e.Bay) {
		f.t.Fatalf("%s: %s: %v", m.topic, m.payload, err)
	}
	if e.Seq > f.last[e.Bay]+1 || e.Seq == 0 {
		f.t.Fatalf("%s: number %d after %d: lost or out of order", e.Bay, e.Seq, f.last[e.Bay])
	}
	if e.Seq <= f.last[e.Bay] {
		f.repeats++
	}
	f.last[e.Bay] = max(f.last[e.Bay], e.Seq)
}

func (f *follower) total() (n int) {
	for _, last := range f.last {
		n += int(last)
	}
	return n
}

// TestEventsThroughCutsAndKills cuts the wire and kills the broker at random
// moments during a stream of events. None may be lost or arrive out of order.
// The full form is: go test ./mqtt -run Kills -soak 10000
func TestEventsThroughCutsAndKills(t *testing.T) {
	eachBroker(t, func(t *testing.T, b testBroker) {
		seed := rand.Uint64()
		t.Logf("seed %d", seed)
		rnd := rand.New(rand.NewPCG(seed, 0))
		bays := []string{"bay-1", "bay-2", "bay-3"}
		o, p := newOutbox(), newProxy(t, b.addr())
		c := newClient(t, Options{Brokers: []string{p.url()}, Outbox: o})
		dials := countDials(c)
		f := follower{t: t, last: map[string]uint64{}, events: read(t, b.addr(), "bayward/+/+/+/event")}
		runClient(t, c)
		cuts, kills := 0, 0
		for added := 0; f.total() < *soak; {
			n := min(rnd.IntN(200), *soak-added)
			o.add(bays[rnd.IntN(3)], n)
			added += n
			c.Wake()
			for target := min(added, f.total()+1+rnd.IntN(100)); f.total() < target; {
				f.next()
			}
			switch rnd.IntN(8) {
			case 0, 1:
				cuts++
				p.lead(b.addr())
			case 2:
				kills++
				killAndStart(t, b, p, &f, dials, func() int { return sentTotal(o, bays) })
			}
		}
		for _, name := range bays {
			o.awaitCursor(name, f.last[name])
		}
		t.Logf("figure: events over %d wire cuts and %d kills of the broker (%s) %d, lost 0, out of order 0, repeats %d", cuts, kills, filepath.Base(t.Name()), f.total(), f.repeats)
		if cuts+kills == 0 {
			t.Error("nothing was cut: the test is broken")
		}
	})
}

// countDials signals whenever the client begins to connect: it has finished with
// the previous connection then.
func countDials(c *Client) <-chan struct{} {
	began, dial := make(chan struct{}, 1), c.dial
	c.dial = func(ctx context.Context, u *url.URL, will []byte) (peer, error) {
		select {
		case began <- struct{}{}:
		default:
		}
		return dial(ctx, u, will)
	}
	return began
}

// killAndStart replaces the broker. The wire stays cut until the reader is back,
// or it would miss events.
func killAndStart(t *testing.T, b testBroker, p *proxy, f *follower, dials <-chan struct{}, sent func() int) {
	t.Helper()
	if b.forgets() { // read on to the outbox's cursor
		p.lead("")
		for len(dials) > 0 {
			<-dials
		}
		<-dials
		for f.total() < sent() {
			f.next()
		}
	}
	b.kill(t)
	p.lead("")
	for f.next() { // what the broker had passed on
	}
	b.start(t)
	f.events = read(t, b.addr(), "bayward/+/+/+/event")
	p.lead(b.addr())
}

func sentTotal(o *memoryOutbox, bays []string) (n int) {
	for _, name := range bays {
		n += int(o.cursor(name))
	}
	return n
}

// TestOrdinarySubscriber reads with the broker's own command-line client, as in
// README.md.
func TestOrdinarySubscriber(t *testing.T) {
	program := needProgram(t, "mosquitto_sub")
	b := startMosquitto(t)
	o := newOutbox()
	c := newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: o})
	c.State("bay-1", testView(), testWall())
	o.add("bay-1", 1)
	runClient(t, c)
	o.awaitCursor("bay-1", 1) // then status and state are there as well
	host, port, _ := net.SplitHostPort(b.addr())
	out, err := exec.CommandContext(t.Context(), program, "-h", host, "-p", port, "-t", "bayward/#", "-v", "-q", "1", "-C", "2", "-W", "60").Output()
	if err != nil {
		t.Fatalf("mosquitto_sub: %v", err)
	}
	state, err := stateJSON(testView(), testWall())
	if err != nil {
		t.Fatal(err)
	}
	if want := testTopics.State("bay-1") + " " + string(state) + "\n"; !strings.Contains(string(out), want) {
		t.Errorf("got\n%s\nwant in it\n%s", out, want)
	}
	if want := testTopics.Status() + ` {"v":1,"state":"online",`; !strings.Contains(string(out), want) {
		t.Errorf("got\n%s\nwant in it\n%s", out, want)
	}
}
