package notify_test

import (
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/notify"
)

// board is what several senders know of each other: who has sent which day's round.
type board struct {
	mu   sync.Mutex // guards days
	days map[string]string
}

// seat is one sender's place at it.
type seat struct {
	*board
	name  string
	after time.Duration
}

func (s seat) Turn(day string) (after time.Duration, sent bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	by := s.days[day]
	return s.after, by != "" && by != s.name
}

func (s seat) Sent(day string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.days[day] = s.name
}

// TestOneRoundForTheSite: of two senders one sends the round of a day. Where the first cannot
// deliver, the second does when its turn comes, and the first never adds a late one.
func TestOneRoundForTheSite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		all := &board{days: map[string]string{}}
		start := func(name string, after time.Duration, ways ...*post) {
			o := notify.Options{Round: "23:59", Rota: seat{all, name, after}, Summary: func() notify.Message { return notify.Message{Text: name} }}
			for _, w := range ways {
				o.Ways = append(o.Ways, w)
			}
			running(t, o)
		}
		mail, push, second := &post{}, &post{}, &post{}
		start("a", 0, mail, push)
		start("b", 2*time.Minute, second)
		time.Sleep(24*time.Hour + 10*time.Minute)
		synctest.Wait()
		require.Equal(t, []string{"round raised a"}, mail.got())
		require.Equal(t, []string{"round raised a"}, push.got(), "all ways of the one that sends")
		require.Empty(t, second.got())

		mail.fail(errors.New("no network"))
		push.fail(errors.New("no network"))
		time.Sleep(24 * time.Hour)
		synctest.Wait()
		require.Equal(t, []string{"round raised b"}, second.got(), "though midnight was between")
		require.Equal(t, "00:01", second.at[0].UTC().Format("15:04"))
		mail.fail(nil)
		push.fail(nil)
		time.Sleep(4 * time.Hour)
		synctest.Wait()
		require.Len(t, mail.got(), 1, "yesterday's was sent by the other")
		time.Sleep(20 * time.Hour)
		synctest.Wait()
		require.Len(t, mail.got(), 2)
		require.Len(t, second.got(), 1)
	})
}
