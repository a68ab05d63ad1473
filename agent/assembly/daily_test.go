package assembly

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/view"
	"bayward/agent/words"
	"bayward/mqtt/broker"
)

// member runs an agent of a site on a broker until stop.
func member(t *testing.T, name, url string, change func(*config.Config)) (a *Agent, stop func()) {
	t.Helper()
	cfg := configtest.Parse(t, configtest.OneBay(t))
	cfg.Agent, cfg.MQTT = name, &config.MQTT{Broker: url, ClientID: name}
	cfg.Notify = &config.Notify{DailyRound: "06:30", Webhooks: []config.Webhook{{Name: "hook", URL: "http://127.0.0.1:9", Method: "POST"}}}
	if change != nil {
		change(cfg)
	}
	bench, _, err := hardware.Simulate(cfg, nil)
	require.NoError(t, err)
	keeper, err := hardware.KeepHere(cfg, bench, bench.Now)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	a, err = New(ctx, Parts{
		Config: cfg, Log: slog.New(slog.DiscardHandler), Hardware: hardware.OfBench(bench), Keeper: keeper,
		Wall:   func() (time.Time, bool) { return time.Now(), true },
		BootID: "b", Mono: bench.Now, Every: time.Second, GuardAfter: time.Minute,
		Gap: func(logbook.Stamp) (time.Duration, bool) { return 0, false },
	})
	require.NoError(t, err)
	g, ctx := errgroup.WithContext(ctx)
	require.NoError(t, a.Serve(ctx, g))
	return a, func() {
		cancel()
		require.NoError(t, g.Wait())
		require.NoError(t, a.Close())
	}
}

func eventually(t *testing.T, is func() bool) {
	t.Helper()
	require.Eventually(t, is, time.Minute, 5*time.Millisecond)
}

// TestOneDailyRoundForTheSite: on one broker the first agent by name has the turn, and its
// word keeps the next one's message back; when it is gone, the next one has the turn. The
// message has all agents' bays. Without a broker an agent waits, then sends its own.
func TestOneDailyRoundForTheSite(t *testing.T) {
	b, err := broker.Start(t.Context(), broker.Options{Listen: "127.0.0.1:0", Agents: []string{"shed-1", "shed-9"}, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	first, stopFirst := member(t, "shed-1", b.URL(), nil)
	second, stopSecond := member(t, "shed-9", b.URL(), nil)
	turn := func(a *Agent, day string) (time.Duration, bool) { return a.rota().Turn(day) }
	eventually(t, func() bool { after, _ := turn(second, "2026-03-01"); return after == turnEvery })
	eventually(t, func() bool { after, _ := turn(first, "2026-03-01"); return after == 0 })
	_, sent := turn(second, "2026-03-01")
	require.False(t, sent)

	first.rota().Sent("2026-03-01")
	eventually(t, func() bool { _, sent := turn(second, "2026-03-01"); return sent })
	_, sent = turn(second, "2026-03-02")
	require.False(t, sent)

	v := words.EnglishSI()
	first.client.State("bay-1", view.View{V: 1, Bay: "bay-1", Stage: "ready-to-water", Full: true, WaterML: []float64{400, 400}}, wallOf(time.Now(), true))
	eventually(t, func() bool { return len(second.otherBays(v)) == 1 })
	_, text := v.Round("quarry-road", "shed-9", nil, second.otherBays(v))
	require.Contains(t, text, "1 bay needs someone.\n\nbay-1 · shed-1: ")
	require.Contains(t, text, "800 ml")

	stopFirst()
	eventually(t, func() bool { after, _ := turn(second, "2026-03-02"); return after == 0 })
	_, sent = turn(second, "2026-03-01")
	require.True(t, sent, "what it has sent is known after it has gone")
	_, text = v.Round("quarry-road", "shed-9", nil, second.otherBays(v))
	require.Contains(t, text, "Agent shed-1 is offline")

	require.NoError(t, b.Close())
	eventually(t, func() bool { after, _ := turn(second, "2026-03-02"); return after == aloneAfter })
	stopSecond()
}

// TestADailyRoundOfItsOwn: the configuration, or the lack of a broker, leaves each agent
// its own message; one that has no way to send any is nobody's turn.
func TestADailyRoundOfItsOwn(t *testing.T) {
	for name, change := range map[string]func(*config.Config){
		"the agent's own":  func(c *config.Config) { c.Notify.DailyRoundFor = "agent" },
		"others ignored":   func(c *config.Config) { c.MQTT.OtherAgents = "ignore" },
		"without a broker": func(c *config.Config) { c.MQTT = nil },
		"without a way":    func(c *config.Config) { c.Notify.Webhooks = nil },
		"without a time":   func(c *config.Config) { c.Notify.DailyRound = "" },
	} {
		t.Run(name, func(t *testing.T) {
			a := &Agent{Parts: Parts{Config: &config.Config{
				Site: "quarry-road", Agent: "shed-9", MQTT: &config.MQTT{},
				Notify: &config.Notify{DailyRound: "06:30", Webhooks: []config.Webhook{{Name: "hook"}}},
			}}}
			change(a.Config)
			a.followSite()
			require.Nil(t, a.rota())
			require.Empty(t, a.otherBays(words.EnglishSI()))
		})
	}
}
