package broker

import (
	"slices"
	"strings"
)

// rights let every client read and send commands, and only the agents publish the
// rest. A client id proves nothing: this prevents mistakes, but does not stop an
// attacker on the same machine.
type rights struct{ agents []string }

func (r rights) mayWrite(client, topic string) bool {
	parts := strings.Split(topic, "/")
	if parts[0] != "bayward" {
		return false
	}
	if slices.Contains(r.agents, client) {
		return true
	}
	return len(parts) == 5 && parts[4] == "command"
}

// Topic filters: MQTT 3.1.1, section 4.7.

// validTopic reports whether a message may be published to a topic.
func validTopic(topic string) bool {
	return topic != "" && !strings.ContainsAny(topic, "+#\x00")
}

// validFilter reports whether a filter can be subscribed to.
func validFilter(filter string) bool {
	if filter == "" || strings.ContainsRune(filter, 0) {
		return false
	}
	levels := strings.Split(filter, "/")
	for i, level := range levels {
		if level == "#" && i < len(levels)-1 || len(level) > 1 && strings.ContainsAny(level, "+#") {
			return false
		}
	}
	return true
}

// matches reports whether a filter covers a topic.
func matches(filter, topic string) bool {
	if strings.HasPrefix(topic, "$") && !strings.HasPrefix(filter, "$") {
		return false
	}
	for {
		f, filterRest, moreFilter := strings.Cut(filter, "/")
		if f == "#" {
			return true
		}
		t, topicRest, moreTopic := strings.Cut(topic, "/")
		switch {
		case f != "+" && f != t:
			return false
		case !moreTopic:
			return !moreFilter || filterRest == "#"
		case !moreFilter:
			return false
		}
		filter, topic = filterRest, topicRest
	}
}
