package deploy

import "embed"

// Servers are the settings of the servers beside the agents, as they are in the
// repository, for whoever makes those of a fleet.
//
//go:embed mosquitto/bayward.conf stack.d/prometheus.yml stack.d/alertmanager.yml
var Servers embed.FS
