package broker

import (
	"sync"
	"sync/atomic"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// kept lets nobody change what the broker keeps while a new subscription looks through it:
// the library does both at once, without a lock, so a subscriber could miss a message or
// get another one's. It holds its lock from the library's word that a change or a look
// begins to its word that it has ended; nothing between the two waits for a client.
type kept struct {
	mochi.HookBase
	mu sync.Mutex
	by atomic.Pointer[mochi.Client] // who holds mu
}

func (k *kept) take(cl *mochi.Client) {
	k.mu.Lock()
	k.by.Store(cl)
}

func (k *kept) give(cl *mochi.Client) {
	if k.by.CompareAndSwap(cl, nil) {
		k.mu.Unlock()
	}
}

// ID names the hook.
func (*kept) ID() string { return "kept" }

// Provides reports whether the hook answers a question.
func (*kept) Provides(question byte) bool {
	switch question {
	case mochi.OnPublish, mochi.OnWill, mochi.OnRetainMessage, mochi.OnPacketSent, mochi.OnPacketProcessed:
		return true
	}
	return false
}

// OnPublish comes right before a message is kept.
func (k *kept) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if pk.FixedHeader.Retain {
		k.take(cl)
	}
	return pk, nil
}

// OnWill comes right before a will is kept, unless it is put off.
func (k *kept) OnWill(cl *mochi.Client, will mochi.Will) (mochi.Will, error) {
	if will.Retain && will.WillDelayInterval == 0 {
		k.take(cl)
	}
	return will, nil
}

// OnRetainMessage comes right after a message was kept.
func (k *kept) OnRetainMessage(cl *mochi.Client, _ packets.Packet, _ int64) { k.give(cl) }

// OnPacketSent: the library looks for what it keeps once it has acknowledged a subscription.
func (k *kept) OnPacketSent(cl *mochi.Client, pk packets.Packet, _ []byte) {
	if pk.FixedHeader.Type == packets.Suback {
		k.take(cl)
	}
}

// OnPacketProcessed comes after that.
func (k *kept) OnPacketProcessed(cl *mochi.Client, pk packets.Packet, _ error) {
	if pk.FixedHeader.Type == packets.Subscribe {
		k.give(cl)
	}
}

var _ mochi.Hook = &kept{}
