package broker

import (
	"log/slog"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// sessions keep the library from two losses that its core would cause. It hands the
// messages of a returning client out in any order, so a reader that drops numbers below
// its highest loses some: a client that wants its session kept is refused. And it counts
// the packet ids of both directions in one table, though each direction has its own
// (MQTT 3.1.1, 2.3.1), so it refuses a subscription whose id a message on its way to the
// client happens to have.
type sessions struct {
	mochi.HookBase
	server *mochi.Server
	log    *slog.Logger
}

// ID names the hook.
func (s *sessions) ID() string { return "sessions" }

// Provides reports whether the hook answers a question.
func (s *sessions) Provides(question byte) bool {
	return question == mochi.OnConnect || question == mochi.OnSubscribe || question == mochi.OnUnsubscribe
}

// OnConnect refuses a client that wants messages kept while it is away: "not authorized"
// is the closest return code that MQTT 3.1.1 has. The log says why.
func (s *sessions) OnConnect(cl *mochi.Client, pk packets.Packet) error {
	if !outlives(cl.Properties.ProtocolVersion, &pk) {
		return nil
	}
	s.log.Warn("broker: a client wants its session kept, and this broker keeps none: connect with a clean session, or use a plant's broker", "client", cl.ID)
	refused := packets.Err3NotAuthorized
	if cl.Properties.ProtocolVersion >= 5 {
		refused = packets.ErrNotAuthorized
	}
	_ = s.server.SendConnack(cl, refused, false, nil) // it is dropped in any case
	return refused
}

// outlives reports whether the session that a client asks for is to outlive its connection.
func outlives(version byte, pk *packets.Packet) bool {
	if version < 5 {
		return !pk.Connect.Clean
	}
	return pk.Properties.SessionExpiryInterval > 0
}

// OnSubscribe makes the packet's id free.
func (s *sessions) OnSubscribe(cl *mochi.Client, pk packets.Packet) packets.Packet {
	free(cl, pk.PacketID)
	return pk
}

// OnUnsubscribe makes the packet's id free.
func (s *sessions) OnUnsubscribe(cl *mochi.Client, pk packets.Packet) packets.Packet {
	free(cl, pk.PacketID)
	return pk
}

// free forgets that a message with an id is on its way to a client. It has been sent; its
// entry would serve only to send it again after a return, and no session outlives its
// connection. The client's PUBACK finds nothing then, so its share of the quota is
// returned here. A message that still waits to be sent stays.
func free(cl *mochi.Client, id uint16) {
	m, ok := cl.State.Inflight.Get(id)
	if !ok || m.FixedHeader.Type != packets.Publish || m.Expiry < 0 {
		return
	}
	if cl.State.Inflight.Delete(id) {
		cl.State.Inflight.IncreaseSendQuota()
	}
}

var _ mochi.Hook = &sessions{}
