package check_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/check"
	"bayward/agent/config"
	"bayward/agent/words"
	"bayward/sensors/wiring"
)

// TestSetupsAreWhatRunOpens: run opens what check accepts; the shipped example
// only lacks a Pi.
func TestSetupsAreWhatRunOpens(t *testing.T) {
	cfg, err := config.Load("../../deploy/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := check.Setups(cfg); err != nil {
		t.Error(err)
	}
	cfg.Bays[0].Wiring.Level.Kind = "float"
	if _, err := check.Setups(cfg); err == nil || !strings.Contains(err.Error(), "float") {
		t.Errorf("a probe that run cannot open: %v", err)
	}
}

// TestReportInEveryLanguage: every part of the report is worded, and only names, keys and
// sources are the same as in English.
func TestReportInEveryLanguage(t *testing.T) {
	cfg, err := config.Load("../../deploy/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	setups, err := check.Setups(cfg)
	if err != nil {
		t.Fatal(err)
	}
	report := func(language string) string {
		v := words.New(language, "")
		var b strings.Builder
		if err := (&check.Report{File: "file.yaml", Config: cfg, Setups: setups, Warnings: cfg.Warnings(v), Conns: 256, ConnsEach: 24}).WriteText(&b, v); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	english := report(words.English)
	if !strings.Contains(english, "at most 256 connections, 24 of one address") {
		t.Errorf("the bounds on connections are missing:\n%s", english)
	}
	for _, language := range words.Languages() {
		text := report(language)
		if found := regexp.MustCompile(`⟦|%!`).FindString(text); found != "" || strings.Count(text, "\n- ") != strings.Count(english, "\n- ") {
			t.Errorf("%s: %q in\n%s", language, found, text)
		}
		for _, word := range []string{" the ", " is ", "charge is", "fitted", "cells"} {
			if language != words.English && strings.Contains(withoutSources(text), word) {
				t.Errorf("%s: has %q:\n%s", language, word, text)
			}
		}
	}
}

// TestFullLacks: for every kind of charger the report says at commissioning what full
// needs and the bay does not have.
func TestFullLacks(t *testing.T) {
	for _, c := range []struct {
		curve             string
		current, complete bool
		want              string
	}{
		{"iu", true, false, "nothing; a charge that ends within the hour"}, {"taper", true, true, "nothing; a charge that ends within the hour"},
		{"iu", false, true, "nothing in most nights"}, {"iui", false, true, "nothing in most nights"},
		{"iu", false, false, "a current sensor or the charger's contact: this charger holds its voltage"},
		{"iui", false, false, "a current sensor or the charger's contact: by voltage alone about half"},
		{"taper", false, false, "a current sensor or the charger's contact: by voltage alone about half"},
		{"unregulated", false, false, "a current sensor or the charger's contact: by voltage alone about half"},
		{"unknown", false, false, "a current sensor or the charger's contact: a charger that holds"}, {"", false, false, "a current sensor or the charger's contact: a charger that holds"},
	} {
		cfg, err := config.Load("../../deploy/bayward.yaml")
		if err != nil {
			t.Fatal(err)
		}
		b := &cfg.Bays[0]
		if b.Charger = nil; c.curve != "" {
			b.Charger = &config.Charger{Curve: c.curve, RatedA: 40}
		}
		if !c.current {
			b.Wiring.Current = nil
		}
		if c.complete {
			b.Wiring.Complete = &wiring.Contact{Pin: "GPIO25"}
		}
		setups, err := check.Setups(cfg)
		if err != nil {
			t.Fatal(err)
		}
		var text strings.Builder
		if err := (&check.Report{Config: cfg, Setups: setups}).WriteText(&text, words.EnglishSI()); err != nil {
			t.Fatal(err)
		}
		if !regexp.MustCompile(`(?m)^  full lacks +` + regexp.QuoteMeta(c.want)).MatchString(text.String()) {
			t.Errorf("%+v: the report lacks %q:\n%s", c, c.want, text.String())
		}
	}
}

// TestWatchdogIsReported: the report names the line and the age of its proof, the
// reason why there is none, and a record that could not be read.
func TestWatchdogIsReported(t *testing.T) {
	cfg, err := config.Load("../../deploy/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 31, 12, 0, 0, 0, time.UTC)
	proven := bay.Watchdog{Line: "GPIO27", Proven: true, At: now.Add(-30 * 24 * time.Hour), By: "A. Person"}
	for name, row := range map[string]struct {
		is       bay.Watchdog
		noRecord bool
		want     string
	}{
		"proven":     {proven, false, "GPIO27; proven on 2026-03-01 by A. Person, 30 days ago"},
		"not proven": {bay.Watchdog{Line: "GPIO27"}, false, "GPIO27; not proven"},
		"no record":  {bay.Watchdog{Line: "GPIO27"}, true, "GPIO27; when it was proven is in the record, which cannot be read here"},
		"none":       {bay.Watchdog{WhyNot: "on order"}, true, "none (on order)"},
	} {
		setups, err := check.Setups(cfg)
		if err != nil {
			t.Fatal(err)
		}
		setups[0].Watchdog = row.is
		var b strings.Builder
		r := check.Report{Config: cfg, Setups: setups, NoRecord: row.noRecord, Now: now}
		if err := r.WriteText(&b, words.EnglishSI()); err != nil {
			t.Fatal(err)
		}
		if !regexp.MustCompile(`(?m)^  watchdog relay +` + regexp.QuoteMeta(row.want)).MatchString(b.String()) {
			t.Errorf("%s: the report lacks %q:\n%s", name, row.want, b.String())
		}
	}
}

// withoutSources drops what is in brackets: the titles of sources.
func withoutSources(text string) string {
	return regexp.MustCompile(`(?s)\([^()]*(\([^()]*\)[^()]*)*\)`).ReplaceAllString(text, "")
}

// TestLinesAreReported: for each reading, which chip it comes from and where that is.
func TestLinesAreReported(t *testing.T) {
	const text = `site: quarry-road
agent: shed-2
sensors: wired
modbus:
  - {name: meters, url: 'rtu:///dev/ttyUSB0'}
bays:
  - name: bay-1
    pack: lift-24v
    wiring:
      i2c: 1
      voltage: {converter: mcp3208, spi: '0.0', channel: 3, range_v: 3.3, ratio: 12}
      current: {kind: shunt, converter: ina226, adc: 0x40, channel: 0, amperes_per_volt: 2500}
      temperature: {rtd: [{of: pack, spi: '0.1', reference_ohm: 430}], ambient: 28-0416b3d1aaff}
      level: {kind: rod, adc: 0x49, channel: 0, expander: 0x20, reference_ohm: 10000, end_ohm: 47000, rods: [{height_mm: 3, series_ohm: 4700}]}
      relay: {pin: GPIO17, heartbeat: GPIO27, feedback: {pin: GPIO23, normally: closed}}
      registers:
        - {reading: hydrogen, line: meters, unit: 2, table: input, address: 7, low: 0, high: 4, fault_values: [65535]}
packs:
  - {name: lift-24v, cells: 12, capacity_ah: 225, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130}
`
	cfg, err := config.Parse("file.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	setups, err := check.Setups(cfg)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := (&check.Report{File: "file.yaml", Config: cfg, Setups: setups}).WriteText(&b, words.EnglishSI()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"pack voltage: MCP3208 at SPI 0.0, input 3",
		"current: INA226 at 0x40 on bus 1, input 0",
		"pack temperature: pt100 behind a MAX31865 at SPI 0.1",
		"ambient temperature: 28-0416b3d1aaff",
		"level: ADS1115 at 0x49 on bus 1, input 0, test pulses from the TCA9534 at 0x20",
		"hydrogen: register 7, input, unit 2 of meters",
	} {
		if !strings.Contains(b.String(), want+"\n") {
			t.Errorf("the report lacks %q:\n%s", want, b.String())
		}
	}
}
