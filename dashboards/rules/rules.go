// Package rules carries the Prometheus rules, for whoever writes what goes onto a server.
package rules

import _ "embed"

// Prometheus is the file of rules, as it is in the repository.
//
//go:embed bayward.yaml
var Prometheus []byte
