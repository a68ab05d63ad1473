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
