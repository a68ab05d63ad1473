package broker

import (
	"slices"
	"strings"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// rights let every client read and send commands, and only the agents publish the
// rest. The library's own access list allows what it does not list and ignores
// wills; here everything not listed is denied. A client id proves nothing: this
// prevents mistakes, but does not stop an attacker on the same machine.
type rights struct {
	mochi.HookBase
	agents []string
}

func newRights(agents []string) *rights { return &rights{agents: slices.Clone(agents)} }

// ID names the hook.
func (r *rights) ID() string { return "rights" }

// Provides reports whether the hook answers a question.
func (r *rights) Provides(question byte) bool {
	return question == mochi.OnConnectAuthenticate || question == mochi.OnACLCheck
}

// OnConnectAuthenticate admits every client that has no will, or one that it may
// publish.
func (r *rights) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	return !pk.Connect.WillFlag || r.mayWrite(cl.ID, pk.Connect.WillTopic)
}

// OnACLCheck lets every client read.
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
