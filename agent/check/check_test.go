package check_test

import (
	"strings"
	"testing"

	"bayward/agent/check"
	"bayward/agent/config"
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
