package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/config/configtest"
	"bayward/agent/view"
)

// TestNoAnsweredOrderIsLost kills the program (SIGKILL) at random moments around its
// answer to an order, and starts it again. Whatever was answered as done is so after
// the start; an order that was not answered may or may not be, or the bay is held. BAYWARD_KILLS sets the
// number of kills.
func TestNoAnsweredOrderIsLost(t *testing.T) {
	const lanes = 4 // an order waits up to a second for its tick
	kills := 100
	if testing.Short() {
		kills = 20
	}
	if text := os.Getenv("BAYWARD_KILLS"); text != "" {
		var err error
		kills, err = strconv.Atoi(text)
		require.NoError(t, err, "BAYWARD_KILLS is a number")
	}
	var answered, unanswered atomic.Int64
	t.Run("lanes", func(t *testing.T) {
		for lane := range lanes {
			t.Run(strconv.Itoa(lane), func(t *testing.T) {
				t.Parallel()
				v := newVictim(t)
				for range (kills + lane) / lanes {
					if v.killed() {
						answered.Add(1)
					} else {
						unanswered.Add(1)
					}
				}
				v.process.end(syscall.SIGTERM)
			})
		}
	})
	t.Logf("figure: %d kills, %d of them after an answer, 0 acknowledged orders lost", answered.Load()+unanswered.Load(), answered.Load())
	if answered.Load() == 0 {
		t.Error("no kill came after an answer: the test is broken")
	}
}

// locked is what keeps the charge of the bay off.
type locked struct{ held, visit bool }

// victim is a program that is killed and started again, with what was answered.
type victim struct {
	t       *testing.T
	config  string
	process *process
	is      locked
	orders  int
}

func newVictim(t *testing.T) *victim {
	t.Helper()
	config := configtest.File(t, "run.yaml", configtest.OneBay(t, "LOGBOOK", t.TempDir()+"/logbook.db"))
	v := &victim{t: t, config: config, process: start(t, nil, "run", "--config", config)}
	v.is = lockedBy(v.process.stepped())
	return v
}

func lockedBy(v view.View) locked {
	held := slices.ContainsFunc(v.Findings, func(f view.Finding) bool { return f.Code == "held" })
	return locked{held, v.Visit != nil}
}

// next draws an order and returns its address, its body and what it makes of the bay.
func (v *victim) next() (address, body string, then locked) {
	v.orders++
	then = v.is
	action := "hold"
	if address = "hold"; rand.IntN(2) == 0 {
		if then.held {
			action = "unhold"
		}
		then.held = !then.held
	} else {
		address, action = "visit", "open"
		if then.visit {
			action = "close"
		}
		then.visit = !then.visit
	}
	return address, fmt.Sprintf(`{"action":%q,"by":"Ann","id":"o-%d"}`, action, v.orders), then
}

// killed gives an order, kills the program around its answer, and starts it again. It
// reports whether the order was answered.
func (v *victim) killed() (answered bool) {
	v.t.Helper()
	address, body, then := v.next()
	done := make(chan string, 1)
	go func() { done <- v.give(address, body) }()
	status := ""
	select {
	case status = <-done: // killed at once
	case <-time.After(time.Duration(rand.Int64N(int64(3 * time.Second)))):
	}
	v.process.end(syscall.SIGKILL)
	if status == "" {
		status = <-done // its answer may have been on the way
	}
	v.process = start(v.t, nil, "run", "--config", v.config)
	got := lockedBy(v.process.stepped())
	switch {
	case status == "200 OK":
		require.Equal(v.t, then, got, "%s was answered as done", body)
	case strings.Contains(status, "not-your-lock"): // the hold was that of the next case
		v.again()
		return false
	case !strings.HasPrefix(status, "no answer"):
		v.t.Fatalf("%s: %s", body, status)
	case got == v.is || got == then:
	default: // killed between the commit and its witness: the bay starts held, which is more careful than either
		require.Contains(v.t, []locked{{true, v.is.visit}, {true, then.visit}}, got, "%s was not answered", body)
		v.again()
		return false
	}
	v.is = got
	return status == "200 OK"
}

// again goes on with a bay that nobody holds.
func (v *victim) again() {
	v.t.Helper()
	v.process.end(syscall.SIGTERM)
	*v = *newVictim(v.t)
}

// give returns the status of the answer.
func (v *victim) give(address, body string) string {
	answer, err := assemblytest.Client().Post(v.process.page+"/api/v1/bays/bay-1/"+address, "application/json", strings.NewReader(body))
	if err != nil {
		return "no answer: " + err.Error()
	}
	defer answer.Body.Close()
	text, _ := io.ReadAll(answer.Body)
	if answer.StatusCode != http.StatusOK {
		return answer.Status + " " + string(text)
	}
	return answer.Status
}
