package main

import (
	"fmt"
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	texts "github.com/grafana/grafana-foundation-sdk/go/text"
)

// oneBay selects the bay of a repeating row. One agent is chosen, so a name means one bay.
const oneBay = `site=~"$site",agent=~"$agent",bay=~"$bay"`

// oneAgent selects the agent of the bay.
const oneAgent = `site=~"$site",agent=~"$agent"`

// stageNumber gives the number of the stage in which each bay is.
func stageNumber(bays string) string {
	each := make([]string, 0, len(stages()))
	for _, s := range stages()[1:] {
		each = append(each, fmt.Sprintf(`bayward_stage{%s,stage="%s"} * %d`, bays, s.text, s.value))
	}
	return strings.Join(each, " or ")
}

// worstReason gives the number of the most urgent reason at each bay, 0 where there is none.
func worstReason(by, bays string) string {
	each := make([]string, 0, len(reasons()))
	for _, r := range reasons() {
		name := fmt.Sprintf(`bayward_finding{%s,code="%s"}`, bays, r.text)
		if r.text == "ready-to-water" {
			name = fmt.Sprintf(`bayward_stage{%s,stage="%s"}`, bays, r.text)
		}
		each = append(each, fmt.Sprintf("%s * %d", name, r.value))
	}
	return fmt.Sprintf("max %s (%s)", by, strings.Join(each, " or "))
}

// permitNumber is 1 while the charge is permitted and 0 while it is blocked, and 2 while there is no pack:
// then the block is no trouble.
func permitNumber(by, bays string) string {
	return fmt.Sprintf(`max %s (clamp_max(bayward_charge_permitted{%s} + on (site, agent, instance, bay) (2 * bayward_stage{%s,stage="vacant"}), 2))`, by, bays, bays)
}

// of is a metric of the bay, without labels that change with a restart or another target
// address.
func of(metric string) string { return fmt.Sprintf("max by (bay) (%s{%s})", metric, oneBay) }

// bound is a configured limit of the bay.
func bound(metric, name string) string {
	return fmt.Sprintf(`max by (bay) (%s{%s,limit="%s"})`, metric, oneBay, name)
}

func bay() *dashboard.DashboardBuilder {
	b := frame("bay", "bayward: bay", "May this pack charge now, why not, and what next? Are its readings good?", "now-24h").
		WithVariable(one("site", "Site", "label_values(bayward_bay_info, site)")).
		WithVariable(one("agent", "Agent", `label_values(bayward_bay_info{site=~"$site"}, agent)`)).
		WithVariable(many("pack", "Pack", `label_values(bayward_bay_info{site=~"$site",agent=~"$agent"}, pack)`)).
		WithVariable(one("bay", "Bay", `label_values(bayward_bay_info{site=~"$site",agent=~"$agent",pack=~"$pack"}, bay)`).Multi(true))
	bayMarks(b)
	b.WithRow(dashboard.NewRowBuilder("$bay").Repeat("bay"))
	bayNow(b)
	bayRound(b)
	bayReadings(b)
	bayWater(b)
	return b.WithPanel(texts.NewPanelBuilder().Title("Before anyone goes to this battery").Description("Cautions.").
		Mode(texts.TextModeMarkdown).Content(cautions).Span(boardWidth).Height(cautionsHeight))
}

// bayMarks adds the annotations, drawn in every panel with a time axis where the value is not 0.
func bayMarks(b *dashboard.DashboardBuilder) {
	b.Annotation(mark("charge proven full", "green", fmt.Sprintf("changes(bayward_charges_full_total{%s}[$__rate_interval]) > bool 0", oneBay), "{{bay}}"))
	b.Annotation(mark("visit", "light-blue", fmt.Sprintf(`max by (bay) (max_over_time(bayward_finding{%s,code="visit-open"}[$__rate_interval]))`, oneBay), "{{bay}}"))
	b.Annotation(mark("permit blocked", "red", fmt.Sprintf("max by (bay) (bayward_charge_permitted{%s}) == bool 0", oneBay), "{{bay}}"))
}

// now is a figure of the bay, with a link to the bay's own page.
func now(t text, span uint32, mappings []dashboard.ValueMapping, expr string) *stat.PanelBuilder {
	return number(t, span, coloured("text"), query{fmt.Sprintf("max by (bay, instance, scheme) ((%s) * on (instance) group_left (scheme) bayward_page_info{%s})", expr, oneAgent), ""}).
		Mappings(append(mappings, unknown(t.empty))).
		DataLinks([]cog.Builder[dashboard.DashboardLink]{dashboard.NewDashboardLinkBuilder("the bay's own page").
			Url("${__field.labels.scheme}://${__field.labels.instance}/bays/${__field.labels.bay}").TargetBlank(true)})
}

// bayNow answers first: may it charge, why not, what next.
func bayNow(b *dashboard.DashboardBuilder) {
	own := " A click opens the bay's own page, with the numbers behind it and what to do."
	b.WithPanel(now(text{"May it charge now?", "Whether nothing blocks the charge." + own, "none", "the agent does not answer"}, 4,
		mapped(permits(0)...), permitNumber("by (bay, instance)", oneBay)))
	b.WithPanel(now(text{"Why not, or what is wrong?", "The most urgent finding." + own, "none", "the agent does not answer"}, 5,
		mapped(append(reasons(), word{0, "nothing", "green"})...), worstReason("by (bay, instance)", oneBay)))
	b.WithPanel(now(text{"At which stage is it?", "Of the pack's cycle." + own, "none", "the agent does not answer"}, 4,
		mapped(stages()...), fmt.Sprintf("sum by (bay, instance) (%s)", stageNumber(oneBay))))
	b.WithPanel(number(text{"Level above the plate tops", "The lowest that the probe's reading allows.", "suffix: mm", "level not known"}, 4,
		coloured("red", step{0.001, "text"}), query{"1000 * " + of("bayward_electrolyte_level_meters"), ""}).Decimals(0))
	b.WithPanel(number(text{"Water needed", "Up to the fill mark, all cells. Add it only when the pack is ready to water.", "suffix: L", "level not known"}, 3,
		coloured("text"), query{of("bayward_water_needed_liters"), ""}).Decimals(2))
	b.WithPanel(number(text{"Time until it may be watered", "Estimated, until the pack is rested and cool.", "suffix: h", "no cool-down"}, 4,
		coloured("text"), query{of("bayward_cooldown_remaining_seconds") + " / 3600", ""}).Decimals(1))
}

func bayRound(b *dashboard.DashboardBuilder) {
	b.WithPanel(bands(text{"At which stage is the pack?", "Stage, permit and the charge-enable relay (its feedback contact, if there is one). Where a fan has a proof that air moves, it is shown too. While there is no pack the block is no trouble, and grey. A gap: the agent did not answer.", "none", "the agent did not answer"},
		boardWidth, roundWords(),
		query{fmt.Sprintf("sum by (bay) (%s)", stageNumber(oneBay)), "stage"},
		query{fmt.Sprintf("%d + %s", permitBase, permitNumber("by (bay)", oneBay)), "charge"},
		query{fmt.Sprintf("%d + %s", relayBase, of("bayward_relay_closed")), "relay"},
		query{fmt.Sprintf("%d + %s", airBase, of("bayward_airflow_proven")), "air"}))
	b.WithPanel(bands(text{"What is blocking the charge?", "The findings that were raised in the time shown. Grey: it passes by itself, or the person who did it knows about it. The bay's own page shows the numbers behind each and what to do.", "none", "no finding was raised, or the agent did not answer"},
		boardWidth, mapped(word{0, "none raised", "green"}, word{1, "raised", attention}, word{2, "passes", passes}, word{3, "danger", danger}),
		query{fmt.Sprintf(`max by (code) (bayward_finding{%s,code=~"%s"} == 1) or 2 * max by (code) (bayward_finding{%s,code=~"%s"} == 1) or 3 * max by (code) (bayward_finding{%s,code=~"%s"} == 1) or label_replace(0 * max(bayward_charge_permitted{%s}), "code", "no finding", "", "") unless on () (max(bayward_finding{%s}) == 1)`,
			oneBay, coded(attention), oneBay, coded(passes), oneBay, coded(danger), oneBay, oneBay), "{{code}}"}))
}

func bayReadings(b *dashboard.DashboardBuilder) {
	b.WithPanel(lines(text{"Pack voltage", "A gap: no usable reading.", "suffix: V", "no usable reading"}, 8,
		query{of("bayward_pack_voltage_volts"), "pack"}))
	b.WithPanel(lines(text{"Pack current, positive while charging", "Zero is what the sensor shows when nothing flows, and noise its deviation: beyond 2 % of the capacity per hour they block the charge. A gap: no usable reading.", "suffix: A", "no usable reading, or no current sensor"}, 8,
		query{of("bayward_pack_current_amperes"), "pack"}, query{of("bayward_current_zero_amperes"), "zero"}, query{of("bayward_current_noise_amperes"), "noise"}).AxisSoftMin(-5).AxisSoftMax(5))
	warm := lines(text{"Is the pack cool enough to charge, and to water?", "No charge above the charge limit, no watering above the watering limit. A gap: no usable reading.", "celsius", "no usable reading"}, 8,
		query{of("bayward_pack_temperature_celsius"), "pack"}, query{of("bayward_ambient_temperature_celsius"), "air"},
		query{bound("bayward_temperature_limit_celsius", "charge"), "charge limit"},
		query{bound("bayward_temperature_limit_celsius", "watering"), "watering limit"})
	limit(warm, "charge limit", "red")
	limit(warm, "watering limit", "orange")
	b.WithPanel(warm)
	level := lines(text{"Do the plates stay covered?", "Electrolyte level above the plate tops, the lowest that the probe's reading allows; below 0 the plates are bare. A gap: no usable reading, which counts as bare; while a pack is there, a red line at 0 says so.", "suffix: mm", "no usable reading"}, 8,
		query{"1000 * " + of("bayward_electrolyte_level_meters"), "level"},
		query{"1000 * " + bound("bayward_electrolyte_level_limit_meters", "charge"), "lowest for charging"},
		query{"1000 * " + bound("bayward_electrolyte_level_limit_meters", "fill-mark"), "fill mark"},
		query{"1000 * " + bound("bayward_electrolyte_level_limit_meters", "vent-well"), "bottom of the vent well"},
		query{fmt.Sprintf(`0 * max by (bay) (bayward_charge_permitted{%s} unless on (site, agent, instance, bay) (bayward_electrolyte_level_meters{%s} or bayward_stage{%s,stage="vacant"} == 1))`,
			oneBay, oneBay, oneBay), "level not known"}).AxisSoftMin(-5)
	level.OverrideByName("level not known", []dashboard.DynamicConfigValue{
		{Id: "color", Value: map[string]any{"mode": "fixed", "fixedColor": "red"}}, {Id: "custom.lineWidth", Value: 4},
	})
	limit(level, "lowest for charging", "red")
	limit(level, "fill mark", "blue")
	limit(level, "bottom of the vent well", "orange")
	b.WithPanel(level)
	b.WithPanel(lines(text{"How old is each reading?", "Time since the last usable value, or since the agent started if there was none. It grows while a sensor fails, so it shows what a gap elsewhere cannot.", "suffix: min", "the agent did not answer"}, 8,
		query{fmt.Sprintf("max by (sensor) (bayward_reading_age_seconds{%s}) / 60", oneBay), "{{sensor}}"}).Min(0).AxisSoftMax(5))
}

func bayWater(b *dashboard.DashboardBuilder) {
	b.WithPanel(lines(text{"How long until it may be watered?", "Estimated time until the pack is rested and cool. Empty until a charge is proven full.", "suffix: h", "no cool-down, or no estimate"}, 8,
		query{of("bayward_cooldown_remaining_seconds") + " / 3600", "remaining"}).Min(0))
	b.WithPanel(lines(text{"How much water does it need, and how much did it lose?", "Needed: up to the fill mark, all cells, by the probe. Lost: to gas in the last 24 hours, all cells, by the charge and Faraday's law. Given: recorded in the last 24 hours. Together they show a leak or a fouled probe.",
		"suffix: L", "the level is not known"}, 8,
		query{of("bayward_water_needed_liters"), "needed"},
		query{fmt.Sprintf("max by (bay) (increase(bayward_water_lost_liters_total{%s}[1d]))", oneBay), "lost in 24 h"},
		query{fmt.Sprintf("sum by (bay) (increase(bayward_water_given_liters_total{%s}[1d]))", oneBay), "given in 24 h"}).Min(0))
	b.WithPanel(lines(text{"How long does the water last, and when must levels be read?", "Forecast until the level reaches the lowest level for charging, and until somebody must have read the cells that the bay's page names. At 0 the charge is blocked until they are read.", "suffix: d", "there is no forecast"}, 8,
		query{of("bayward_water_forecast_seconds") + " / 86400", "water lasts"},
		query{of("bayward_level_reading_due_seconds") + " / 86400", "levels read within"}).Min(0))
	b.WithPanel(lines(text{"How much was charged, and how much of it went into gas?", "Ampere-hours in the last 24 hours.", "suffix: Ah", "the agent did not answer"}, 8,
		query{fmt.Sprintf("max by (bay) (increase(bayward_charge_coulombs_total{%s}[1d])) / 3600", oneBay), "charged"},
		query{fmt.Sprintf("max by (bay) (increase(bayward_gassing_coulombs_total{%s}[1d])) / 3600", oneBay), "gassed"}).Min(0))
	b.WithPanel(lines(text{"How much hydrogen was released?", "By all cells in the last 24 hours, dry, at 25 °C, from the charge and Faraday's law: what the air of the room must carry away.", "suffix: L", "the agent did not answer"}, 8,
		query{fmt.Sprintf("1000 * max by (bay) (increase(bayward_hydrogen_released_cubic_meters_total{%s}[1d]))", oneBay), "hydrogen in 24 h"}).Min(0))
	// 2 % is the highest hydrogen_max_pct, which has its source in agent/bay/limits.go.
	b.WithPanel(lines(text{"How much hydrogen is in the air?", "By volume, where a sensor measures it. The charge is blocked from the limit that is set for the bay, 2 % at most: half of what can explode.", "percentunit", "no hydrogen sensor, or no usable reading"}, 8,
		query{of("bayward_hydrogen_ratio"), "hydrogen"}).Min(0).AxisSoftMax(0.01))
	b.WithPanel(list(text{"Which cells use most water?", "Water recorded for each cell in the time shown, most first.", "none", "no water was recorded, or the agent did not answer"}, 8, descending("water"),
		column{query{fmt.Sprintf("max by (cell) (increase(bayward_water_given_liters_total{%s}[$__range])) > 0", oneBay), "water"}, "suffix: L", 2, nil}).Height(8).
		OverrideByName("water", []dashboard.DynamicConfigValue{{Id: "custom.displayMode", Value: "basic"}, {Id: "min", Value: 0}, {Id: "custom.width", Value: 200}}))
}
