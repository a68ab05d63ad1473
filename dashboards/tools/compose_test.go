package main

import (
	"context"
	"os"
	"path/filepath"
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
	if len(project.Services) != 7 {
		t.Errorf("%d services, want 7", len(project.Services))
	}
	for name, s := range project.Services {
		once := name == "agents" // it gives a volume to discover and exits
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
	if len(providers.Providers) != 1 || !strings.Contains(string(compose), "../dashboards/grafana:"+providers.Providers[0].Options.Path+":ro") {
		t.Errorf("boards: %+v are not where compose mounts them", providers)
	}
}
