package loop

import (
	"context"
	"encoding/json"
	"testing"
	"testing/synctest"
	"time"

	"bayward/agent/view"
)

// TestWallClockDecidesNothing: whatever the wall clock does, relay, pictures and
// events are the same. A Pi has no battery clock: it boots in the past and is set
// later.
func TestWallClockDecidesNothing(t *testing.T) {
	clocks := map[string]func(n int, now time.Time) time.Time{
		"jumps a day":     func(n int, now time.Time) time.Time { return now.Add(time.Duration(n%3-1) * 24 * time.Hour) },
		"jumps ten years": func(n int, now time.Time) time.Time { return now.AddDate(10*(n%3-1), 0, 0) },
		"back to 1970":    func(n int, _ time.Time) time.Time { return time.Unix(int64(n%5), 0) },
		"does not move":   func(int, time.Time) time.Time { return time.Unix(1e9, 0) },
	}
	want := lived(t, func(_ int, now time.Time) time.Time { return now })
	if len(want) < 200 {
		t.Fatalf("only %d pictures", len(want))
	}
	for name, clock := range clocks {
		t.Run(name, func(t *testing.T) {
			got := lived(t, clock)
			for i := range want {
				if i >= len(got) || got[i] != want[i] {
					t.Fatalf("picture %d of %d:\n%s\nwith a good clock:\n%s", i, len(got), got[min(i, len(got)-1)], want[i])
				}
			}
		})
	}
}

// lived runs some minutes in which a charge is granted, a reading is lost and comes
// back. It returns the view and events after each tick.
func lived(t *testing.T, clock func(int, time.Time) time.Time) (out []string) {
	bubble(t, func(t *testing.T) {
		seen := &testOutput{name: "seen"}
		n := 0
		r := newRig(t, 1, func(_ *rig, o *Options) {
			o.Wall = func() (time.Time, bool) { n++; return clock(n, time.Now()), n%2 == 0 }
		}, seen)
		end := r.running()
		r.closing()
		time.Sleep(500 * time.Millisecond) // between two ticks, not with one
		r.sources[0].set(func(context.Context) { panic("gone") })
		time.Sleep(30 * time.Second)
		r.sources[0].set(nil)
		time.Sleep(3 * time.Minute)
		synctest.Wait()
		if err := end(); err != nil {
			t.Fatal(err)
		}
		for _, news := range seen.all() {
			text, err := json.Marshal(struct{ View, Events any }{view.Of(news.Picture), news.Events})
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, string(text))
		}
	})
	return out
}
