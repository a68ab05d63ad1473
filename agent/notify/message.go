package notify

import "time"

// Message is a notice as sent by mail or to a webhook. Its texts are in the
// language and units of the site.
type Message struct {
	ID       string // the same for all news of one notice
	Site     string
	Agent    string
	Bay      string // "" for the daily round
	Kind     string // such as "ready-to-water"; "round" for the daily round
	State    string // "raised" or "settled"
	Danger   bool   // also sent in quiet hours
	Title    string // one line
	Text     string
	WhatToDo string
	Cautions string
	At       time.Time // when it entered this state
	Trusted  bool      // the clock was set by then; otherwise At may be wrong
}

// clock is a time of day in minutes after midnight.
type clock int

func parseClock(text string) (clock, bool) {
	t, err := time.Parse("15:04", text)
	return clock(t.Hour()*60 + t.Minute()), err == nil
}

func clockOf(t time.Time) clock { return clock(t.Hour()*60 + t.Minute()) }

// Quiet is a part of the day in which only dangers are sent. The zero value means
// none.
type Quiet struct{ from, to clock }

// ParseQuiet reads a text such as 20:00-06:00; "" means no quiet hours. ok is false
// for anything else.
func ParseQuiet(text string) (q Quiet, ok bool) {
	if text == "" {
		return Quiet{}, true
	}
	const each = len("15:04")
	if len(text) != 2*each+1 || text[each] != '-' {
		return Quiet{}, false
	}
	from, ok1 := parseClock(text[:each])
	to, ok2 := parseClock(text[each+1:])
	return Quiet{from, to}, ok1 && ok2 && from != to
}

// Holds reports whether a local time is quiet.
func (q Quiet) Holds(t time.Time) bool {
	now := clockOf(t)
	if q.from <= q.to {
		return now >= q.from && now < q.to
	}
	return now >= q.from || now < q.to // over midnight
}
