// Package check reports what a configuration makes the agent do.
package check

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"bayward/agent/ammeter"
	"bayward/agent/bay"
	"bayward/agent/cellcount"
	"bayward/agent/config"
	"bayward/agent/electrolyte"
	"bayward/agent/hardware"
	"bayward/agent/reading"
	"bayward/agent/words"
	"bayward/sensors"
	"bayward/sensors/wiring"
)

// Setups builds the setups that an agent would build from a configuration,
// without hardware.
func Setups(cfg *config.Config) ([]bay.Setup, error) {
	if err := sensors.Check(cfg); err != nil {
		return nil, err
	}
	if cfg.Sensors == "simulated" {
		if _, _, err := hardware.Simulate(cfg, nil); err != nil {
			return nil, err
		}
	}
	return cfg.Setups()
}

// WriteJSON prints the configuration under the names used in the file, with the
// warnings as one more key.
func WriteJSON(w io.Writer, cfg *config.Config, warnings []config.Warning) error {
	flat, err := cfg.JSON()
	if err != nil {
		return fmt.Errorf("bug: print the configuration: %w", err)
	}
	if warnings == nil {
		warnings = []config.Warning{}
	}
	said, err := json.Marshal(warnings)
	if err != nil {
		return fmt.Errorf("bug: print the warnings: %w", err)
	}
	flat = fmt.Appendf(bytes.TrimSuffix(bytes.TrimSpace(flat), []byte("}")), `, "warnings": %s}`, said)
	var out bytes.Buffer
	if err := json.Indent(&out, flat, "", "  "); err != nil {
		return fmt.Errorf("bug: print the configuration: %w", err)
	}
	out.WriteByte('\n')
	_, err = out.WriteTo(w)
	return err
}

// Report is what is reported about a configuration.
type Report struct {
	File     string
	Config   *config.Config
	Setups   []bay.Setup
	Warnings []config.Warning
	NoRecord bool // the record could not be read: the setups lack what the walks have proven
	Now      time.Time
	// Conns is how many connections the page takes in all, and ConnsEach of one address.
	Conns, ConnsEach int
	Scheme           string // of the page: http or https
}

// WriteText describes in sentences what an agent would do with the configuration, and
// prints the warnings about it.
func (r *Report) WriteText(w io.Writer, v words.Voice) error {
	t, cfg := &table{tabwriter.NewWriter(w, 0, 0, 2, ' ', 0), v}, r.Config
	t.line(v.Say("check.good", r.File) + "\n")
	t.row("site", "check.names", cfg.Site, cfg.Agent)
	t.row("sensors", "check.text", cfg.Sensors)
	t.row("page", "check.page", r.Scheme, cfg.HTTP.Listen, float64(r.Conns), float64(r.ConnsEach))
	t.row("record", "check.text", cfg.Logbook.Path)
	if cfg.MQTT != nil {
		t.row("broker", "check.text", config.ShownAddress(cfg.MQTT.Broker))
	} else {
		t.row("broker", "check.broker.none")
	}
	for i := range r.Setups {
		t.bay(&r.Setups[i], &cfg.Bays[i])
		t.inputs(&cfg.Bays[i].Wiring)
		t.contacts(&cfg.Bays[i].Wiring)
		t.watchdog(&r.Setups[i].Watchdog, r)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := io.WriteString(w, blockedBy(v, r.Setups)+limitsText(v, cfg)+warningsText(v, r.Warnings)+"\n"+v.Cautions()+"\n")
	return err
}

// table is the report's list of names and values.
type table struct {
	*tabwriter.Writer
	words.Voice
}

func (t *table) line(text string) { _, _ = fmt.Fprintln(t.Writer, text) }

// row prints a name and a value, which are texts of agent/words.
func (t *table) row(name, key string, values ...any) {
	t.line("  " + t.Say("check.row."+name) + "\t" + t.Say(key, values...))
}

func (t *table) bay(s *bay.Setup, c *config.Bay) {
	p, l := &s.Pack, &s.Limits
	if len(s.Packs) > 0 {
		p = &s.Packs[0]
		t.packs(s)
	} else {
		t.line("\n" + t.Say("check.pack", s.Name, p.Name, float64(p.Cells), p.CapacityAh, p.RateHours))
	}
	t.row("no-charge", "check.no-charge", p.ChargeLevelMM, l.ChargeMaxC)
	t.row("full", "check.full", p.FullGravity, t.evidence(s))
	t.row("full-lacks", "check.full.lacks."+fullLacks(s, c))
	t.measured(s, p)
	t.row("watering", "check.watering", l.RestMin.Minutes(), l.WateringMaxC, p.FillMarkMM, p.VentWellMM)
	t.row("fitted", "check.text", t.fitted(s, c.Wiring.Level))
	if lacks := t.sensors(func(sensor reading.Sensor) bool { return !s.Has(sensor) }); len(lacks) > 0 {
		t.row("not-fitted", "check.text", strings.Join(lacks, ", "))
	}
}

// measured prints how the number of cells and the zero of the current are checked here.
func (t *table) measured(s *bay.Setup, p *bay.Pack) {
	switch {
	case !s.Has(reading.PackCurrent):
		t.row("cells", "check.cells.blind")
		return
	case p.Cells > cellcount.SharpCells:
		t.row("cells", "check.cells.gravity", float64(cellcount.SharpCells))
	default:
		t.row("cells", "check.cells")
	}
	if s.Has(reading.ContactorFeedback) {
		t.row("zero", "check.zero", 100*ammeter.MostRate)
	} else {
		t.row("zero", "check.zero.away", 100*ammeter.MostRate)
	}
}

// contacts prints the kind of each contact, and what its broken wire reads as.
func (t *table) contacts(w *wiring.Parts) {
	for _, c := range w.Contacts() {
		if c.Contact == nil {
			continue
		}
		kind := "makes"
		if c.Contact.Breaks() {
			kind = "breaks"
		}
		t.row("contact", "check.contact."+kind+"."+c.Sensor.String(), t.Sensor(c.Sensor))
	}
}

// inputs prints where each reading that is no contact comes from: the chip and its input,
// the thermometer, or the register.
func (t *table) inputs(w *wiring.Parts) {
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		switch line := w.SensorLine(s); {
		case w.Register(s) != nil:
			t.row("register", "check.line", t.Sensor(s), line)
		case line != "" && !w.IsContact(s):
			t.row("line", "check.line", t.Sensor(s), line)
		}
	}
}

// watchdog prints which line keeps the watchdog relay closed, and when it was proven.
func (t *table) watchdog(w *bay.Watchdog, r *Report) {
	switch {
	case *w == (bay.Watchdog{}):
	case w.Line == "":
		t.row("watchdog", "check.text", t.Watchdog(*w, r.Now))
	case r.NoRecord:
		t.row("watchdog", "check.watchdog.unread", w.Line)
	default:
		t.row("watchdog", "check.watchdog", w.Line, t.Watchdog(*w, r.Now))
	}
}

// packs prints how the plugged-in pack is identified where there are several.
func (t *table) packs(s *bay.Setup) {
	names := make([]string, len(s.Packs))
	for i := range s.Packs {
		names[i] = t.Say("check.packs.one", s.Packs[i].Name, s.Packs[i].CapacityAh)
	}
	t.line("\n" + t.Say("check.packs", s.Name, float64(s.Packs[0].Cells)))
	t.row("packs", "check.text", strings.Join(names, ", "))
	if s.Recognises {
		t.row("which", "check.which.sensor")
	} else {
		t.row("which", "check.which.person")
	}
	if len(s.Packs) > 1 {
		t.row("limits", "check.limits", s.Packs[0].Name)
	}
}

// evidence describes what can prove the pack full here.
func (t *table) evidence(s *bay.Setup) string {
	by := map[[2]bool]string{
		{false, false}: "check.full.voltage", {false, true}: "check.full.voltage.contact",
		{true, false}: "check.full.current", {true, true}: "check.full.current.contact",
	}[[2]bool{s.Has(reading.PackCurrent), s.Has(reading.ChargerComplete)}]
	return t.Say("check.full.hydrometer", t.Say(by))
}

// fullLacks names what full needs here and does not have, by the charger and what is wired.
func fullLacks(s *bay.Setup, c *config.Bay) string {
	switch curve, _ := c.Characteristic(); {
	case s.Has(reading.PackCurrent):
		return "current"
	case s.Has(reading.ChargerComplete):
		return "contact"
	case curve == electrolyte.CurveIU:
		return "iu"
	case curve == electrolyte.CurveUnknown:
		return "unknown"
	}
	return "finish"
}

// fitted lists the bay's sensors: first those that every bay has, then the
// optional ones.
func (t *table) fitted(s *bay.Setup, probe *wiring.Level) string {
	parts := t.sensors(func(sensor reading.Sensor) bool { return !bay.Optional.Has(sensor) })
	for i := range parts {
		if probe != nil && parts[i] == t.Sensor(reading.ElectrolyteLevel) {
			parts[i] = t.Say("check.level", parts[i], string(probe.Kind))
		}
	}
	return strings.Join(append(parts, t.sensors(s.Fitted.Has)...), ", ")
}

func (t *table) sensors(which func(reading.Sensor) bool) []string {
	var all []string
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if which(s) {
			all = append(all, t.Sensor(s))
		}
	}
	return all
}
