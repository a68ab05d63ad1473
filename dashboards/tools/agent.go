package main

import (
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

const (
	theseAgents = `site=~"$site",agent=~"$agent"`
	byAgent     = "by (site, agent, instance)"
	agentName   = "{{site}} {{agent}} {{instance}}"
)

// worst keeps a panel readable at any number of agents.
func worst(expr string) string { return fmt.Sprintf("topk(10, %s)", expr) }

func agent() *dashboard.DashboardBuilder {
	b := frame("agent", "bayward: agent", "Does every agent run its ticks on time and read its sensors, and is anything filling up or wearing out?", "now-24h").
		WithVariable(many("site", "Site", "label_values(bayward_build_info, site)")).
		WithVariable(many("agent", "Agent", `label_values(bayward_build_info{site=~"$site"}, agent)`))
	agentNow(b)
	agentTicks(b)
	agentSensors(b)
	agentUpkeep(b)
	return b
}

func agentNow(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Now"))
	b.WithPanel(number(text{"Agents that answer", "Scrape targets of the job bayward that are up.", "none", "no agent is a target"}, 6, coloured("text"),
		query{fmt.Sprintf(`sum(up{job="bayward",%s})`, theseAgents), ""}))
	b.WithPanel(number(text{"Agents that do not answer", "Their relays should be open: go and check that nothing is charging.", "none", "no agent is a target"}, 6, coloured("green", step{1, "red"}),
		query{fmt.Sprintf(`sum(up{job="bayward",%s} == bool 0)`, theseAgents), ""}))
	b.WithPanel(number(text{"Slowest tick, one in a hundred", "The worst agent's 99th percentile over five minutes. A tick is due every second; a late one opens the relays.", "suffix: ms", "no agent ticks"}, 6,
		coloured("green", step{600, "orange"}, step{1000, "red"}), query{"1000 * max(" + tickP99 + ")", ""}).Decimals(0))
	b.WithPanel(number(text{"Agents whose record cannot be written", "The bays are guarded, but what happens now is not recorded.", "none", "no bay reports"}, 6, coloured("green", step{1, "red"}),
		query{fmt.Sprintf(`sum(max %s (bayward_finding{%s,code="record-failing"}))`, byAgent, theseAgents), ""}))
}

var (
	tickP99  = p99("bayward_tick_duration_seconds_bucket")
	reactP99 = p99("bayward_relay_reaction_seconds_bucket")
)

func p99(buckets string) string {
	return fmt.Sprintf("histogram_quantile(0.99, sum by (site, agent, instance, le) (rate(%s{%s}[$__rate_interval])))", buckets, theseAgents)
}

func agentTicks(b *dashboard.DashboardBuilder) {
	b.WithPanel(silentAgents(theseAgents))
	b.WithRow(dashboard.NewRowBuilder("On time"))
	b.WithPanel(lines(text{"Does each agent tick?", "Ticks a second of the 10 slowest agents; one a second is due. The demo runs faster than real time.", "none", "no agent ticks"}, 8,
		query{fmt.Sprintf("bottomk(10, sum %s (rate(bayward_tick_duration_seconds_count{%s}[$__rate_interval])))", byAgent, theseAgents), agentName}).Min(0))
	b.WithPanel(lines(text{"How long do ticks take?", "99th percentile of the 10 slowest agents, from sampling until the last output has its data.", "suffix: ms", "no agent ticks"}, 8,
		query{worst("1000 * " + tickP99), agentName}).Min(0))
	b.WithPanel(lines(text{"How fast does the relay follow the readings?", "99th percentile of the 10 slowest agents, from the last reading of a tick to setting the relay.", "suffix: ms", "no agent ticks"}, 8,
		query{worst("1000 * " + reactP99), agentName}).Min(0))
}

func agentSensors(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Sensors"))
	b.WithPanel(lines(text{"Which sensors fail?", "Share of ticks in which a sensor gave no usable value, the 10 worst. A bay from which the pack was away in that time does not count.", "percentunit", "no sensor failed, or no agent answered"}, 12,
		query{worst(fmt.Sprintf("sum by (site, agent, bay, sensor, fault) (rate(bayward_reading_faults_total{%s}[$__rate_interval]))"+
			" / on (site, agent) group_left () sum by (site, agent) (rate(bayward_tick_duration_seconds_count{%s}[$__rate_interval])) > 0"+
			` unless on (site, agent, bay) max_over_time(bayward_stage{stage="vacant"}[$__rate_interval]) == 1`, theseAgents, theseAgents)), "{{agent}} {{bay}} {{sensor}}: {{fault}}"}).Min(0))
	b.WithPanel(lines(text{"Which readings are old?", "Time since the last usable value where that is more than a minute, the 10 oldest; of a sensor that gave none, since the agent started. Vacant bays are left out.", "suffix: min", "no reading is old, or no agent answered"}, 12,
		query{worst(fmt.Sprintf(`max by (site, agent, bay, sensor) (bayward_reading_age_seconds{%s}) / 60 > 1 unless on (site, agent, bay) bayward_stage{stage="vacant"} == 1`, theseAgents)), "{{agent}} {{bay}} {{sensor}}"}).Min(0))
}

func agentUpkeep(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Filling up and wearing out"))
	b.WithPanel(lines(text{"Do events wait for the broker?", "Events not yet acknowledged by the broker, the 10 longest queues. They wait on disk and are sent in order.", "none", "no agent has a broker, or none answered"}, 8,
		query{worst(fmt.Sprintf("max %s (bayward_mqtt_outbox_events{%s})", byAgent, theseAgents)), agentName}).Min(0).AxisSoftMax(5))
	b.WithPanel(lines(text{"How much is written to disk?", "Bytes in the last 24 hours, the 10 agents that write most. Writing wears memory cards.", "decbytes", "not known: no agent answered"}, 8,
		query{worst(fmt.Sprintf("sum %s (increase(bayward_disk_written_bytes_total{%s}[1d]))", byAgent, theseAgents)), agentName}).Min(0))
	b.WithPanel(lines(text{"How much memory do the agents use?", "Resident memory, the 10 largest.", "bytes", "no agent answered"}, 8,
		query{worst(fmt.Sprintf(`max %s (process_resident_memory_bytes{job="bayward",%s})`, byAgent, theseAgents)), agentName}).Min(0))
	b.WithPanel(list(text{"Which versions run, and which agents have no broker?", "Up to 50 agents, those without a broker first.", "none", "no agent answered"}, boardWidth, descending("no broker"),
		column{query{fmt.Sprintf("topk(50, max by (site, agent, instance, version) (bayward_build_info{%s} * on (site, agent, instance) group_left () (1 - max %s (bayward_mqtt_connected{%s})) or on (site, agent, instance) 2 * bayward_build_info{%s}))",
			theseAgents, byAgent, theseAgents, theseAgents), "no broker"}, "none", 0, mapped(word{0, "no", "green"}, word{1, "yes", "red"}, word{2, "none set up", "#8e8e8e"})}).Height(6))
}
