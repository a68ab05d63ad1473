package commission

import (
	"context"
	"fmt"
	"math"

	"bayward/agent/reading"
)

// steps lists the steps of a bay. A later step may depend on an earlier one.
func (w *walk) steps() []step {
	wi := &w.Bay.Wiring
	t := wi.Temperature
	relay := wi.Relay != nil
	return []step{
		{key: "rest", title: "At rest, every sensor is read", fitted: true, always: true, run: (*walk).atRest},
		{key: "voltage", title: "The voltage follows the pack's plug and agrees with a meter", fitted: wi.Voltage != nil, run: (*walk).voltage},
		{key: "level", title: "The level probe tells wet, dry, broken and shorted", fitted: wi.Level != nil, run: (*walk).level},
		{key: "temperature", title: "The pack's temperature sensor is the one on the pack", fitted: t != nil, run: (*walk).temperature},
		{key: "ambient", title: "The air's temperature sensor is the one in the air", fitted: t != nil && t.Ambient != "", run: (*walk).ambient,
			missing: "No sensor for the air is configured: the cool-down goes by the pack alone and waits twice as long."},
		{key: "current", title: "The current has the right sign and agrees with a meter", fitted: wi.Current != nil, run: (*walk).current,
			missing: "No current sensor is configured: full is proven by voltage only, and a contactor that sticks shows by its feedback only."},
		{key: "airflow", title: "The fan's proof follows the fan", fitted: wi.Airflow != nil, run: (*walk).airflow},
		{key: "complete", title: "The charger's \"complete\" contact is read", fitted: wi.Complete != nil, run: (*walk).complete},
		{key: "hydrogen", title: "The hydrogen sensor answers to test gas", fitted: wi.Hydrogen != nil, run: (*walk).hydrogen},
		{key: "relay", title: "The relay obeys, and opens", fitted: relay, run: (*walk).relayObeys},
		{key: "heartbeat", title: "Without heartbeat the watchdog relay opens", fitted: relay && wi.Relay.Heartbeat != "", run: (*walk).watchdog,
			missing: "No heartbeat is configured: if the Pi hung with the line high, nothing outside it would open the relay. A watchdog relay is advised; see the wiring guide."},
		{key: "death", title: "When the program dies, the relay opens", fitted: relay, run: (*walk).programDies},
	}
}

// Cell voltages at rest outside these limits are implausible, as in the finding
// voltage-implausible.
const restLowV, restHighV = 1.75, 2.42

func (w *walk) atRest(ctx context.Context, s *Step) error {
	err := w.before(ctx, "The pack is plugged in, the machine is off, the level probe is in its cell, nobody touches anything.")
	if err != nil {
		return err
	}
	// The first looks only start the slow sensors: a 1-wire sensor has no value yet.
	if _, err := w.collect(ctx, 5); err != nil {
		return err
	}
	looks, err := w.collect(ctx, 10)
	if err != nil {
		return err
	}
	all := w.readings()
	for i := range all {
		row := &all[i]
		var values []float64
		for _, l := range looks {
			if r := row.read(l); r.OK() {
				values = append(values, r.Value)
			}
		}
		mean, sd := meanOf(values)
		w.item("%s", row.show(w.here))
		if good := len(values); good < len(looks) {
			return failed("%s was read in %d of %d looks: %s", row.name, good, len(looks), faultText(row.read(w.here).Fault))
		}
		s.Evidence = append(s.Evidence, row.evidence(mean, sd, len(looks)))
		if why := row.check(mean); why != "" {
			return failed("%s", why)
		}
	}
	return nil
}

// row is one configured reading.
type row struct {
	name, unit string // "" for a contact
	read       func(*Look) reading.Reading
	show       func(*Look) string
	check      func(mean float64) string // why the value is impossible at rest; "" if it is fine
}

// evidence describes what the looks showed.
func (r *row) evidence(mean, sd float64, looks int) string {
	switch {
	case r.unit != "":
		return fmt.Sprintf("%s: mean %s %s, standard deviation %.3f in %d looks", r.name, reading.Digits(mean, 2), r.unit, sd, looks)
	case mean == 0:
		return fmt.Sprintf("%s: open in %d looks", r.name, looks)
	case mean == 1:
		return fmt.Sprintf("%s: closed in %d looks", r.name, looks)
	}
	return fmt.Sprintf("%s: closed in %.0f of %d looks", r.name, mean*float64(looks), looks)
}

func anything(float64) string { return "" }

// readings lists the configured readings.
func (w *walk) readings() []row {
	wi := &w.Bay.Wiring
	level := func(l *Look) reading.Reading {
		return reading.Reading{Value: l.Level.LowMM, At: l.Level.At, Fault: l.Level.Fault}
	}
	rows := []row{
		{"voltage", "V", func(l *Look) reading.Reading { return l.PackV }, showVoltage, w.restV},
		{"level", "mm", level, showLevel, anything},
		{"pack temperature", "°C", func(l *Look) reading.Reading { return l.PackC }, showPackC, anything},
	}
	if wi.Temperature != nil && wi.Temperature.Ambient != "" {
		rows = append(rows, row{"air temperature", "°C", func(l *Look) reading.Reading { return l.AmbientC }, showAir, anything})
	}
	if wi.Current != nil {
		rows = append(rows, row{"current", "A", func(l *Look) reading.Reading { return l.CurrentA }, showCurrent, w.restA})
	}
	if wi.Hydrogen != nil {
		rows = append(rows, row{"hydrogen", "%", func(l *Look) reading.Reading { return l.HydrogenPct }, showHydrogen, w.restGas})
	}
	contact := func(name string, read func(*Look) reading.Reading, check func(float64) string) {
		rows = append(rows, row{name, "", read, func(l *Look) string { return showContact(name, read(l)) }, check})
	}
	if wi.Relay != nil && wi.Relay.Feedback != nil {
		contact("contactor's feedback", feedback, func(v float64) string {
			if v > 0 {
				return "the feedback says that the contactor is closed, and it is ordered open: its contacts are welded, the feedback wire is shorted, or active_low is the wrong way round"
			}
			return ""
		})
	}
	if wi.Airflow != nil {
		contact("fan's proof", func(l *Look) reading.Reading { return l.Airflow }, anything)
	}
	if wi.Complete != nil {
		contact("charger's contact", func(l *Look) reading.Reading { return l.ChargerComplete }, anything)
	}
	return rows
}

func feedback(l *Look) reading.Reading { return l.ContactorClosed }

func (w *walk) restV(v float64) string {
	low, high := restLowV*w.cells(), restHighV*w.cells()
	if v >= low && v <= high {
		return ""
	}
	return fmt.Sprintf("the voltage is %.2f V, and %d cells at rest show %.1f to %.1f V: wrong pack, wrong polarity, wrong divider, or the pack is not plugged in",
		v, w.Pack.Cells, low, high)
}

func (w *walk) restA(v float64) string {
	if math.Abs(v) <= w.strayA() {
		return ""
	}
	return fmt.Sprintf("%.1f A flow, and %.1f A is the most that counts as none: the charger is not off, the machine is on, or the sensor's zero is wrong (zero_v)",
		v, w.strayA())
}

func (w *walk) restGas(v float64) string {
	if v < w.Setup.Limits.HydrogenResumePct {
		return ""
	}
	return fmt.Sprintf("the gas sensor shows %.2f %% hydrogen: stop, ventilate and leave; or its zero is wrong (zero_v)", v)
}
