package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/loader"
	"github.com/compose-spec/compose-go/v2/types"
	"github.com/goccy/go-yaml"
)

// TestCompose loads deploy/compose.yaml with the compose specification's own reference library, its
// schema included, and checks what its header promises. It starts no container.
func TestCompose(t *testing.T) {
	path, err := filepath.Abs("../../deploy/compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	project, err := loader.LoadWithContext(context.Background(), types.ConfigDetails{
		WorkingDir: filepath.Dir(path), ConfigFiles: []types.ConfigFile{{Filename: path}},
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(project.Services) != 8 {
		t.Errorf("%d services, want 8", len(project.Services))
	}
	for name, s := range project.Services {
		once := name == "agents" || name == "faster" // they fill a volume and exit
		_, tag, pinned := strings.Cut(s.Image, ":")
		if !pinned || tag == "latest" {
			t.Errorf("%s: image %s is not pinned", name, s.Image)
		}
		if !once && (s.User == "" || strings.HasPrefix(s.User, "0") || strings.HasPrefix(s.User, "root")) {
			t.Errorf("%s: runs as %q", name, s.User)
		}
		if !once && (s.HealthCheck == nil || len(s.HealthCheck.Test) < 2 || !s.ReadOnly) {
			t.Errorf("%s: no health check, or a writable root", name)
		}
		if len(s.CapDrop) != 1 || s.CapDrop[0] != "ALL" {
			t.Errorf("%s: keeps capabilities: %v", name, s.CapDrop)
		}
		for _, p := range s.Ports {
			if p.HostIP != "127.0.0.1" {
				t.Errorf("%s: port %s is open to the network", name, p.Published)
			}
		}
		for _, v := range s.Volumes {
			if _, err := os.Stat(v.Source); v.Type == types.VolumeTypeBind && err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}

// TestFasterForTheDemo runs the program that copies boards and rules for the demo: in a record of five
// minutes the curves take a sixth of the width, and no alert of a bay keeps a wait of ten minutes or more.
// What belongs to the agent, which runs in real time, and everything else stays as it is.
func TestFasterForTheDemo(t *testing.T) {
	out := t.TempDir()
	faster := func(speed string) map[string]string {
		t.Helper()
		if text, err := exec.CommandContext(t.Context(), "sh", "../../deploy/stack.d/faster", speed, "../rules", "../grafana", out).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, text)
		}
		text, err := os.ReadFile(filepath.Join(out, "rules", "bayward.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		return waits(t, text)
	}
	original, err := os.ReadFile("../rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	yard, demo := waits(t, original), faster("60")
	for alert, want := range map[string]string{
		"BaywardBlind": "10s", "BaywardChargeBlocked": "120s", "BaywardWaterSoon": "60s", "BaywardHoldForgotten": "720s", "BaywardThirstyCell": "60s",
		"BaywardPlatesBare": "1m", "BaywardAgentSilent": "2m", "BaywardNoAgent": "5m", "BaywardLinkPoor": "15m", "BaywardTicksLate": "10m",
		"BaywardBrokerAway": "45m", "BaywardOutboxGrowing": "15m", "BaywardContactorStuck": "",
	} {
		if got, known := demo[alert]; got != want || !known {
			t.Errorf("at 60 times the speed %s waits %q, want %q", alert, got, want)
		}
	}
	if len(demo) != len(yard) {
		t.Errorf("%d alerts for the demo, the yard has %d", len(demo), len(yard))
	}
	copied, err := os.ReadFile(filepath.Join(out, "rules", "bayward.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	wait := regexp.MustCompile(`(?m)^ +for: .*$`)
	if wait.ReplaceAllString(string(copied), "") != wait.ReplaceAllString(string(original), "") {
		t.Error("more than the waits of alerts differs in the demo")
	}
	for _, b := range read(t) {
		text, err := os.ReadFile(filepath.Join(out, "boards", b.name+".json"))
		if err != nil {
			t.Fatal(err)
		}
		if want := strings.Replace(b.text, `"from": "`+b.Time.From+`"`, `"from": "now-30m"`, 1); string(text) != want {
			t.Errorf("%s: the demo's board is not the yard's from half an hour ago", b.name)
		}
	}
}

// waits gives the wait of each alert as it is written, "" for none.
func waits(t *testing.T, text []byte) map[string]string {
	t.Helper()
	var file struct {
		Groups []struct{ Rules []struct{ Alert, For string } }
	}
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	for _, g := range file.Groups {
		for _, r := range g.Rules {
			if r.Alert != "" {
				all[r.Alert] = r.For
			}
		}
	}
	return all
}

// TestGrafanaFiles: the provisioned data source and boards are where compose mounts them.
func TestGrafanaFiles(t *testing.T) {
	var sources struct {
		APIVersion  int `yaml:"apiVersion"`
		Datasources []struct{ Name, Type, URL string }
	}
	var providers struct {
		APIVersion int `yaml:"apiVersion"`
		Providers  []struct {
			Type    string
			Options struct{ Path string }
		}
	}
	for path, into := range map[string]any{"datasources": &sources, "dashboards": &providers} {
		text, err := os.ReadFile(filepath.Join("../../deploy/stack.d/grafana", path, "bayward.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		if err := yaml.Unmarshal(text, into); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
	}
	compose, err := os.ReadFile("../../deploy/compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if len(sources.Datasources) != 1 || sources.Datasources[0].Type != "prometheus" || sources.APIVersion != 1 {
		t.Errorf("data sources: %+v", sources)
	}
	if len(providers.Providers) != 1 || !strings.Contains(string(compose), "boards:"+providers.Providers[0].Options.Path+":ro") || !strings.Contains(string(compose), "boards:/out/boards") {
		t.Errorf("boards: %+v are not where compose mounts them", providers)
	}
}
