package main

import (
	"slices"
	"strconv"
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// word is the meaning of a number, and its colour.
type word struct {
	value        int
	text, colour string
}

func mapped(words ...word) []dashboard.ValueMapping {
	options := map[string]dashboard.ValueMappingResult{}
	for i, w := range words {
		options[strconv.Itoa(w.value)] = dashboard.ValueMappingResult{Text: &w.text, Color: &w.colour, Index: new(int32(i))}
	}
	return []dashboard.ValueMapping{{ValueMap: &dashboard.ValueMap{Type: dashboard.MappingTypeValueToText, Options: options}}}
}

// stages returns the stages in the order of a pack's cycle. Their numbers exist only
// on the boards: each stage is a separate series in the metrics.
func stages() []word {
	return []word{
		{0, "unknown", "dark-red"}, {1, "vacant", "#5a5f66"}, {2, "checking", "#8e8e8e"}, {3, "waiting", "orange"},
		{4, "charging", "blue"}, {5, "cooling", "purple"}, {6, "ready-to-water", "dark-yellow"}, {7, "watering", "light-blue"},
		{8, "rested", "green"},
	}
}

// The bands of a panel share one table of words, so their numbers must differ.
const permitBase, relayBase, airBase = 10, 20, 30

// permits are the words for permitNumber, each with a base added to its number.
func permits(base int) []word {
	return []word{{base, "blocked", "red"}, {base + 1, "permitted", "green"}, {base + 2, "no pack", "#5a5f66"}}
}

func roundWords() []dashboard.ValueMapping {
	return mapped(slices.Concat(stages(), permits(permitBase),
		[]word{{relayBase, "open", "#5a5f66"}, {relayBase + 1, "closed", "blue"}, {airBase, "not proven", "#5a5f66"}, {airBase + 1, "moves", "green"}})...)
}

// step is a colour and the value from which it applies.
type step struct {
	from   float64
	colour string
}

// coloured returns thresholds with the base colour up to the first step.
func coloured(base string, steps ...step) *dashboard.ThresholdsConfigBuilder {
	all := []dashboard.Threshold{{Color: base}}
	for _, s := range steps {
		all = append(all, dashboard.Threshold{Value: new(s.from), Color: s.colour})
	}
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(all)
}

// The colours of reasons: what passes by itself or is known to the person who did it, what somebody should
// do, and danger.
const passes, attention, danger = "#8e8e8e", "orange", "red"

// reasons returns why a person is needed, the most urgent last: the findings, and water for a pack that is
// ready for it. Danger is red, what somebody should do orange, what passes by itself grey.
func reasons() []word {
	var all []word
	add := func(colour string, codes ...string) {
		for _, code := range codes {
			all = append(all, word{len(all) + 1, code, colour})
		}
	}
	add(passes, "agent-unready", "close-delay", "held", "visit-open")
	add("blue", "ready-to-water")
	add(attention, "readings-off", "water-unrecorded", "water-balance", "cells-miscounted", "pack-warm", "record-failing", "level-doubted",
		"pack-unknown", "temperature-unknown", "current-unknown", "voltage-unknown", "level-unknown", "contactor-open")
	add(danger, "overfilled", "plates-bare", "charge-overrun", "pack-frozen", "pack-hot", "voltage-implausible", "airflow-unproven",
		"hydrogen-warning", "hydrogen-high", "runaway", "contactor-stuck")
	return all
}

// unknown is a mapping for what has no value: words in a colour that is not that of all well.
func unknown(words string) dashboard.ValueMapping {
	return dashboard.ValueMapping{SpecialValueMap: &dashboard.SpecialValueMap{Type: dashboard.MappingTypeSpecialValue, Options: dashboard.DashboardSpecialValueMapOptions{
		Match: dashboard.SpecialValueMatchNullAndNan, Result: dashboard.ValueMappingResult{Text: &words, Color: new("orange"), Index: new(int32(99))},
	}}}
}

// coded gives the findings of a colour, as a regular expression.
func coded(colour string) string {
	var codes []string
	for _, r := range reasons() {
		if r.colour == colour {
			codes = append(codes, r.text)
		}
	}
	return strings.Join(codes, "|")
}
