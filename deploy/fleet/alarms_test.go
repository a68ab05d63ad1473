package main

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPrometheusTakesItsFiles: the servers' own programs check what was written.
func TestPrometheusTakesItsFiles(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	etc := filepath.Join(out, "servers/prometheus/etc/prometheus")
	said := tool(t, "promtool", "check", "config", etc+"/prometheus.yml")
	assert.Contains(t, said, "1 rule files found")
	agents, err := filepath.Glob(etc + "/agents/*.json")
	require.NoError(t, err)
	require.Len(t, agents, 3)
	for _, file := range agents {
		site, agent, _ := strings.Cut(strings.TrimSuffix(filepath.Base(file), ".json"), ".")
		assert.JSONEq(t, `[{"targets":["`+map[string]string{
			"shed-2": "shed-2.quarry.example:8080", "shed-3": "shed-3.quarry.example:8080", "hut": "hut.hill.quarry.example:8080",
		}[agent]+`"],"labels":{"site":"`+site+`","agent":"`+agent+`"}}]`, readAll(t, file))
	}
	assert.JSONEq(t, `[{"targets":["alarms.quarry.example:9093"]}]`, readAll(t, etc+"/alertmanagers/fleet.json"))
}

// TestAlarmsReachTheirSite: Alertmanager's own program says whom an alarm reaches.
func TestAlarmsReachTheirSite(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	conf := filepath.Join(out, "servers/alertmanager/etc/prometheus/alertmanager.yml")
	tool(t, "amtool", "check-config", conf)
	for labels, want := range map[string]string{
		"site=quarry-road severity=critical":                              "now",
		"site=quarry-road severity=warning":                               "shift",
		"site=quarry-road severity=info":                                  "planning",
		"site=quarry-road severity=warning alertname=BaywardAgentSilent":  "now",
		"site=hill severity=critical":                                     "hill-now",
		"site=hill severity=warning":                                      "shift",
		"site=hill severity=info":                                         "planning",
		"site=hill severity=warning alertname=BaywardAgentSilent":         "hill-now",
		"severity=none alertname=BaywardWatchdog":                         "heartbeat",
		"severity=warning alertname=PrometheusNotConnectedToAlertmanager": "shift",
	} {
		args := append([]string{"config", "routes", "test", "--config.file=" + conf}, strings.Fields(labels)...)
		assert.Equal(t, want, strings.TrimSpace(tool(t, "amtool", args...)), labels)
	}
}
