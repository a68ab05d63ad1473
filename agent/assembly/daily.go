package assembly

import (
	"sync"
	"time"

	"bayward/agent/notify"
	"bayward/agent/words"
	"bayward/agent/yard"
	"bayward/mqtt"
)

const (
	// turnEvery is how long an agent waits for each one before it to send the daily round:
	// the broker takes up to 45 s to notice that one has vanished, and a message needs its
	// time.
	turnEvery = 2 * time.Minute
	// aloneAfter is how long an agent without its broker waits before it sends one of its
	// own bays: nobody can tell it that the round has been sent, and two are better than none.
	aloneAfter = 10 * time.Minute
)

// followSite keeps what the site's other agents publish, unless the configuration does not
// want it.
func (a *Agent) followSite() {
	if m := a.Config.MQTT; m != nil && m.OtherAgents != "ignore" {
		a.yard = yard.New(a.Config.Agent, yard.Clock{Mono: sinceNow(), Wall: a.Wall})
	}
}

// forSite reports whether this agent can send the daily round for all agents of the site.
func (a *Agent) forSite() bool {
	n := a.Config.Notify
	return a.yard != nil && n != nil && n.DailyRound != "" && n.DailyRoundFor != "agent" && len(n.Mail)+len(n.Webhooks) > 0
}

// rota shares the daily round with the site's other agents: the first by name that is online
// sends it and says so at the broker, the next one two minutes later if it has not.
type rota struct {
	agent *Agent

	mu   sync.Mutex // guards mine
	mine string     // the last day whose round this agent has sent since it started
}

// rota returns nil if this agent sends a round of its own.
func (a *Agent) rota() notify.Rota {
	if !a.forSite() {
		return nil
	}
	return &rota{agent: a}
}

// Turn implements notify.Rota.
func (r *rota) Turn(day string) (after time.Duration, sent bool) {
	r.mu.Lock()
	mine := r.mine == day
	r.mu.Unlock()
	if mine {
		return 0, false // the broker says so too, and other ways of this agent may be waiting
	}
	before, known := r.agent.yard.DailyBefore()
	if after = time.Duration(before) * turnEvery; !known {
		after = aloneAfter
	}
	return after, r.agent.yard.DailySent(day)
}

// Sent implements notify.Rota.
func (r *rota) Sent(day string) {
	r.mu.Lock()
	r.mine = day
	r.mu.Unlock()
	if r.agent.client != nil {
		r.agent.client.Daily(mqtt.Daily{Day: day, At: wallOf(r.agent.Wall())})
	}
}

// otherBays are those of the site's other agents, for the daily round.
func (a *Agent) otherBays(v words.Voice) (all []words.OtherBay) {
	if !a.forSite() {
		return nil
	}
	bays := a.yard.Bays()
	for i := range bays {
		brief := bays[i].State.Brief(v)
		line := bays[i].Line(&brief, v)
		all = append(all, words.OtherBay{Name: bays[i].Name, Agent: bays[i].Agent, Urgency: line.Urgency, Task: line.Task})
	}
	return all
}
