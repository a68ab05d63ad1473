package commission

import (
	"context"
	"math"

	"bayward/agent/ammeter"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// steps lists the steps of a bay. A later step may depend on an earlier one.
func (w *walk) steps() []step {
	wi := &w.Bay.Wiring
	relay := wi.Relay != nil
	return []step{
		{key: "rest", fitted: true, always: true, run: (*walk).atRest},
		{key: "voltage", fitted: wi.Has(reading.PackVoltage), run: (*walk).voltage},
		{key: "insulation", fitted: wi.Has(reading.PackVoltage), run: (*walk).insulation},
		{key: "level", fitted: wi.Has(reading.ElectrolyteLevel), run: (*walk).level},
		{key: "temperature", fitted: wi.Has(reading.PackTemperature), run: (*walk).temperature},
		{key: "ambient", fitted: wi.Has(reading.AmbientTemperature), missing: true, run: (*walk).ambient},
		{key: "current", fitted: wi.Has(reading.PackCurrent), missing: true, run: (*walk).current},
		{key: "airflow", fitted: wi.Has(reading.Airflow), run: (*walk).airflow},
		{key: "complete", fitted: wi.Complete != nil, run: (*walk).complete},
		{key: "hydrogen", fitted: wi.Has(reading.Hydrogen), run: (*walk).hydrogen},
		{key: "mirror", fitted: relay && wi.Relay.Feedback != nil && wi.Relay.Feedback.Breaks(), run: (*walk).mirror},
		{key: "relay", fitted: relay, run: (*walk).relayObeys},
		{key: "heartbeat", fitted: relay && wi.Relay.Heartbeat != "", missing: true, run: (*walk).watchdog},
		{key: "death", fitted: relay, run: (*walk).programDies},
		{key: "charge", fitted: relay && wi.Has(reading.PackCurrent), missing: true, run: (*walk).chargeStops},
	}
}

// Cell voltages at rest outside these limits are implausible, as in the finding
// voltage-implausible.
const restLowV, restHighV = 1.75, 2.42

func (w *walk) atRest(ctx context.Context, s *Step) error {
	if err := w.before(ctx, "walk.ask.rest"); err != nil {
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
		w.item(row.show(w.here))
		if good := len(values); good < len(looks) {
			return failed("walk.rest.unread", row.title(), float64(good), float64(len(looks)), words.OfFault(row.read(w.here).Fault))
		}
		s.prove(row.evidence(mean, sd, float64(len(looks))))
		if err := row.check(mean); err != nil {
			return err
		}
		if err := w.quiet(s, row.name, mean, sd); err != nil {
			return err
		}
	}
	return nil
}

// row is one configured reading.
type row struct {
	name, unit string // "" for a contact
	read       func(*Look) reading.Reading
	show       func(*Look) words.Sentence
	check      func(mean float64) error // why the value is impossible at rest
}

func (r *row) title() words.Sentence { return words.Of("walk.reading." + r.name) }

// evidence describes what the looks showed.
func (r *row) evidence(mean, sd, looks float64) words.Sentence {
	switch {
	case r.unit != "":
		return words.Of("walk.rest.mean", r.title(), mean, r.unit, sd, looks)
	case mean == 0:
		return words.Of("walk.rest.open", r.title(), looks)
	case mean == 1:
		return words.Of("walk.rest.closed", r.title(), looks)
	}
	return words.Of("walk.rest.both", r.title(), mean*looks, looks)
}

func anything(float64) error { return nil }

// readings lists the configured readings.
func (w *walk) readings() []row {
	wi := &w.Bay.Wiring
	level := func(l *Look) reading.Reading {
		return reading.Reading{Value: l.Level.LowMM, At: l.Level.At, Fault: l.Level.Fault}
	}
	rows := []row{
		{"voltage", "V", func(l *Look) reading.Reading { return l.PackV }, showVoltage, w.restV},
		{"level", "mm", level, showLevel, anything},
		{"pack", "°C", func(l *Look) reading.Reading { return l.PackC }, showPackC, anything},
	}
	if wi.Has(reading.AmbientTemperature) {
		rows = append(rows, row{"air", "°C", func(l *Look) reading.Reading { return l.AmbientC }, showAir, anything})
	}
	if wi.Has(reading.PackCurrent) {
		rows = append(rows, row{"current", "A", func(l *Look) reading.Reading { return l.CurrentA }, showCurrent, w.restA})
	}
	if wi.Has(reading.Hydrogen) {
		rows = append(rows, row{"hydrogen", "%", func(l *Look) reading.Reading { return l.HydrogenPct }, showHydrogen, w.restGas})
	}
	contact := func(name string, read func(*Look) reading.Reading, check func(float64) error) {
		rows = append(rows, row{name, "", read, func(l *Look) words.Sentence { return showContact(name, read(l)) }, check})
	}
	if wi.Has(reading.ContactorFeedback) {
		contact("feedback", feedback, restOpen)
	}
	if wi.Has(reading.Airflow) {
		contact("fan", func(l *Look) reading.Reading { return l.Airflow }, anything)
	}
	if wi.Has(reading.ChargerComplete) {
		contact("complete", func(l *Look) reading.Reading { return l.ChargerComplete }, anything)
	}
	return rows
}

func feedback(l *Look) reading.Reading { return l.ContactorClosed }

func restOpen(v float64) error {
	if v == 0 {
		return nil
	}
	return failed("walk.rest.closed.fault")
}

func (w *walk) restV(v float64) error {
	low, high := restLowV*w.cells(), restHighV*w.cells()
	if v >= low && v <= high {
		return nil
	}
	return failed("walk.rest.volts", v, w.cells(), low, high)
}

func (w *walk) restA(v float64) error {
	if math.Abs(v) <= w.strayA() {
		return nil
	}
	return failed("walk.rest.amperes", v, w.strayA())
}

// noiseRate is the most noise of the current that the walk accepts, as a share of the
// capacity, as for its zero: half of what the core works with.
const noiseRate = ammeter.MostRate / 2

// quiet judges the noise of the current, beside its zero, and says which numbers of cells
// fit the voltage at rest.
func (w *walk) quiet(s *Step, name string, mean, sd float64) error {
	switch most := noiseRate * w.Pack.CapacityAh; {
	case name == "voltage":
		s.prove(words.Of("walk.rest.cells", math.Ceil(mean/settledHighV), math.Floor(mean/settledLowV), w.cells()))
	case name == "current" && sd > most:
		return failed("walk.rest.noise", sd, most)
	case name == "current":
		s.prove(words.Of("walk.rest.zero", mean, w.strayA(), sd, most))
	}
	return nil
}

// A cell at rest for some hours is between these, from flat to full: gravities of 1.120
// and 1.300 plus 0.845 (DOE-HDBK-1084-95), and 10 mV.
const settledLowV, settledHighV = 1.955, 2.155

func (w *walk) restGas(v float64) error {
	if v < w.Setup.Limits.HydrogenResumePct {
		return nil
	}
	return failed("walk.rest.gas", v)
}
