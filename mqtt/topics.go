package mqtt

import (
	"fmt"
	"strings"
)

// Topics returns the topics of one agent. Both names are lower-case words and
// digits joined by hyphens.
type Topics struct {
	Site, Agent string
}

// Status returns the topic for whether the agent is online; retained, and the will.
func (t Topics) Status() string { return t.prefix() + "status" }

// Daily returns the topic for the day of the last daily round that the agent has sent;
// retained.
func (t Topics) Daily() string { return t.prefix() + "daily" }

// State returns the topic for the current state of a bay; retained.
func (t Topics) State(bayName string) string { return t.of(bayName, "state") }

// Event returns the topic for what happened at a bay, numbered.
func (t Topics) Event(bayName string) string { return t.of(bayName, "event") }

// Notice returns the topic for the newest message for a technician; retained.
func (t Topics) Notice(bayName string) string { return t.of(bayName, "notice") }

// Command returns the topic for people's orders.
func (t Topics) Command(bayName string) string { return t.of(bayName, "command") }

// Response returns the topic for the answers to commands.
func (t Topics) Response(bayName string) string { return t.of(bayName, "response") }

func (t Topics) of(bayName, leaf string) string {
	return t.prefix() + bayName + "/" + leaf
}

// prefix returns the beginning of all topics of the agent.
func (t Topics) prefix() string { return "bayward/" + t.Site + "/" + t.Agent + "/" }

// check refuses names that would lead to another part of the topic tree.
func (t Topics) check() error {
	for field, name := range map[string]string{"site": t.Site, "agent": t.Agent} {
		if name == "" || strings.ContainsAny(name, "/+#\x00") {
			return fmt.Errorf("mqtt: %s %q: must be lower-case words and digits joined by hyphens", field, name)
		}
	}
	return nil
}
