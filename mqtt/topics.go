package mqtt

import (
	"fmt"
	"strings"
)

// Topics are where one agent's messages go. Both names are lower-case words
// and digits joined by hyphens.
type Topics struct {
	Site, Agent string
}

// Status is whether the agent is there; retained, and the will.
func (t Topics) Status() string { return t.prefix() + "status" }

// State is the newest picture of a bay; retained.
func (t Topics) State(bayName string) string { return t.of(bayName, "state") }

// Event is what happened on a bay, numbered.
func (t Topics) Event(bayName string) string { return t.of(bayName, "event") }

// Notice is the newest message for a technician; retained.
func (t Topics) Notice(bayName string) string { return t.of(bayName, "notice") }

// Command is where people's orders come in.
func (t Topics) Command(bayName string) string { return t.of(bayName, "command") }

// Response is the answer to a command.
func (t Topics) Response(bayName string) string { return t.of(bayName, "response") }

func (t Topics) of(bayName, leaf string) string {
	return t.prefix() + bayName + "/" + leaf
}

// prefix is what all topics of the agent begin with.
func (t Topics) prefix() string { return "bayward/" + t.Site + "/" + t.Agent + "/" }

// check refuses names that would end up in another place of the tree.
func (t Topics) check() error {
	for field, name := range map[string]string{"site": t.Site, "agent": t.Agent} {
		if name == "" || strings.ContainsAny(name, "/+#\x00") {
			return fmt.Errorf("mqtt: %s %q: want lower-case words and digits joined by hyphens", field, name)
		}
	}
	return nil
}
