package notify_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/notify"
)

// post is a way whose far end can fail.
type post struct {
	mu   sync.Mutex // guards the fields below
	err  error
	sent []string
	at   []time.Time
	try  []time.Time
}

func (*post) Name() string { return "post" }

func (p *post) Send(_ context.Context, m *notify.Message) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.try = append(p.try, time.Now())
	if p.err != nil {
		return p.err
	}
	p.sent = append(p.sent, m.ID+" "+m.State+" "+m.Text)
	p.at = append(p.at, time.Now())
	return nil
}

func (p *post) fail(err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.err = err
}

func (p *post) got() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string{}, p.sent...)
}

func news(id, state, text string) *notify.Message {
	return &notify.Message{ID: id, Kind: "ready-to-water", State: state, Text: text}
}

// running starts a sender on the bubble's clock, which begins at midnight UTC
// 2000-01-01.
func running(t *testing.T, o notify.Options) *notify.Sender {
	t.Helper()
	if o.Wall == nil {
		o.Wall = func() (time.Time, bool) { return time.Now().UTC(), true }
	}
	o.Log = slog.New(slog.DiscardHandler)
	s := notify.NewSender(o)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	return s
}

func TestRaisedOnceUpdatedSettled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &post{}
		s := running(t, notify.Options{Ways: []notify.Way{p}})
		s.Offer(news("a", "raised", "one"))
		s.Offer(news("b", "raised", "two"))
		synctest.Wait()
		s.Offer(news("a", "settled", "gone"))
		s.Offer(news("c", "settled", "never sent"))
		synctest.Wait()
		require.Equal(t, []string{"a raised one", "b raised two", "a settled gone"}, p.got())
		require.Equal(t, uint64(3), s.Counts()[0].Sent)
	})
}

// slow is a way whose far end answers late, when released.
type slow struct {
	answer chan error
	sent   chan string
}

func (*slow) Name() string { return "slow" }

func (s *slow) Send(_ context.Context, m *notify.Message) error {
	s.sent <- m.State
	return <-s.answer
}

// TestSettledWhileItIsBeingSent: a recipient of the notice gets its end, and others
// do not.
func TestSettledWhileItIsBeingSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := &slow{answer: make(chan error), sent: make(chan string, 9)}
		s := running(t, notify.Options{Ways: []notify.Way{w}})
		s.Offer(news("a", "raised", "x"))
		synctest.Wait()
		s.Offer(news("a", "settled", "x"))
		w.answer <- nil
		synctest.Wait()
		require.Equal(t, "raised", <-w.sent)
		require.Equal(t, "settled", <-w.sent)
		w.answer <- nil
		s.Offer(news("b", "raised", "x"))
		synctest.Wait()
		s.Offer(news("b", "settled", "x"))
		w.answer <- errors.New("gone")
		time.Sleep(time.Hour)
		synctest.Wait()
		require.Equal(t, "raised", <-w.sent)
		require.Empty(t, w.sent)
	})
}

// TestAServerThatIsGoneIsTriedAgain: with growing pauses of at most ten minutes,
// for days; then only the newest news of a notice is sent, and notices that came
// and went in the meantime are not.
func TestAServerThatIsGoneIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &post{err: errors.New("connection refused")}
		s := running(t, notify.Options{Ways: []notify.Way{p}})
		s.Offer(news("a", "raised", "old"))
		s.Offer(news("b", "raised", "came"))
		time.Sleep(24 * time.Hour)
		s.Offer(news("a", "raised", "new"))
		s.Offer(news("b", "settled", "went"))
		p.fail(nil)
		time.Sleep(11 * time.Minute)
		synctest.Wait()
		require.Equal(t, []string{"a raised new"}, p.got())
		for i := 2; i < len(p.try)-1; i++ {
			require.LessOrEqual(t, p.try[i].Sub(p.try[i-1]), 10*time.Minute)
		}
		require.Greater(t, len(p.try), 100)
		require.Less(t, len(p.try), 320, "a dead server is not flooded")
		c := s.Counts()[0]
		require.Equal(t, uint64(len(p.try)-1), c.Failed)
		require.Zero(t, c.Waiting)
	})
}

func TestARefusedMessageIsNotTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &post{err: fmt.Errorf("no such box: %w", notify.ErrRefused)}
		s := running(t, notify.Options{Ways: []notify.Way{p}})
		s.Offer(news("a", "raised", "x"))
		time.Sleep(time.Hour)
		synctest.Wait()
		require.Len(t, p.try, 1)
		require.Equal(t, uint64(1), s.Counts()[0].Refused)
	})
}

// TestOneDeadWayHoldsNoOther: nor does Offer ever wait.
func TestOneDeadWayHoldsNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dead, alive := &post{err: errors.New("gone")}, &post{}
		s := running(t, notify.Options{Ways: []notify.Way{dead, alive}})
		for i := range 200 {
			s.Offer(news(fmt.Sprint(i), "raised", "x"))
		}
		synctest.Wait()
		require.LessOrEqual(t, len(alive.got()), 200)
		require.Equal(t, 64, s.Counts()[0].Waiting)
		require.Equal(t, uint64(136), s.Counts()[0].Dropped)
	})
}

// TestQuietHours: from 20:00 to 06:00 only dangers are sent; the rest comes at six,
// as far as it still applies.
func TestQuietHours(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		quiet, ok := notify.ParseQuiet("20:00-06:00")
		require.True(t, ok)
		p := &post{}
		s := running(t, notify.Options{Ways: []notify.Way{p}, Quiet: quiet})
		time.Sleep(2 * time.Hour) // 02:00
		s.Offer(news("a", "raised", "waits"))
		s.Offer(news("b", "raised", "waits"))
		danger := news("c", "raised", "contactor")
		danger.Danger = true
		s.Offer(danger)
		time.Sleep(time.Hour)
		synctest.Wait()
		require.Equal(t, []string{"c raised contactor"}, p.got())
		s.Offer(news("b", "settled", "went"))
		time.Sleep(4 * time.Hour)
		synctest.Wait()
		require.Equal(t, []string{"c raised contactor", "a raised waits"}, p.got())
		require.Equal(t, 6, p.at[1].UTC().Hour())
	})
}

// TestAnUntrustedClockKeepsNothingBack: a Pi without the time has no quiet hours.
func TestAnUntrustedClockKeepsNothingBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		quiet, _ := notify.ParseQuiet("20:00-06:00")
		p := &post{}
		s := running(t, notify.Options{
			Ways: []notify.Way{p}, Quiet: quiet, Round: "00:10", Summary: func() notify.Message { return notify.Message{Text: "round"} },
			Wall: func() (time.Time, bool) { return time.Now().UTC(), false },
		})
		s.Offer(news("a", "raised", "x"))
		time.Sleep(48 * time.Hour)
		synctest.Wait()
		require.Equal(t, []string{"a raised x"}, p.got())
	})
}

// TestTheDailyRoundComesOnceADay: and not at once after a late start.
func TestTheDailyRoundComesOnceADay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(8 * time.Hour)
		p := &post{}
		running(t, notify.Options{Ways: []notify.Way{p}, Round: "06:30", Summary: func() notify.Message { return notify.Message{Text: "yard"} }})
		time.Sleep(22 * time.Hour)
		synctest.Wait()
		require.Empty(t, p.got(), "it is six")
		time.Sleep(49 * time.Hour)
		synctest.Wait()
		require.Equal(t, []string{"round raised yard", "round raised yard", "round raised yard"}, p.got())
		require.Equal(t, "06:30", p.at[0].UTC().Format("15:04"))
	})
}

func TestParseQuiet(t *testing.T) {
	at := func(s string) time.Time {
		t.Helper()
		x, err := time.Parse("15:04", s)
		require.NoError(t, err)
		return x
	}
	for _, row := range []struct{ text, now, holds string }{
		{"20:00-06:00", "19:59", "no"}, {"20:00-06:00", "20:00", "yes"}, {"20:00-06:00", "05:59", "yes"}, {"20:00-06:00", "06:00", "no"},
		{"12:00-13:00", "12:30", "yes"}, {"12:00-13:00", "13:00", "no"}, {"", "03:00", "no"},
	} {
		q, ok := notify.ParseQuiet(row.text)
		require.True(t, ok, row.text)
		require.Equal(t, row.holds == "yes", q.Holds(at(row.now)), "%s at %s", row.text, row.now)
	}
	for _, bad := range []string{"20-6", "20:00", "25:00-06:00", "06:00-06:00", "20:00-06:00 ", "-", "20:00–06:00"} {
		_, ok := notify.ParseQuiet(bad)
		require.False(t, ok, bad)
	}
}
