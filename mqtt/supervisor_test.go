package mqtt

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// fakeToken ends when the script ends it.
type fakeToken struct {
	done chan struct{}
	err  error
}

func (t *fakeToken) Done() <-chan struct{} { return t.done }
func (t *fakeToken) Error() error          { return t.err }

// fakePeer is a scripted connection. The zero fate acknowledges at once.
type fakePeer struct {
	fate func(n int, m message) (ends bool, err error) // of the n-th message, from 1
	lost chan struct{}

	mu   sync.Mutex // guards the fields below
	got  []message
	ends string // "left" or "aborted"
	hear func(string, inbound)
	deaf bool // acknowledged events do not come back
}

func newPeer() *fakePeer { return &fakePeer{lost: make(chan struct{})} }

func (p *fakePeer) publish(m message) token {
	p.mu.Lock()
	p.got = append(p.got, m)
	n := len(p.got)
	p.mu.Unlock()
	tok := &fakeToken{done: make(chan struct{})}
	ends := true
	if p.fate != nil {
		ends, tok.err = p.fate(n, m)
	}
	if ends {
		close(tok.done)
	}
	if ends && tok.err == nil && p.hear != nil && !p.dropsEvents() {
		p.hear(m.topic, inbound{payload: m.payload})
	}
	return tok
}

func (p *fakePeer) dropsEvents() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.deaf
}

// drop decides whether acknowledged events are dropped, as with a right that is missing.
func (p *fakePeer) drop(events bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.deaf = events
}

func (p *fakePeer) subscribe(filter string, _ byte, take func(string, inbound)) (token, func() bool) {
	if strings.HasSuffix(filter, "/event") {
		p.hear = take
	}
	tok := &fakeToken{done: make(chan struct{})}
	close(tok.done)
	return tok, func() bool { return true }
}

func (p *fakePeer) gone() <-chan struct{} { return p.lost }
func (p *fakePeer) cause() error          { return errors.New("lost") }
func (p *fakePeer) leave()                { p.end("left") }
func (p *fakePeer) abort()                { p.end("aborted") }

func (p *fakePeer) end(how string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.ends = how
}

func (p *fakePeer) ended() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.ends
}

// told returns the last parts of the published topics, in order of publication.
func (p *fakePeer) told() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out []string
	for _, m := range p.got {
		out = append(out, strings.TrimPrefix(m.topic, "bayward/quarry-road/shed-2/"))
	}
	return strings.Join(out, " ")
}

func (p *fakePeer) last() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return string(p.got[len(p.got)-1].payload)
}

// dialPeers returns peers in turn; nil means a failed connection, and so does
// every call after the last.
func dialPeers(peers ...*fakePeer) func(context.Context, *url.URL, []byte) (peer, error) {
	return func(context.Context, *url.URL, []byte) (peer, error) {
		if len(peers) == 0 || peers[0] == nil {
			peers = peers[min(1, len(peers)):]
			return nil, errors.New("refused")
		}
		p := peers[0]
		peers = peers[1:]
		return p, nil
	}
}

func TestOrderOfAConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, p := newOutbox(), newPeer()
		o.add("bay-1", 2)
		c := newClient(t, Options{Outbox: o})
		c.dial = dialPeers(p)
		c.Notice("bay-1", Notice{Kind: "ready-to-water"})
		c.State("bay-2", testView(), testWall())
		c.State("bay-1", testView(), testWall())
		stop := runClient(t, c)
		synctest.Wait() // for the client to be idle
		if !c.Connected() {
			t.Error("not connected")
		}
		stop()
		want := "status bay-1/notice bay-1/state bay-2/state" + strings.Repeat(" bay-1/event", 2) + " status"
		if p.told() != want {
			t.Errorf("published %q, want %q", p.told(), want)
		}
		for i, m := range p.got {
			if event := strings.HasSuffix(m.topic, "/event"); m.retained == event {
				t.Errorf("message %d on %s: retained %v", i, m.topic, m.retained)
			}
		}
		if !strings.Contains(string(p.got[0].payload), `"online"`) || !strings.Contains(p.last(), `"shutdown"`) {
			t.Errorf("first %s, last %s", p.got[0].payload, p.last())
		}
		if p.ended() != "left" || c.Connected() {
			t.Errorf("ended %q, connected %v", p.ended(), c.Connected())
		}
	})
}

func TestBackOffGrowsAndResets(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		stable, brief := newPeer(), newPeer()
		var asked []int
		c := newClient(t, Options{Outbox: newOutbox(), BackOff: func(n int) time.Duration {
			asked = append(asked, n)
			return time.Second
		}})
		c.dial = dialPeers(nil, nil, brief, nil, stable, nil, nil)
		time.AfterFunc(2*time.Second+10*time.Second, func() { close(brief.lost) })   // up for 10 s
		time.AfterFunc(14*time.Second+61*time.Second, func() { close(stable.lost) }) // up for 61 s
		stop := runClient(t, c)
		time.Sleep(77 * time.Second)
		synctest.Wait() // for the last failure to be noted
		stop()
		if want := []int{1, 2, 3, 4, 1, 2, 3}; !slices.Equal(asked, want) {
			t.Errorf("failures in a row %v, want %v", asked, want)
		}
		if s := c.Stats(); s.Connects != 2 || s.Drops != 2 {
			t.Errorf("stats %+v", s)
		}
	})
}

// Full jitter: each wait is a random part of a ceiling that doubles from 1 s
// to 60 s.
func TestFullJitter(t *testing.T) {
	for n, ceiling := range map[int]time.Duration{
		-1: time.Second, 1: time.Second, 2: 2 * time.Second, 6: 32 * time.Second, 7: time.Minute, 1 << 30: time.Minute,
	} {
		var least, most = time.Hour, time.Duration(0)
		for range 2000 {
			d := fullJitter(n)
			least, most = min(least, d), max(most, d)
		}
		if least < 0 || most >= ceiling || least > ceiling/20 || most < ceiling-ceiling/20 {
			t.Errorf("failure %d: waits from %v to %v, want all of 0 to %v", n, least, most, ceiling)
		}
	}
}

// After a message fails, no later one of the window is sent, and only those
// acknowledged before it count as sent.
func TestFailureInTheWindow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, first, second := newOutbox(), newPeer(), newPeer()
		o.add("bay-1", 10)
		first.fate = func(n int, _ message) (bool, error) {
			if n == 5 { // birth and three events succeeded
				return true, errors.New("write: broken pipe")
			}
			return true, nil
		}
		c := newClient(t, Options{Outbox: o})
		c.dial = dialPeers(first, second)
		runClient(t, c)
		time.Sleep(time.Second)
		if got := strings.Count(first.told(), "event"); got != 4 {
			t.Errorf("%d events went to the failing connection, want 4", got)
		}
		if first.ended() != "aborted" {
			t.Errorf("failing connection ended %q", first.ended())
		}
		if got := strings.Count(second.told(), "event"); got != 7 || o.cursor("bay-1") != 10 {
			t.Errorf("%d events went to the next, cursor %d; want 7 and 10", got, o.cursor("bay-1"))
		}
	})
}

func TestBrokerThatNeverAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, p := newOutbox(), newPeer()
		o.add("bay-1", 1)
		p.fate = func(n int, _ message) (bool, error) { return n == 1, nil }
		c := newClient(t, Options{Outbox: o})
		c.dial = dialPeers(p)
		runClient(t, c)
		time.Sleep(ackWithin - time.Second)
		if p.ended() != "" {
			t.Error("given up too soon")
		}
		time.Sleep(2 * time.Second)
		if p.ended() != "aborted" || o.cursor("bay-1") != 0 || c.Connected() {
			t.Errorf("ended %q, cursor %d, connected %v", p.ended(), o.cursor("bay-1"), c.Connected())
		}
	})
}

// A token that was made while the connection broke may never end.
func TestTokenThatNeverEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, first, second := newOutbox(), newPeer(), newPeer()
		o.add("bay-1", 40)
		first.fate = func(n int, _ message) (bool, error) {
			if n == 10 {
				close(first.lost)
			}
			return n < 5, nil
		}
		c := newClient(t, Options{Outbox: o})
		c.dial = dialPeers(first, second)
		start := time.Now()
		runClient(t, c)
		o.awaitCursor("bay-1", 40)
		if took := time.Since(start); took > time.Second {
			t.Errorf("took %v", took)
		}
	})
}

// After a loss the library may block Publish for its whole write timeout. The
// next connection does not wait for that.
func TestPublishThatIsHeld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, first, second := newOutbox(), newPeer(), newPeer()
		o.add("bay-1", 40)
		held := make(chan struct{})
		first.fate = func(n int, _ message) (bool, error) {
			if n == 10 {
				close(first.lost)
				<-held
			}
			return true, nil
		}
		c := newClient(t, Options{Outbox: o})
		c.dial = dialPeers(first, second)
		start := time.Now()
		stop := runClient(t, c)
		o.awaitCursor("bay-1", 40)
		if took := time.Since(start); took > time.Second {
			t.Errorf("took %v", took)
		}
		close(held)
		stop()
		if n := strings.Count(first.told(), "event"); n > 10 {
			t.Errorf("%d events went to a connection that was lost at the ninth", n)
		}
	})
}

func TestStopWithoutAnswerLeavesTheWill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPeer()
		p.fate = func(n int, _ message) (bool, error) { return n == 1, nil }
		c := newClient(t, Options{Outbox: newOutbox()})
		c.dial = dialPeers(p)
		stop := runClient(t, c)
		synctest.Wait() // for the birth
		start := time.Now()
		stop()
		if took := time.Since(start); took != 2*time.Second || p.ended() != "aborted" {
			t.Errorf("stop took %v and ended %q; want 2 s and aborted", took, p.ended())
		}
	})
}

func TestHandingOverNeverWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newClient(t, Options{Outbox: newOutbox()})
		c.dial = func(ctx context.Context, _ *url.URL, _ []byte) (peer, error) {
			<-ctx.Done() // a broker that accepts connections and never answers
			return nil, ctx.Err()
		}
		runClient(t, c)
		start := time.Now()
		for range 10_000 {
			c.State("bay-1", testView(), testWall())
			c.Notice("bay-1", Notice{Kind: "ready-to-water"})
			c.Wake()
		}
		if time.Since(start) != 0 {
			t.Errorf("waited %v", time.Since(start))
		}
	})
}

func TestStateGoesOutOnChangeAndSeldomElse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPeer()
		c := newClient(t, Options{Outbox: newOutbox()})
		c.dial = dialPeers(p)
		runClient(t, c)
		v := testView()
		var at []int
		for n := range 100 {
			before := strings.Count(p.told(), "state")
			v.PackV = ptr(24 + float64(n)/1000)
			if n == 40 {
				v.Stage = "charging"
			}
			c.State("bay-1", v, testWall())
			synctest.Wait() // for the publication
			if strings.Count(p.told(), "state") > before {
				at = append(at, n)
			}
			time.Sleep(time.Second)
		}
		if want := []int{0, 30, 40, 70}; !slices.Equal(at, want) {
			t.Errorf("published in second %v, want %v", at, want)
		}
	})
}

// TestEmptyOutboxIsNotQueriedAgain: a query of the logbook for each state would
// be its most expensive part. A new event, and a new connection, cause a query.
func TestEmptyOutboxIsNotQueriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, first, second := newOutbox(), newPeer(), newPeer()
		c := newClient(t, Options{Outbox: o})
		c.dial = dialPeers(first, second)
		runClient(t, c)
		for range 5 {
			c.State("bay-1", testView(), testWall())
			time.Sleep(time.Minute)
		}
		if n := o.looked(); n != 1 {
			t.Errorf("%d queries of an empty outbox, want one", n)
		}
		o.add("bay-1", 1)
		c.Wake()
		synctest.Wait()
		if n := o.looked(); o.cursor("bay-1") != 1 || n != 3 {
			t.Errorf("sent %d events, %d queries, want one for it and one for more", o.cursor("bay-1"), n)
		}
		o.add("bay-1", 1) // stored, and its signal lost with the connection
		close(first.lost)
		time.Sleep(time.Minute)
		if o.cursor("bay-1") != 2 {
			t.Error("a new connection did not query for events")
		}
	})
}

func TestOutboxThatFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		o, p := newOutbox(), newPeer()
		o.add("bay-1", 1)
		o.fail(errors.New("disk full"))
		c := newClient(t, Options{Outbox: o, Log: slog.New(slog.NewTextHandler(&log, nil))})
		c.dial = dialPeers(p)
		stop := runClient(t, c)
		time.Sleep(5 * time.Minute)
		if !c.Connected() {
			t.Error("a full disk ended the connection")
		}
		o.fail(nil)
		time.Sleep(diskRetry)
		synctest.Wait() // for the publication
		if o.cursor("bay-1") != 1 {
			t.Error("events are not sent once the disk works")
		}
		stop()
		if n := strings.Count(log.String(), "disk full"); n != 1 {
			t.Errorf("logged %d times:\n%s", n, log.String())
		}
	})
}

func TestSecondClientIsHintedAt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		peers := []*fakePeer{newPeer(), newPeer(), newPeer()}
		c := newClient(t, Options{Outbox: newOutbox(), Log: slog.New(slog.NewTextHandler(&log, nil))})
		c.dial = dialPeers(peers...)
		for i, p := range peers {
			time.AfterFunc(time.Duration(i+1)*time.Second, func() { close(p.lost) })
		}
		stop := runClient(t, c)
		time.Sleep(time.Minute)
		stop()
		if n := strings.Count(log.String(), "another client may use the same id"); n != 1 || !strings.Contains(log.String(), "bayward-quarry-road-shed-2") {
			t.Errorf("hinted %d times:\n%s", n, log.String())
		}
	})
}

func TestLibraryLog(t *testing.T) {
	var log bytes.Buffer
	LogTo(slog.New(slog.NewTextHandler(&log, nil)))
	t.Cleanup(func() { LogTo(nil) })
	l := libraryLog(slog.LevelError)
	l.Println("[client]", strings.Repeat("BUG ", 3)+"reconnection function is nil", nil)
	l.Printf("store %s\n", "broken")
	if got := log.String(); strings.Contains(got, "BUG") || !strings.Contains(got, `text="store broken"`) {
		t.Errorf("log: %s", got)
	}
}

// TestLibraryLogOfSeveralAgents: a new agent takes over the library's messages
// while another's client writes some. The race detector is the judge.
func TestLibraryLogOfSeveralAgents(*testing.T) {
	var both sync.WaitGroup
	for range 2 {
		both.Go(func() {
			for range 100 {
				LogTo(nil)
				hookLibrary()
				paho.ERROR.Println("the peer is gone")
			}
		})
	}
	both.Wait()
}
