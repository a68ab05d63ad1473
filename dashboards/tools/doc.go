// Command tools writes the Grafana boards of bayward as JSON files.
//
// It is a separate module, to keep the libraries for Grafana's and Prometheus's
// languages out of the agent's. The boards are for Grafana 9.3 and newer: the JSON
// has schema version 37, which newer versions migrate when they load it.
//
//	cd dashboards/tools && go run . ../grafana
package main
