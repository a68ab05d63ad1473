package demo

import (
	"bytes"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly/assemblytest"
)

// TestAgentsOfAYard: three agents on one broker. Each one's page lists the bays of all
// with a way to them, and says so when an agent is gone.
func TestAgentsOfAYard(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer // read once the agents run no more, or before they write
	o := &Options{Speed: 60, Listen: "127.0.0.1:0", Broker: "127.0.0.1:0", Bays: 2, Agents: 3, ByHand: true}
	require.NoError(t, o.check())
	d, err := build(t.Context(), o, &out, assemblytest.Quiet(), t.TempDir())
	require.NoError(t, err)
	require.Contains(t, out.String(), "2 invented bays at each of 3 agents")
	addresses := []string{d.Address(), d.others[0].Address(), d.others[1].Address()}
	for i, a := range addresses[1:] {
		require.Contains(t, out.String(), "http://"+a+"/   of agent "+agentName(i+1))
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.run(ctx, o.Speed) }()
	for i, a := range addresses {
		for bay, at := range map[string]string{"bay-1": addresses[0], "bay-4": addresses[1], "bay-6": addresses[2]} {
			link := `href="http://` + at + "/bays/" + bay
			if at == a {
				link = `href="/bays/` + bay
			}
			await(t, "http://"+a+"/", link)
		}
		require.Equal(t, http.StatusNotFound, status(t, "http://"+a+"/bays/bay-9"), agentName(i))
	}
	require.Equal(t, http.StatusNotFound, status(t, "http://"+addresses[0]+"/bays/bay-4"), "another agent's bay takes no order here")
	cancel()
	require.NoError(t, <-ended)
}

// await reads a page until it has a text.
func await(t *testing.T, url, text string) {
	t.Helper()
	end := time.Now().Add(assemblytest.Bound)
	for page := ""; !strings.Contains(page, text); page = assemblytest.Get(t, url) {
		require.True(t, time.Now().Before(end), "%s has no %s: %s", url, text, page)
	}
}

func status(t *testing.T, url string) int {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, http.NoBody)
	require.NoError(t, err)
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	return answer.StatusCode
}

// TestAgentsRefused: what --agents cannot mean is refused, and so is a record that one of
// them would write over.
func TestAgentsRefused(t *testing.T) {
	o := Options{Speed: 1, Bays: 1, Agents: 9}
	require.ErrorContains(t, o.check(), "--agents: value 9 is not accepted: 1 to 8")
	o = Options{Logbook: "/tmp/round.db", Listen: "127.0.0.1:8080"}
	require.Equal(t, []string{"/tmp/round.db", "/tmp/round-shed-3.db"}, []string{o.logbook(0), o.logbook(1)})
	require.Equal(t, []string{"127.0.0.1:8080", "127.0.0.1:8081"}, []string{o.listen(0), o.listen(1)})
	o.Listen = "127.0.0.1:0"
	require.Equal(t, "127.0.0.1:0", o.listen(2))
}
