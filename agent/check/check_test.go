package check_test

import (
	"regexp"
	"strings"
	"testing"

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
		if err := check.WriteText(&b, v, "file.yaml", cfg, setups, cfg.Warnings(v)); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	english := report(words.English)
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

// withoutSources drops what is in brackets: the titles of sources.
func withoutSources(text string) string {
	return regexp.MustCompile(`(?s)\([^()]*(\([^()]*\)[^()]*)*\)`).ReplaceAllString(text, "")
}
