package dial

import (
	"slices"
	"testing"
	"time"

	"bayward/agent/bootclock"
	"bayward/agent/lease"
	"bayward/agent/lease/leasetest"
)

// BenchmarkLease is what a lease costs the agent: with a keeper in the same process,
// and with one behind a socket, here in another goroutine.
func BenchmarkLease(b *testing.B) {
	row := lease.Row{Bay: "bay-1", Charge: "GPIO17", Heartbeat: "GPIO27"}
	lines := []lease.Lines{{Row: row, Charge: &leasetest.Pin{}, Beat: &leasetest.Pin{}}}
	now := bootclock.Clock{}.Now
	b.Run("in-process", func(b *testing.B) {
		k, err := lease.NewKeeper(lines)
		if err != nil {
			b.Fatal(err)
		}
		benchLease(b, lease.NewClient(lease.NewLocal(k, now)).Relay(row), now)
	})
	b.Run("socket", func(b *testing.B) {
		link := New(leasetest.Serve(b, leasetest.Path(b), lines).Path)
		defer link.Close()
		benchLease(b, lease.NewClient(link).Relay(row), now)
	})
}

func benchLease(b *testing.B, r *lease.Relay, now func() time.Duration) {
	took := make([]time.Duration, 0, b.N)
	b.ReportAllocs()
	for b.Loop() {
		began := time.Now()
		if err := r.Lease(now(), lease.Longest, true); err != nil {
			b.Fatal(err)
		}
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	us := func(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }
	b.ReportMetric(us(took[len(took)/2]), "median-µs")
	b.ReportMetric(us(took[len(took)*99/100]), "p99-µs")
	b.ReportMetric(us(took[len(took)-1]), "worst-µs")
}
