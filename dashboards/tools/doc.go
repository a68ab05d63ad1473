// Command tools writes the Grafana boards of bayward as JSON files.
//
// It is a module of its own, so that the libraries which know Grafana's and
// Prometheus's languages stay out of the agent's. The boards are written for
// Grafana 9.3 and newer: the JSON says schema version 37, which newer ones
// migrate when they load it.
//
//	cd dashboards/tools && go run . ../grafana
package main
