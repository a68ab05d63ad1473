package web

import (
	"crypto/rand"
	"net/http"
	"slices"
	"sync"
	"time"

	"bayward/agent/order"
)

const (
	// roundFor is how long a person's cautions of a round hold: one walk over a yard.
	// After a longer break they are confirmed again. The project's own figure.
	roundFor = 2 * time.Hour
	// mostRounds bounds how many are remembered.
	mostRounds = 256
)

// rounds remembers who confirmed the cautions of a round, for each browser. They are
// confirmed again after the agent has started.
type rounds struct {
	mu  sync.Mutex // guards what follows
	all []round    // oldest first
}

type round struct {
	token, by string
	at        time.Time
}

// begin notes that a person has confirmed the cautions of a round.
func (r *rounds) begin(token, by string, now time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.all = slices.DeleteFunc(r.all, func(x round) bool { return x.token == token || now.Sub(x.at) > roundFor })
	if len(r.all) >= mostRounds {
		r.all = r.all[1:]
	}
	r.all = append(r.all, round{token, by, now})
}

// since returns when the person confirmed them in this browser; ok is false when they
// have to be confirmed.
func (r *rounds) since(token, by string, now time.Time) (at time.Time, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	i := slices.IndexFunc(r.all, func(x round) bool { return x.token == token })
	if i < 0 || by == "" || r.all[i].by != by || now.Before(r.all[i].at) || now.Sub(r.all[i].at) > roundFor {
		return time.Time{}, false
	}
	return r.all[i].at, true
}

// roundOf returns when a person confirmed the cautions of the round.
func (s *server) roundOf(r *http.Request, by string) (at time.Time, ok bool) {
	c, err := r.Cookie(roundCookie)
	if err != nil {
		return time.Time{}, false
	}
	return s.rounds.since(c.Value, by, s.Now())
}

// beginRound notes the cautions of a round that were confirmed with this form.
func (f *sent) beginRound(w http.ResponseWriter) {
	token := rand.Text()
	if c, err := f.r.Cookie(roundCookie); err == nil && len(c.Value) <= 2*len(token) {
		token = c.Value
	}
	f.rounds.begin(token, f.by, f.Now())
	setCookie(w, f.r, roundCookie, token, roundFor)
}

// confirmedOpening requires every point of a visit's opening, but those of the round
// only where the person has not confirmed them on it. It returns the note for the record.
func (f *sent) confirmedOpening() string {
	row := order.VisitOpen.Row()
	if f.allTicked(row.Round) {
		f.round = true
		f.confirmed(order.VisitOpen)
		return row.Confirmed()
	}
	at, known := f.roundOf(f.r, f.by)
	if !known {
		f.confirmed(order.VisitOpen)
		return ""
	}
	f.confirmedPoints(slices.DeleteFunc(slices.Clone(row.Confirm), func(point string) bool { return slices.Contains(row.Round, point) }))
	return row.ConfirmedRound(at.Local().Format("15:04"))
}

func (f *sent) allTicked(points []string) bool {
	return !slices.ContainsFunc(points, func(point string) bool { return f.Value("ok-"+point) != "yes" })
}
