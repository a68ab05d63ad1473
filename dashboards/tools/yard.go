package main

import (
	"fmt"
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	texts "github.com/grafana/grafana-foundation-sdk/go/text"
)

const (
	// yardBays are the bays of the chosen sites, agents and bays.
	yardBays   = `site=~"$site",agent=~"$agent",bay=~"$bay"`
	yardAgents = `site=~"$site",agent=~"$agent"`
	// byBay keeps the labels that distinguish bays of several agents. With other labels the rows
	// of a table would not join.
	byBay = "by (site, agent, instance, bay)"
	// ofPack keeps the bays that are set up for the chosen packs.
	ofPack = ` and on (site, agent, instance, bay) bayward_bay_info{pack=~"$pack"}`
	// quiet are findings that need no attention: the agent finishes checking by itself, and the
	// person who opened a visit or ordered a hold knows about it.
	quiet = "agent-unready|visit-open|held"
)

// waterNow is 1 where water is needed today.
var waterNow = fmt.Sprintf(`bayward_stage{%s,stage="ready-to-water"} or bayward_finding{%s,code="plates-bare"}`, yardBays, yardBays)

// needs counts what there is to do at each bay: findings, and water when the pack is ready.
var needs = fmt.Sprintf(`(sum %s (bayward_finding{%s,code!~"%s"} or bayward_stage{%s,stage="ready-to-water"})%s)`,
	byBay, yardBays, quiet, yardBays, ofPack)

// atNeeding keeps the rows of the bays that need attention, at most 50.
func atNeeding(expr string) string {
	return fmt.Sprintf("%s and on (site, agent, instance, bay) topk(50, %s > 0)", expr, needs)
}

func yard() *dashboard.DashboardBuilder {
	b := frame("yard", "bayward: yard", "Which packs need attention, today and this week? How many charges are blocked, and why? How many litres of water to bring?", "now-7d").
		WithVariable(many("site", "Site", "label_values(bayward_bay_info, site)")).
		WithVariable(many("agent", "Agent", `label_values(bayward_bay_info{site=~"$site"}, agent)`)).
		WithVariable(many("pack", "Pack", `label_values(bayward_bay_info{site=~"$site",agent=~"$agent"}, pack)`)).
		WithVariable(many("bay", "Bay", `label_values(bayward_bay_info{site=~"$site",agent=~"$agent",pack=~"$pack"}, bay)`))
	yardNow(b)
	yardPeople(b)
	yardWater(b)
	yardWhy(b)
	yardTrend(b)
	return b.WithPanel(texts.NewPanelBuilder().Title("Before anyone goes to a battery").Description("Cautions.").
		Mode(texts.TextModeMarkdown).Content(cautions).Span(boardWidth).Height(cautionsHeight))
}

// silentAgents names the agents that do not answer.
func silentAgents(agents string) *table.PanelBuilder {
	return list(text{"Which agents do not answer?", "Up to 50 scrape targets that are down now, and for what part of the last 24 hours. Their relays should be open: go and check that nothing is charging. Their bays are missing from the other panels.",
		"percentunit", "every agent answers, or none is a target: see the figures above"}, boardWidth, descending("of the last day"),
		column{query{fmt.Sprintf(`topk(50, max by (site, agent, instance) (1 - avg_over_time(up{job="bayward",%s}[1d])) and on (site, agent, instance) up{job="bayward",%s} == 0)`, agents, agents), "of the last day"}, "percentunit", 0, nil},
	).Height(4).OverrideByName("instance", []dashboard.DynamicConfigValue{{Id: "custom.hidden", Value: false}})
}

// yardNow is short: on a phone the figures stand below each other, and the tables that name bays follow.
func yardNow(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Now"))
	b.WithPanel(number(text{"Agents that do not answer", "Scrape targets of the job bayward that are down. Their bays are missing from all other figures of this board.", "none", "no agent is a target"},
		8, coloured("green", step{1, "red"}), query{`sum(up{job="bayward",site=~"$site",agent=~"$agent"} == bool 0)`, ""}))
	b.WithPanel(number(text{"Bays that need attention", "Bays with a finding that does not clear by itself, or with a pack that is ready to water.", "none", "no bay reports"},
		8, coloured("green", step{1, "orange"}), query{fmt.Sprintf("sum(%s > bool 0)", needs), ""}))
	b.WithPanel(number(text{"Waiting, charge blocked", "Packs that need a charge while it is blocked.", "none", "no bay reports"},
		8, coloured("green", step{1, "orange"}), query{fmt.Sprintf(`sum((max %s (bayward_stage{%s,stage="waiting"}) * (1 - max %s (bayward_charge_permitted{%s})))%s)`,
			byBay, yardBays, byBay, yardBays, ofPack), ""}))
}

func yardWater(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("What to bring"))
	b.WithPanel(number(text{"Litres to bring today", "Water for the packs that are ready to water now (full, rested and cool), and for those with bare plates, which get some before their charge and the rest after it. Bays whose level is not known are not included.", "suffix: L", "no level is known"},
		8, coloured("text"), query{litres(waterNow), ""}).Decimals(1))
	b.WithPanel(number(text{"Litres to bring this week", "Today's, plus the packs whose level falls to the lowest level for charging within seven days. Bays whose level is not known are not included.", "suffix: L", "no level is known"},
		8, coloured("text"), query{litres(fmt.Sprintf(`(bayward_water_forecast_seconds{%s} < bool 604800) or %s`, yardBays, waterNow)), ""}).Decimals(1))
	b.WithPanel(number(text{"Bays monitored", "Bays that agents report now.", "none", "no bay reports"}, 8, coloured("text"),
		query{fmt.Sprintf(`count(bayward_bay_info{%s,pack=~"$pack"})`, yardBays), ""}))
}

// litres adds up the need of the bays at which a condition is 1.
func litres(condition string) string {
	return fmt.Sprintf("sum((max %s (bayward_water_needed_liters{%s}) * max %s (%s))%s)", byBay, yardBays, byBay, condition, ofPack)
}

func yardPeople(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("What needs attention"))
	b.WithPanel(silentAgents(yardAgents))
	b.WithPanel(list(text{"Which packs need attention, and why?", "Up to 50 bays, danger first, each with its most urgent reason, its stage, its permit, the water to bring, for how many days its water lasts, and within how many its levels must be read. " +
		"The bay's name links to its board and to its own page.", "none", "no pack needs attention, or no bay reports: see the figures above"}, boardWidth, descending("why"),
		column{query{atNeeding("(" + worstReason(byBay, yardBays) + ")"), "why"}, "none", 0, mapped(reasons()...)},
		column{query{atNeeding(fmt.Sprintf("(sum %s (%s))", byBay, stageNumber(yardBays))), "stage"}, "none", 0, mapped(stages()...)},
		column{query{atNeeding("(" + permitNumber(byBay, yardBays) + ")"), "charge"}, "none", 0, mapped(permits(0)...)},
		column{query{atNeeding(fmt.Sprintf("(max %s (bayward_water_needed_liters{%s}))", byBay, yardBays)), "water"}, "suffix: L", 2, nil},
		column{query{atNeeding(fmt.Sprintf("(min %s (bayward_water_forecast_seconds{%s}) / 86400)", byBay, yardBays)), "lasts"}, "suffix: d", 1, nil},
		column{query{atNeeding(fmt.Sprintf("(min %s (bayward_level_reading_due_seconds{%s}) / 86400)", byBay, yardBays)), "read within"}, "suffix: d", 1, nil},
		hidden("pack of", atNeeding(fmt.Sprintf("max by (site, agent, instance, bay, pack) (bayward_bay_info{%s})", yardBays))),
		hidden("page of", atNeeding(fmt.Sprintf("max by (site, agent, instance, bay, scheme) (bayward_charge_permitted{%s} * on (site, agent, instance) group_left (scheme) bayward_page_info{%s})", yardBays, yardAgents))),
	).OverrideByName("bay", []dashboard.DynamicConfigValue{{Id: "links", Value: []map[string]any{
		{"title": "the bay's board", "url": "/d/bayward-bay?var-datasource=${datasource}&var-site=${__data.fields.site}&var-agent=${__data.fields.agent}&var-bay=${__data.fields.bay}&${__url_time_range}"},
		{"title": "the bay's own page", "url": "${__data.fields.scheme}://${__data.fields.instance}/bays/${__data.fields.bay}", "targetBlank": true},
	}}}))
	b.WithPanel(list(text{"What is wrong, bay by bay?", "Up to 50 findings that are raised now, and for what part of the last 24 hours. Holds, visits and checking are not included.",
		"percentunit", "no finding is raised, or no bay reports: see the figures above"}, 12, descending("of the last day"),
		column{query{fmt.Sprintf(`topk(50, (max by (site, agent, instance, bay, code) (avg_over_time(bayward_finding{%s,code!~"%s"}[1d]))`+
			` and max by (site, agent, instance, bay, code) (bayward_finding{%s}) == 1)%s)`, yardBays, quiet, yardBays, ofPack), "of the last day"}, "percentunit", 0, nil}))
	b.WithPanel(list(text{"Which bays are blind, and on which sensor?", "The 20 sensors that gave no usable value in the largest share of ticks, over ten minutes. Nothing else on this board shows a missing reading. A bay from which the pack was away in that time does not count.",
		"percentunit", "every sensor answers, or no bay reports: see the figures above"}, 12, descending("blind"),
		column{query{fmt.Sprintf("topk(20, (sum by (site, agent, instance, bay, sensor) (rate(bayward_reading_faults_total{%s}[10m]))"+
			" / on (site, agent, instance) group_left () sum by (site, agent, instance) (rate(bayward_tick_duration_seconds_count{%s}[10m])) > 0.01"+
			` unless on (site, agent, instance, bay) max_over_time(bayward_stage{stage="vacant"}[10m]) == 1)%s)`, yardBays, yardAgents, ofPack), "blind"}, "percentunit", 0, nil}))
}

func yardWhy(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Why charges are blocked"))
	why := lines(text{"Why are charges blocked?", "The number of bays with each finding. A finding that no bay has is not drawn. agent-unready, which is also raised while no pack is connected, counts only where one is.", "none", "no finding was raised, or no bay reports"}, 12,
		query{fmt.Sprintf(`sum by (code) ((max_over_time(bayward_finding{%s}[$__rate_interval]) unless on (site, agent, instance, bay, code) label_replace(bayward_stage{stage="vacant"} == 1, "code", "agent-unready", "", ""))%s) > 0`, yardBays, ofPack), "{{code}}"}).
		Height(9).FillOpacity(30).DrawStyle(common.GraphDrawStyleBars).Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal).Group("A"))
	for _, passing := range strings.Split(coded(passes), "|") { // the others take the palette's colours, to tell them apart
		why.OverrideByName(passing, []dashboard.DynamicConfigValue{{Id: "color", Value: map[string]any{"mode": "fixed", "fixedColor": passes}}})
	}
	b.WithPanel(why)
	b.WithPanel(list(text{"For how much of the time was each finding raised?", "Share of the bays' time in the time shown, from first to last sample. Checking is not included: it is also raised while no pack is connected.",
		"percentunit", "no finding was raised, or no bay reports"}, 12, descending("of the time"),
		column{query{fmt.Sprintf(`avg by (code) (avg_over_time(bayward_finding{%s,code!="agent-unready"}[$__range])%s) > 0`, yardBays, ofPack), "of the time"}, "percentunit", 1, nil}))
}

func yardTrend(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("The week"))
	packs := lines(text{"At which stage are the packs?", "Packs at each stage of their cycle.", "none", "no bay reports"}, 12,
		query{fmt.Sprintf("sum by (stage) (bayward_stage{%s}%s)", yardBays, ofPack), "{{stage}}"}).
		FillOpacity(30).Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal).Group("A"))
	for _, s := range stages() { // the same as in tables and bands
		packs.OverrideByName(s.text, []dashboard.DynamicConfigValue{{Id: "color", Value: map[string]any{"mode": "fixed", "fixedColor": s.colour}}})
	}
	b.WithPanel(packs)
	b.WithPanel(lines(text{"How many charges began, and how many were proven full?", "In the last 24 hours at each moment.", "none", "no bay reports"}, 12,
		query{fmt.Sprintf("sum(increase(bayward_charges_total{%s}[1d])%s)", yardBays, ofPack), "began"},
		query{fmt.Sprintf("sum(increase(bayward_charges_full_total{%s}[1d])%s)", yardBays, ofPack), "proven full"}).Min(0).AxisSoftMax(5))
	b.WithPanel(list(text{"Which packs run dry first?", "The 20 bays with the shortest forecast until the level reaches the lowest level for charging.", "none", "there is no forecast"}, 12, ascending("lasts"),
		column{query{fmt.Sprintf("bottomk(20, min %s (bayward_water_forecast_seconds{%s} / 86400)%s)", byBay, yardBays, ofPack), "lasts"}, "suffix: d", 1, nil}))
	b.WithPanel(list(text{"Which chargers overcharge?", "The 10 bays with the highest charge factor of the last seven days: ampere-hours given for each one stored, of those with a full charge. 1.15 to 1.20 is usual for vented traction packs (common practice, no source).",
		"none", "no charge in seven days"}, 12, descending("factor"),
		column{query{fmt.Sprintf("topk(10, max %s (bay:bayward_charge_factor:ratio7d{%s} > 0) and on (site, agent, instance, bay) increase(bayward_charges_full_total{%s}[7d]) > 0.9%s)", byBay, yardBays, yardBays, ofPack), "factor"}, "none", 2, nil}))
}
