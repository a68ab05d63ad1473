package yard

import (
	"encoding/json"
	"time"
)

// Daily takes an agent's word that it has sent the site's daily round. A neighbour that
// lies can keep that message back, which is a list; dangers have notices of their own.
func (y *Yard) Daily(name string, payload []byte) {
	var body struct {
		V   int    `json:"v"`
		Day string `json:"day"`
	}
	if len(payload) > maxPayload || len(payload) > 0 && (json.Unmarshal(payload, &body) != nil || body.V != 1) {
		return
	}
	if _, err := time.Parse(time.DateOnly, body.Day); err != nil {
		body.Day = ""
	}
	y.mu.Lock()
	defer y.mu.Unlock()
	if name == y.own {
		y.ownDaily = body.Day
	} else if a := y.agentOf(name); a != nil {
		a.daily = body.Day
	}
}

// DailySent reports whether an agent of the site, this one too, has sent the daily round of
// a day, such as 2026-03-01.
func (y *Yard) DailySent(day string) bool {
	y.mu.Lock()
	defer y.mu.Unlock()
	sent := y.ownDaily == day
	for _, a := range y.agents {
		sent = sent || a.daily == day
	}
	return sent && day != ""
}

// DailyBefore counts the agents whose turn comes before this one's: those that are online,
// send a daily round, and have a name that sorts before. ok is false while there is no
// connection, so that it is not known who is there.
func (y *Yard) DailyBefore() (n int, ok bool) {
	y.mu.Lock()
	defer y.mu.Unlock()
	for name, a := range y.agents {
		if name < y.own && a.status.State == "online" && a.status.Daily != "" {
			n++
		}
	}
	return n, y.connected
}
