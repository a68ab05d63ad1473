package notify

import (
	"context"
	"time"
)

const roundKind = "round"

// rounds offers the daily round once a day, at its time or when its turn comes after that.
// A start after that time waits for the next day.
func (s *Sender) rounds(ctx context.Context) {
	at, _ := parseClock(s.opt.Round)
	last, owed := "", time.Time{} // the last day that was seen to its time; since when its round is owed
	if now, trusted := s.opt.Wall(); trusted && clockOf(now) >= at {
		last = now.Format(time.DateOnly)
	}
	for ctx.Err() == nil {
		now, trusted := s.opt.Wall()
		if day := now.Format(time.DateOnly); trusted && clockOf(now) >= at && day != last {
			last, owed = day, now
		}
		if trusted && !owed.IsZero() && s.settled(now, owed) {
			owed = time.Time{}
		}
		sleep(ctx, lookEvery, nil)
	}
}

// settled offers the round that is owed, if it is this sender's turn, and reports whether
// there is no more to do for it.
func (s *Sender) settled(now, owed time.Time) bool {
	if s.opt.Rota != nil {
		after, sent := s.opt.Rota.Turn(owed.Format(time.DateOnly))
		if sent || now.Sub(owed) < after {
			return sent
		}
	}
	m := s.opt.Summary()
	m.ID, m.Kind, m.State, m.At, m.Trusted = roundKind, roundKind, Raised.String(), owed, true
	s.Offer(&m)
	return true
}

func dayOf(m *Message) string { return m.At.Format(time.DateOnly) }

// sentByOther reports that a message is a round that another sender has sent while this
// one's waited.
func (s *Sender) sentByOther(m *Message) bool {
	if m.Kind != roundKind || s.opt.Rota == nil {
		return false
	}
	_, sent := s.opt.Rota.Turn(dayOf(m))
	return sent
}
