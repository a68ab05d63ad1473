package mqtt

import (
	"log/slog"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

// TestEventsThatDoNotComeBack: a broker acknowledges events and drops them. The outbox
// keeps them, the log says so once, one event is tried again every five minutes, and all
// are sent when the right is there.
func TestEventsThatDoNotComeBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, p := newOutbox(), newPeer()
		o.add("bay-1", 3)
		p.drop(true)
		var log strings.Builder
		c := newClient(t, Options{Outbox: o, Log: slog.New(slog.NewTextHandler(&log, nil))})
		c.dial = dialPeers(p)
		stop := runClient(t, c)
		tried := func() int { return strings.Count(p.told(), "bay-1/event") }
		synctest.Wait()
		if !c.EventsProven() {
			t.Error("unproven before the time is over")
		}
		time.Sleep(21 * time.Second)
		synctest.Wait()
		if c.EventsProven() || o.cursor("bay-1") != 0 || tried() != 3 {
			t.Errorf("proven %v, cursor %d, %d messages", c.EventsProven(), o.cursor("bay-1"), tried())
		}
		o.add("bay-1", 1)
		c.Wake()
		time.Sleep(4 * time.Minute)
		synctest.Wait()
		if tried() != 3 {
			t.Errorf("%d messages before the next try", tried())
		}
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		if tried() != 4 || o.cursor("bay-1") != 0 {
			t.Errorf("%d messages, cursor %d after the next try", tried(), o.cursor("bay-1"))
		}
		p.drop(false)
		time.Sleep(11 * time.Minute)
		synctest.Wait()
		if !c.EventsProven() || o.cursor("bay-1") != 4 {
			t.Errorf("with the right: proven %v, cursor %d", c.EventsProven(), o.cursor("bay-1"))
		}
		stop()
		if n := strings.Count(log.String(), "access list"); n != 1 {
			t.Errorf("told %d times: %s", n, &log)
		}
	})
}

// TestOthersEventsProveNothing: only the very bytes that were sent count.
func TestOthersEventsProveNothing(t *testing.T) {
	var e echoes
	e.take("t", inbound{payload: []byte("before")})
	e.expect([]message{{topic: "t", payload: []byte("a")}, {topic: "t", payload: []byte("b")}, {topic: "t", payload: make([]byte, maxPacket)}})
	for _, row := range []struct {
		topic, payload string
		want           int
	}{{"t", "c", 0}, {"u", "a", 0}, {"t", "b", 0}, {"t", "b", 0}, {"t", "a", 3}} {
		e.take(row.topic, inbound{payload: []byte(row.payload)})
		if got := e.proven(); got != row.want {
			t.Errorf("after %s %s: %d proven, want %d", row.topic, row.payload, got, row.want)
		}
	}
}

// TestMissingRightOnMosquitto: the line that lets an agent write its events is taken out
// of the access list, and so is, in another life, the one that lets it read them. Nothing
// is lost, and everything comes once the line is back.
func TestMissingRightOnMosquitto(t *testing.T) {
	const line = "topic readwrite bayward/quarry-road/shed-2/+/event\n"
	for name, instead := range map[string]string{
		"write": "topic read bayward/quarry-road/shed-2/+/event\n",
		"read":  "topic write bayward/quarry-road/shed-2/+/event\n",
		"both":  "",
	} {
		t.Run(name, func(t *testing.T) {
			p := startPlantWith(t, func(acl string) string {
				if !strings.Contains(acl, line) {
					t.Fatal("the deployed access list has another line")
				}
				return strings.Replace(acl, line, instead, 1)
			})
			o := newOutbox()
			o.add("bay-1", 5)
			opt := p.as("shed-2.quarry-road")
			opt.Outbox = o
			told := make(chan struct{})
			opt.Log = slog.New(slog.NewTextHandler(&onLine{part: "access list", then: sync.OnceFunc(func() { close(told) })}, nil))
			seen := p.subscribe(t, "display", "bayward/+/+/+/event")
			c := newClient(t, opt)
			c.echoWithin, c.echoRetry = 300*time.Millisecond, 100*time.Millisecond
			runClient(t, c)
			select {
			case <-told:
			case <-time.After(patience):
				t.Fatal("nothing is told")
			}
			if n := o.cursor("bay-1"); n != 0 || c.EventsProven() {
				t.Fatalf("the outbox let %d events go, proven %v", n, c.EventsProven())
			}
			p.allow(t, func(acl string) string { return acl })
			if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil { // it reads the list again
				t.Fatal(err)
			}
			o.awaitCursor("bay-1", 5)
			for _, seq := range []string{`"seq":1,`, `"seq":2,`, `"seq":3,`, `"seq":4,`, `"seq":5,`} {
				await(t, seen, testTopics.Event("bay-1"), seq)
			}
		})
	}
}

// onLine calls a function when a part of a line is written.
type onLine struct {
	part string
	then func()
}

func (o *onLine) Write(b []byte) (int, error) {
	if strings.Contains(string(b), o.part) {
		o.then()
	}
	return len(b), nil
}
