package deploy_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestStack runs deploy/stack as the README describes. Debian's Prometheus must find the agent by the
// broker's status topics, load our rules, and send the alert for the demo's bare plates to Debian's
// Alertmanager.
func TestStack(t *testing.T) {
	if testing.Short() {
		t.Skip("starts four daemons")
	}
	for _, name := range []string{"prometheus", "prometheus-alertmanager", "mosquitto", "mosquitto_sub"} {
		program(t, name)
	}
	addresses := startStack(t, "--by-hand", "--speed", "1", "--rules", hasty(t))
	prometheus, alertmanager := addresses["Prometheus"], addresses["Alertmanager"]

	eventually(t, func(c *assert.CollectT) {
		var got struct {
			Data struct {
				ActiveTargets []struct {
					Health string
					Labels map[string]string
				}
			}
		}
		ask(c, prometheus+"api/v1/targets", &got)
		if assert.Len(c, got.Data.ActiveTargets, 1) {
			assert.Equal(c, "up", got.Data.ActiveTargets[0].Health)
			assert.Equal(c, "quarry-road", got.Data.ActiveTargets[0].Labels["site"])
			assert.Equal(c, "shed-2", got.Data.ActiveTargets[0].Labels["agent"])
		}
	})
	eventually(t, func(c *assert.CollectT) {
		var alerts []struct {
			Labels, Annotations map[string]string
			Receivers           []struct{ Name string }
		}
		ask(c, alertmanager+"api/v2/alerts?filter=alertname%3DBaywardPlatesBare", &alerts)
		if assert.Len(c, alerts, 1) {
			assert.Equal(c, "bay-1", alerts[0].Labels["bay"])
			assert.Equal(c, "shed-2", alerts[0].Labels["agent"])
			assert.Equal(c, "shift", alerts[0].Receivers[0].Name)
			assert.Equal(c, addresses["the bays' page"]+"bays/bay-1", alerts[0].Annotations["link"])
		}
	})
	var rules struct {
		Data struct {
			Groups []struct {
				Rules []struct{ Name, Health, LastError string }
			}
		}
	}
	ask(t, prometheus+"api/v1/rules", &rules)
	n := 0
	for _, g := range rules.Data.Groups {
		for _, r := range g.Rules {
			n++
			assert.NotEqual(t, "err", r.Health, "%s: %s", r.Name, r.LastError)
		}
	}
	assert.Greater(t, n, 20)
	page := get(t, addresses["the bays' page"]+"bays/bay-1")
	assert.Contains(t, string(page), "bay-1", "an alert's link leads to the bay's page")
}

// hasty copies the rules without their waiting times, which rules/bayward_test.yaml tests.
func hasty(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../dashboards/rules/bayward.yaml")
	require.NoError(t, err)
	quick := regexp.MustCompile(`(?m)^ +for: .*\n`).ReplaceAllString(string(text), "")
	quick = regexp.MustCompile(`interval: [0-9a-z]+`).ReplaceAllString(quick, "interval: 1s")
	require.NotEqual(t, string(text), quick)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "bayward.yaml"), []byte(quick), 0o600))
	return dir
}

// startStack starts the script and returns the addresses that it prints. The script and everything
// that it starts stop with the test.
func startStack(t *testing.T, args ...string) map[string]string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "bayward")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, module+"/agent").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	ctx, cancel := context.WithCancel(context.WithoutCancel(t.Context()))
	stack := exec.CommandContext(ctx, "./stack", append(args, "--bayward", binary)...)
	stack.Cancel = func() error { return stack.Process.Signal(syscall.SIGTERM) }
	stack.WaitDelay = 30 * time.Second
	stack.Env = append(os.Environ(), "TMPDIR="+t.TempDir())
	out, in := io.Pipe()
	stack.Stdout, stack.Stderr = in, in
	require.NoError(t, stack.Start())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = in.CloseWithError(stack.Wait())
	}()
	t.Cleanup(func() { cancel(); <-ended })
	addresses, output := map[string]string{}, ""
	for lines := bufio.NewScanner(out); lines.Scan(); {
		output += lines.Text() + "\n"
		if m := regexp.MustCompile(`^(\S.*\S) +(http://\S+/)$`).FindStringSubmatch(lines.Text()); m != nil {
			addresses[m[1]] = m[2]
		}
		if strings.HasPrefix(lines.Text(), "folder ") {
			go func() { _, _ = io.Copy(io.Discard, out) }()
			return addresses
		}
	}
	t.Fatalf("the stack did not start:\n%s", output)
	return nil
}

func eventually(t *testing.T, condition func(*assert.CollectT)) {
	t.Helper()
	require.EventuallyWithT(t, condition, 90*time.Second, 250*time.Millisecond)
}

func ask(t assert.TestingT, url string, into any) {
	assert.NoError(t, json.Unmarshal(get(t, url), into), url)
}

// TestDiscover uses a real broker and a real mosquitto_sub. Invalid names are skipped, known agents
// are kept, and a missing broker changes nothing.
func TestDiscover(t *testing.T) {
	mosquitto, pub := program(t, "mosquitto"), program(t, "mosquitto_pub")
	program(t, "mosquitto_sub")
	port := startMosquitto(t, mosquitto)
	publish := func(topic, payload string) {
		t.Helper()
		out, err := exec.CommandContext(t.Context(), pub, "-h", "127.0.0.1", "-p", port, "-r", "-t", topic, "-m", payload).CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
	agents := t.TempDir()
	discover := func(args ...string) (string, error) {
		args = append(append([]string{"--wait", "1"}, args...), agents, "--", "-h", "127.0.0.1", "-p", port)
		out, err := exec.CommandContext(t.Context(), "./discover", args...).CombinedOutput()
		return string(out), err
	}
	out, err := discover()
	require.NoError(t, err, out)
	require.Contains(t, out, "knows no agent")

	publish("bayward/quarry-road/shed-2/status", `{"v":1,"state":"online"}`)
	publish("bayward/quarry-road/shed-3/status", `{"v":1,"state":"offline"}`) // silent, so it must stay a target
	publish("bayward/quarry-road/shed-2/bay-1/state", `{}`)
	publish(`bayward/quarry-road/x","evil":"y/status`, `{}`)
	publish("bayward/../shed-4/status", `{}`)
	out, err = discover("--instance", "%a.example")
	require.NoError(t, err, out)
	require.Equal(t, []string{"quarry-road.shed-2.json", "quarry-road.shed-3.json"}, listed(t, agents), out)
	var targets []struct {
		Targets []string
		Labels  map[string]string
	}
	text, err := os.ReadFile(filepath.Join(agents, "quarry-road.shed-3.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &targets), "%s", text)
	require.Equal(t, []string{"shed-3.local:8080"}, targets[0].Targets)
	require.Equal(t, map[string]string{"site": "quarry-road", "agent": "shed-3", "instance": "shed-3.example"}, targets[0].Labels)

	publish("bayward/quarry-road/shed-3/status", "") // the broker loses it
	out, err = discover("--instance", "%a.example")
	require.NoError(t, err, out)
	require.Len(t, listed(t, agents), 2, "an agent whose status is lost is still a target")

	port = "1" // nothing listens there
	out, err = discover()
	require.Error(t, err)
	require.Contains(t, out, "does not answer")
	require.Len(t, listed(t, agents), 2)
	for _, wrong := range [][]string{{}, {"--wait"}, {"--no-such"}, {"--wait", "soon", agents}, {agents, "more"}} {
		err := exec.CommandContext(t.Context(), "./discover", wrong...).Run()
		require.ErrorContains(t, err, "exit status 2", fmt.Sprint(wrong))
	}
}

func listed(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// startMosquitto tries ports until one is free: mosquitto cannot choose one itself.
func startMosquitto(t *testing.T, mosquitto string) string {
	t.Helper()
	for try := range 20 {
		port := fmt.Sprint(21000 + (os.Getpid()*7+try*131)%11000)
		broker := exec.CommandContext(t.Context(), mosquitto, "-v", "-p", port)
		stderr, err := broker.StderrPipe()
		require.NoError(t, err)
		require.NoError(t, broker.Start())
		for lines := bufio.NewScanner(stderr); lines.Scan(); {
			if strings.Contains(lines.Text(), "running") {
				go func() { _, _ = io.Copy(io.Discard, stderr) }()
				t.Cleanup(func() { _ = broker.Process.Kill(); _ = broker.Wait() })
				return port
			}
		}
		_ = broker.Wait()
	}
	t.Fatal("no free port for mosquitto")
	return ""
}
