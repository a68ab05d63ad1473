// Package check reports what a configuration makes the agent do.
package check

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"bayward/agent/bay"
	"bayward/agent/config"
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

// WriteText describes in sentences what an agent would do with a configuration
// read from file, and prints the warnings about it.
func WriteText(w io.Writer, file string, cfg *config.Config, setups []bay.Setup, warnings []config.Warning) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintf(t, "%s is good.\n\n", file)
	row := func(name, format string, args ...any) {
		_, _ = fmt.Fprintf(t, "  %s\t%s\n", name, fmt.Sprintf(format, args...))
	}
	row("site, agent", "%s, %s", cfg.Site, cfg.Agent)
	row("sensors", "%s", cfg.Sensors)
	row("page, metrics", "http://%s/", cfg.HTTP.Listen)
	row("record", "%s", cfg.Logbook.Path)
	broker := "none: no messages leave this machine"
	if cfg.MQTT != nil {
		broker = cfg.MQTT.Broker
	}
	row("MQTT broker", "%s", broker)
	for i := range setups {
		s := &setups[i]
		p, l := &s.Pack, &s.Limits
		if len(s.Packs) > 0 {
			reportPacks(t, s, row)
			p = &s.Packs[0]
		} else {
			_, _ = fmt.Fprintf(t, "\n%s: pack %s, %d cells, %g Ah at %g h\n", s.Name, p.Name, p.Cells, p.CapacityAh, p.RateHours)
		}
		if len(s.Packs) > 1 {
			row("limits", "those of whichever pack it is; here those of %s:", p.Name)
		}
		row("no charge", "below %.1f mm of level, above %g °C, when frozen, and on whatever is unknown", p.ChargeLevelMM, l.ChargeMaxC)
		row("full", "at gravity %.3f, by %s", p.FullGravity, evidence(s))
		row("watering", "after %g min of rest, at most %g °C: to %.1f mm, bottom of the vent well %.1f mm", l.RestMin.Minutes(), l.WateringMaxC, p.FillMarkMM, p.VentWellMM)
		row("fitted", "%s", fitted(s, cfg.Bays[i].Wiring.Level))
		if lacks := lacking(s); lacks != "" {
			row("not fitted", "%s", lacks)
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := io.WriteString(w, blockedBy(setups)+limitsText(cfg)+warningsText(warnings)+"\n"+words.EnglishSI().Cautions()+"\n")
	return err
}

// reportPacks prints how the plugged-in pack is identified where there are
// several.
func reportPacks(t io.Writer, s *bay.Setup, row func(name, format string, args ...any)) {
	names := make([]string, len(s.Packs))
	for i := range s.Packs {
		names[i] = fmt.Sprintf("%s (%g Ah)", s.Packs[i].Name, s.Packs[i].CapacityAh)
	}
	_, _ = fmt.Fprintf(t, "\n%s: one of several packs, %d cells\n", s.Name, s.Packs[0].Cells)
	row("packs", "%s", strings.Join(names, ", "))
	if s.Recognises {
		row("which one", "by the 1-wire sensor that each of them has of its own; no charge until one answers alone")
		return
	}
	row("which one", "a person says it on the page, after each plugging; no charge before")
}

// evidence describes what can prove the pack full here.
func evidence(s *bay.Setup) string {
	by := []string{}
	if s.Has(reading.PackCurrent) {
		by = append(by, "current", "ampere-hours")
	}
	by = append(by, "voltage")
	if s.Has(reading.ChargerComplete) {
		by = append(by, "the charger's contact")
	}
	return strings.Join(append(by, "a person's hydrometer"), ", ")
}

// fitted lists the bay's sensors: first those that every bay has, then the
// optional ones.
func fitted(s *bay.Setup, l *wiring.Level) string {
	parts := titles(func(sensor reading.Sensor) bool { return !bay.Optional.Has(sensor) })
	for i := range parts {
		if l != nil && parts[i] == reading.ElectrolyteLevel.Title() {
			parts[i] += " (" + string(l.Kind) + ")"
		}
	}
	return strings.Join(append(parts, titles(s.Fitted.Has)...), ", ")
}

// lacking lists the optional sensors that are not fitted.
func lacking(s *bay.Setup) string {
	return strings.Join(titles(func(sensor reading.Sensor) bool { return !s.Has(sensor) }), ", ")
}

func titles(which func(reading.Sensor) bool) []string {
	var all []string
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if which(s) {
			all = append(all, s.Title())
		}
	}
	return all
}
