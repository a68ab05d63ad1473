// Package mqtt publishes the bays to other programs and receives people's
// orders: topics, payloads, and a client that connects them to a broker (MQTT
// 3.1.1). The contract is asyncapi.yaml.
//
// What it guarantees:
//   - State, Notice and Wake never wait, whatever the broker does.
//   - Every event in the outbox reaches the broker at least once, and the events
//     of one bay arrive in the order of their numbers; a reader that drops
//     numbers it has seen gets each once. An event is marked as sent in the
//     outbox only after the broker has acknowledged it on the connection that
//     carried it.
//   - State and notice are latest-only and retained. The status topic shows
//     whether the agent is online; when it vanishes, the broker publishes that.
//   - The client reconnects forever, at intervals from a second to a minute, and
//     tries its brokers in their order.
//   - Every command is answered, and is carried out at most once. An open
//     command can only hold; all others are signed by a person. See SECURITY.md.
//
// A trap that shaped it: with the library's own reconnection, a publish can end
// without an error although the broker never had the message. So each
// connection gets its own library client, which is never reused and has neither
// reconnection nor a stored session, and nothing waits for a token alone.
package mqtt
