package assembly

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/mqtt/mqtttest"
)

// TestSecretsFromSystemd: a password or key passed by systemd is used where the
// configuration names no file.
func TestSecretsFromSystemd(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"mqtt-password", "mqtt-key"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	a := &Agent{Parts: Parts{Config: &config.Config{}}}
	m := &config.MQTT{Username: "shed-2", CertFile: "cert.pem"}
	if o := a.brokerOptions(m); o.PasswordFile != "" || o.KeyFile != "" {
		t.Errorf("without systemd: %q, %q", o.PasswordFile, o.KeyFile)
	}
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	if o := a.brokerOptions(m); o.PasswordFile != filepath.Join(dir, "mqtt-password") || o.KeyFile != filepath.Join(dir, "mqtt-key") {
		t.Errorf("with systemd: %q, %q", o.PasswordFile, o.KeyFile)
	}
	m.PasswordFile, m.KeyFile = "p", "k"
	if o := a.brokerOptions(m); o.PasswordFile != "p" || o.KeyFile != "k" {
		t.Errorf("with files of its own: %q, %q", o.PasswordFile, o.KeyFile)
	}
	if o := a.brokerOptions(&config.MQTT{}); o.PasswordFile != "" || o.KeyFile != "" {
		t.Errorf("without user and certificate: %q, %q", o.PasswordFile, o.KeyFile)
	}
}

// TestRolesOfSigners: the roles of the page apply to signed orders too.
func TestRolesOfSigners(t *testing.T) {
	key := filepath.Join(t.TempDir(), "key.pem")
	// The key of RFC 8032, section 7.1, test 1.
	text := "-----BEGIN PUBLIC KEY-----\nMCowBQYDK2VwAyEA11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=\n-----END PUBLIC KEY-----\n"
	if err := os.WriteFile(key, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	to := slog.New(slog.NewTextHandler(&log, nil))
	got := signers([]config.Person{
		{Name: "no key", Role: "release"}, {Name: "looks", Role: "look", MQTTKeyFile: key},
		{Name: "visits", Role: "visit", MQTTKeyFile: key}, {Name: "releases", Role: "release", MQTTKeyFile: key},
	}, to)
	if len(got) != 3 || log.Len() > 0 {
		t.Fatalf("%+v, %s", got, &log)
	}
	for i, want := range []struct{ visit, release bool }{{false, false}, {true, false}, {true, true}} {
		if got[i].Right.Allows(order.VisitOpen) != want.visit || got[i].Right.Allows(order.Release) != want.release {
			t.Errorf("%s: %+v", got[i].Name, got[i])
		}
	}
	got = signers([]config.Person{
		{Name: "A. Person", Role: "visit", MQTTKeyFile: key + "x"}, {Name: "B. Person", Role: "visit", MQTTKeyFile: key},
	}, to)
	if len(got) != 1 || got[0].Name != "B. Person" || !strings.Contains(log.String(), "A. Person") {
		t.Errorf("with a file that is missing: %+v, log %s", got, &log)
	}
}

// TestEmbeddedBroker: a single bay without infrastructure runs its broker inside
// the program.
func TestEmbeddedBroker(t *testing.T) {
	cfg := configtest.Parse(t, configtest.OneBay(t))
	cfg.MQTT = &config.MQTT{Embedded: "127.0.0.1:0", ClientID: "shed"}
	bench, _, err := hardware.Simulate(cfg, nil)
	if err != nil {
		t.Fatal(err)
	}
	keeper, err := hardware.KeepHere(cfg, bench, bench.Now)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	a, err := New(ctx, Parts{
		Config: cfg, Log: slog.New(slog.DiscardHandler), Hardware: hardware.OfBench(bench), Keeper: keeper,
		Wall:   func() (time.Time, bool) { return time.Now(), true },
		BootID: "b", Mono: bench.Now, Every: time.Second, GuardAfter: time.Minute,
		Gap: func(logbook.Stamp) (time.Duration, bool) { return 0, false },
	})
	if err != nil {
		t.Fatal(err)
	}
	_, got := mqtttest.ReadAll(t, a.embedded.URL())
	g, ctx := errgroup.WithContext(ctx)
	if err := a.Serve(ctx, g); err != nil {
		t.Fatal(err)
	}
	select {
	case m := <-got:
		if m.Topic() != "bayward/quarry-road/shed-9/status" || !strings.Contains(string(m.Payload()), `"online"`) {
			t.Errorf("%s %s", m.Topic(), m.Payload())
		}
	case <-time.After(time.Minute):
		t.Error("nothing came")
	}
	cancel()
	if err := g.Wait(); err != nil {
		t.Error(err)
	}
	if err := a.Close(); err != nil {
		t.Error(err)
	}
}
