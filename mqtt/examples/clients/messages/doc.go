// Package messages has the payloads that an agent publishes and accepts, generated from mqtt/schemas,
// which are those of mqtt/asyncapi.yaml. Its decoders refuse what the contract does.
package messages

//go:generate go tool go-jsonschema --package messages --tags json --struct-name-from-title --output generated.go ../../../schemas/status.json ../../../schemas/state.json ../../../schemas/event.json ../../../schemas/notice.json ../../../schemas/response.json ../../../schemas/order.json ../../../schemas/signed.json
