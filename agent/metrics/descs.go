package metrics

import "github.com/prometheus/client_golang/prometheus"

// desc is a metric's name, help, labels and kind. Descs are constants that Go
// cannot write as such; nothing changes them.
type desc struct {
	name, help string
	desc       *prometheus.Desc
	kind       prometheus.ValueType
}

func gauge(name, help string, labels ...string) *desc {
	return newDesc(name, help, labels, prometheus.GaugeValue)
}

func counter(name, help string, labels ...string) *desc {
	return newDesc(name, help, labels, prometheus.CounterValue)
}

func newDesc(name, help string, labels []string, kind prometheus.ValueType) *desc {
	name = "bayward_" + name
	return &desc{name, help, prometheus.NewDesc(name, help, labels, nil), kind}
}

var (
	buildInfo     = gauge("build_info", "1, with the version of bayward and of the compiler.", "version", "goversion")
	mqttConnected = gauge("mqtt_connected", "Whether the broker is connected.")
	mqttOutbox    = gauge("mqtt_outbox_events", "Events that the broker does not have yet.")

	permitted  = gauge("charge_permitted", "Whether the bay may charge now.", "bay")
	finding    = gauge("finding", "Whether a finding is raised.", "bay", "code")
	stage      = gauge("stage", "Whether the pack is at a stage of its round.", "bay", "stage")
	packV      = gauge("pack_voltage_volts", "Voltage of the pack.", "bay")
	packA      = gauge("pack_current_amperes", "Current of the pack, positive while charging.", "bay")
	packC      = gauge("pack_temperature_celsius", "Temperature of the pack.", "bay")
	ambientC   = gauge("ambient_temperature_celsius", "Temperature of the air in the bay.", "bay")
	level      = gauge("electrolyte_level_meters", "Electrolyte above the plate tops of the pilot cell, the least that the probe proves; negative is bare.", "bay")
	coolLeft   = gauge("cooldown_remaining_seconds", "Estimated time until the pack is rested and cool.", "bay")
	waterNeed  = gauge("water_needed_liters", "Water that all cells of the pack take up to the fill mark.", "bay")
	waterLost  = counter("water_lost_liters_total", "Water that all cells lost by gassing, from the charge and Faraday's law.", "bay")
	forecast   = gauge("water_forecast_seconds", "Estimated time until the level reaches the least that a charge needs.", "bay")
	hydrogen   = counter("hydrogen_released_cubic_meters_total", "Hydrogen that all cells released, dry, at 25 degrees Celsius and 101.325 kPa, from Faraday's law.", "bay")
	charged    = counter("charge_coulombs_total", "Charge given to the pack.", "bay")
	gassed     = counter("gassing_coulombs_total", "Part of the charge that made gas instead of charging, the same in every cell.", "bay")
	charges    = counter("charges_total", "Charges that began.", "bay")
	fulls      = counter("charges_full_total", "Charges that were proven full.", "bay")
	given      = counter("water_given_liters_total", "Water that people recorded for a cell since the agent started; cell 1 is the positive end.", "bay", "cell")
	bayInfo    = gauge("bay_info", "1, with the pack that the bay is set up for.", "bay", "pack")
	levelLimit = gauge("electrolyte_level_limit_meters", "Configured levels above the plate tops: the least for a charge, the fill mark, the bottom of the vent well.", "bay", "limit")
	tempLimit  = gauge("temperature_limit_celsius", "Configured pack temperatures: no charge above, no watering above.", "bay", "limit")
	closed     = gauge("relay_closed", "Whether the charge-enable relay is closed: its feedback contact where one is read, else what it was last set to.", "bay")
	readingAge = gauge("reading_age_seconds", "Age of a sensor's last usable value.", "bay", "sensor")
)

var descs = []*desc{
	buildInfo, mqttConnected, mqttOutbox, permitted, finding, stage, packV, packA, packC, ambientC, level,
	coolLeft, waterNeed, waterLost, forecast, hydrogen, charged, gassed, charges, fulls, given, bayInfo, levelLimit, tempLimit,
	closed, readingAge,
}
