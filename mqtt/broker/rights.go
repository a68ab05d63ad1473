package broker

import (
	"slices"
	"strings"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// rights let everybody read and command, and only the agents tell. The
// library's own ledger allows what it does not name and does not look at
// wills; here what is not named is denied. A client id is no proof of who one
// is: this holds off mistakes, not an attacker on the same machine.
type rights struct {
	mochi.HookBase
	agents []string
}

func newRights(agents []string) *rights { return &rights{agents: slices.Clone(agents)} }

// ID names the hook.
func (r *rights) ID() string { return "rights" }

// Provides lists the questions that the hook answers.
func (r *rights) Provides(question byte) bool {
	return question == mochi.OnConnectAuthenticate || question == mochi.OnACLCheck
}

// OnConnectAuthenticate lets everybody in whose will may be published.
func (r *rights) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	return !pk.Connect.WillFlag || r.mayWrite(cl.ID, pk.Connect.WillTopic)
}

// OnACLCheck lets everybody read.
func (r *rights) OnACLCheck(cl *mochi.Client, topic string, write bool) bool {
	return !write || r.mayWrite(cl.ID, topic)
}

func (r *rights) mayWrite(client, topic string) bool {
	parts := strings.Split(topic, "/")
	if parts[0] != "bayward" {
		return false
	}
	if slices.Contains(r.agents, client) {
		return true
	}
	return len(parts) == 5 && parts[4] == "command"
}

var _ mochi.Hook = &rights{}
