// Package mqtt tells other programs of the bays and takes people's orders:
// topics, payloads, and a client that joins them to a broker (MQTT 3.1.1). The
// contract is asyncapi.yaml.
//
// What it promises:
//   - State, Notice and Wake never wait, whatever the broker does.
//   - Every event that the outbox holds reaches the broker at least once, and
//     those of one bay in the order of their numbers; a reader that drops
//     numbers it has seen gets each once. The outbox is told that an event is
//     sent only after the broker acknowledged it on the connection that
//     carried it.
//   - State and notice are latest-only and retained. The status topic says
//     whether the agent is there; the broker itself says so when it is not.
//   - The client comes back for ever, from a second to a minute apart, and tries
//     its brokers in their order.
//   - A command is answered, whatever it is, and is carried out at most once. An
//     open one can only hold; all others are signed by a person. See SECURITY.md.
//
// Traps that shaped it: with the library's own reconnection, a publish can end
// without an error although the broker never had the message. So a connection
// is made by a library client of its own, never reused, without reconnection,
// without a stored session, and nothing waits on a token alone.
package mqtt
