package metrics

import (
	"fmt"

	"github.com/prometheus/client_golang/prometheus"
)

// desc is a metric's name, help, labels and kind. Descs are constants that Go
// cannot express; nothing changes them.
type desc struct {
	name, help string
	labels     int // how many
	desc       *prometheus.Desc
	kind       prometheus.ValueType
}

// descs are all metrics, in the order of their rows.
var descs []*desc

// metric is one value by the library, which refuses labels that do not fit.
func (d *desc) metric(of labels, v float64) (prometheus.Metric, error) {
	if d.labels > len(of) {
		return nil, fmt.Errorf("metric %s has %d labels, %d at most", d.name, d.labels, len(of))
	}
	return prometheus.NewConstMetric(d.desc, d.kind, v, of[:d.labels]...)
}

func gauge(name, help string, labels ...string) *desc {
	return newDesc(name, help, labels, prometheus.GaugeValue)
}

func counter(name, help string, labels ...string) *desc {
	return newDesc(name, help, labels, prometheus.CounterValue)
}

func newDesc(name, help string, labels []string, kind prometheus.ValueType) *desc {
	name = "bayward_" + name
	d := &desc{name, help, len(labels), prometheus.NewDesc(name, help, labels, nil), kind}
	descs = append(descs, d)
	return d
}

var (
	buildInfo     = gauge("build_info", "1, labelled with the versions of bayward and of the Go compiler.", "version", "goversion")
	mqttConnected = gauge("mqtt_connected", "Whether the broker is connected.")
	mqttProven    = gauge("mqtt_events_proven", "Whether the broker delivers the events that it acknowledges. 0: its access list lacks a right; the events wait in the logbook.")
	mqttOutbox    = gauge("mqtt_outbox_events", "Events not yet acknowledged by the broker.")
	// pageInfo has the scheme for links to the page: an alert cannot know it otherwise.
	pageInfo = gauge("page_info", "1, labelled with the scheme of the page: https if it is served with TLS, otherwise http.", "scheme")
	// connectionsCut shows a flood of the page.
	connectionsCut = counter("http_connections_cut_total", "Connections to the page that were cut or refused because too many were open.")

	// certEnds is a time, so that an alert can count from its own clock.
	certEnds = gauge("certificate_expiry_timestamp_seconds", "Unix time at which a configured certificate file is no longer good; absent while it cannot be read.", "use")
	// commandsRefused shows somebody at the broker who has no right to give orders.
	commandsRefused = counter("mqtt_commands_refused_total", "Commands over MQTT that reached no bay: no right, no proof of who sent them, too late, repeated, malformed, or too many.")

	permitted  = gauge("charge_permitted", "Whether the bay may charge now.", "bay")
	finding    = gauge("finding", "Whether a finding is raised.", "bay", "code")
	stage      = gauge("stage", "Whether the pack is at this stage of its cycle.", "bay", "stage")
	packV      = gauge("pack_voltage_volts", "Pack voltage.", "bay")
	packA      = gauge("pack_current_amperes", "Pack current, positive while charging.", "bay")
	zeroA      = gauge("current_zero_amperes", "What the current sensor shows when nothing flows, measured with the contactor proven open and taken off the pack current; absent while not measured.", "bay")
	noiseA     = gauge("current_noise_amperes", "Noise of the current sensor, standard deviation of one reading; absent while not measured.", "bay")
	packC      = gauge("pack_temperature_celsius", "Pack temperature.", "bay")
	ambientC   = gauge("ambient_temperature_celsius", "Air temperature in the bay.", "bay")
	hydrogenIn = gauge("hydrogen_ratio", "Hydrogen in the air by volume, 0 to 1: 0.01 is 1 %.", "bay")
	airflow    = gauge("airflow_proven", "Whether the fan's proof shows that air moves.", "bay")
	level      = gauge("electrolyte_level_meters", "Electrolyte level above the plate tops of the pilot cell, the minimum that the probe proves; negative means bare plates.", "bay")
	coolLeft   = gauge("cooldown_remaining_seconds", "Estimated time until the pack is rested and cool.", "bay")
	waterNeed  = gauge("water_needed_liters", "Water needed to fill all cells of the pack to the fill mark.", "bay")
	waterLost  = counter("water_lost_liters_total", "Water lost by all cells through gassing, from the charge and Faraday's law.", "bay")
	forecast   = gauge("water_forecast_seconds", "Estimated time until the level falls to the lowest level for charging.", "bay")
	readDue    = gauge("level_reading_due_seconds", "Estimated time until cell levels must have been read with the level rod, at the present use; 0 when they must be read now.", "bay")
	hydrogen   = counter("hydrogen_released_cubic_meters_total", "Hydrogen released by all cells, dry, at 25 degrees Celsius and 101.325 kPa, from Faraday's law.", "bay")
	charged    = counter("charge_coulombs_total", "Charge delivered to the pack.", "bay")
	gassed     = counter("gassing_coulombs_total", "Charge lost to gassing, the same in every cell.", "bay")
	charges    = counter("charges_total", "Charges started.", "bay")
	fulls      = counter("charges_full_total", "Charges proven full.", "bay")
	given      = counter("water_given_liters_total", "Water recorded for a cell since the agent started; cell 1 is the positive end.", "bay", "cell")
	bayInfo    = gauge("bay_info", "1, labelled with the pack that the bay is set up for.", "bay", "pack")
	levelLimit = gauge("electrolyte_level_limit_meters", "Configured levels above the plate tops: lowest level for charging, fill mark, bottom of the vent well.", "bay", "limit")
	tempLimit  = gauge("temperature_limit_celsius", "Configured pack temperatures: maximum for charging, maximum for watering.", "bay", "limit")
	closed     = gauge("relay_closed", "Whether the charge-enable relay is closed: by its feedback contact where one is read, otherwise by what its keeper answered; absent while the keeper is silent.", "bay")
	readingAge = gauge("reading_age_seconds", "Age of a sensor's last usable value; of a sensor that gave none, the time since the agent's first tick.", "bay", "sensor")
	proofAge   = gauge("sensor_proof_age_seconds", "Time since a sensor last showed that it lives, by a movement that only a living one makes; absent while not known.", "bay", "sensor")
)
