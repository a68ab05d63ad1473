package mqtt

import (
	"context"
	"fmt"
	"strings"
)

// Follower is told what all agents of the site publish, this one too. Its methods must
// return at once.
type Follower interface {
	// Connected is called when a connection has come up, before anything is heard on
	// it, and when it was lost.
	Connected(up bool)
	// Status gets a payload of the topic of that name; it is empty when the topic was
	// cleared, and cut when it is too large.
	Status(agent string, payload []byte)
	// Daily gets a payload of the topic of that name, as Status does.
	Daily(agent string, payload []byte)
	// State gets one of a bay; retained is that the broker had kept it.
	State(agent, bayName string, payload []byte, retained bool)
}

// follow subscribes to what the agents of the site publish about themselves and their bays, if somebody follows them. If
// that is refused, only the follower hears nothing.
func (s *session) follow(ctx context.Context) error {
	to := s.opt.Follow
	if to == nil {
		return nil
	}
	to.Connected(true)
	ctx, cancel := context.WithTimeoutCause(ctx, ackWithin, errNoAck)
	defer cancel()
	site := Topics{Site: s.opt.Topics.Site, Agent: "+"}
	refused := ""
	for _, filter := range []string{site.Status(), site.Daily(), site.State("+")} {
		tok, granted := s.peer.subscribe(filter, s.opt.QoS.State, func(topic string, m inbound) { heard(to, topic, m) })
		if err := s.fate(ctx, tok); err != nil {
			return fmt.Errorf("subscribe to the site: %w", err)
		}
		if !granted() {
			refused = filter
		}
	}
	if refused != "" && !s.siteTold {
		s.opt.Log.Warn("the broker does not grant the subscription to the site's other agents: check its access list", "topic", refused)
	}
	s.siteTold = refused != ""
	return nil
}

// heard hands a message of the site to its follower.
func heard(to Follower, topic string, m inbound) {
	part := strings.Split(topic, "/")
	switch {
	case len(part) == 4 && part[3] == "status":
		to.Status(part[2], m.payload)
	case len(part) == 4 && part[3] == "daily":
		to.Daily(part[2], m.payload)
	case len(part) == 5 && part[4] == "state":
		to.State(part[2], part[3], m.payload, m.retained)
	}
}
