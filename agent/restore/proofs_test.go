package restore_test

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/logbook"
	"bayward/agent/restore"
)

// walked is a record of a walk in which the step of the watchdog relay had a result.
func walked(id, line string, at time.Time, result commission.Result) commission.Record {
	stamp := commission.Stamp{Wall: at, Trusted: true}
	return commission.Record{
		V: 1, ID: id, Bay: "bay-1", Watchdog: line, Person: "A. Person", Begun: stamp,
		Steps: []commission.Step{{Key: "heartbeat", Result: result, Ended: stamp, By: "A. Person"}},
	}
}

// TestWatchdogs: the newest walk counts that saw the relay open, on the line that is
// configured and not in a simulation. Neither a later walk without that step nor one
// of another bay hides it.
func TestWatchdogs(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 1, n, 9, 0, 0, 0, time.UTC) }
	played := walked("played", "GPIO27", day(5), commission.Passed)
	played.Simulated = true
	other := walked("other", "GPIO27", day(6), commission.Passed)
	other.Bay = "bay-2"
	dark := walked("dark", "GPIO26", day(7), commission.Passed)
	dark.Steps[0].Ended.Trusted = false
	records := []commission.Record{
		walked("first", "GPIO27", day(1), commission.Passed), walked("second", "GPIO27", day(2), commission.Passed),
		walked("failed", "GPIO27", day(3), commission.Failed), walked("before lines were noted", "", day(4), commission.Passed), played, other, dark,
	}
	book := booked(t, records)
	for line, want := range map[string]bay.Watchdog{
		"GPIO27": {Line: "GPIO27", Proven: true, At: day(2), By: "A. Person"},
		"GPIO26": {Line: "GPIO26", Proven: true, By: "A. Person"},
		"GPIO25": {Line: "GPIO25"},
		"":       {WhyNot: "on order"},
	} {
		setups := []bay.Setup{{Name: "bay-1", Watchdog: bay.Watchdog{Line: line}}}
		if line == "" {
			setups[0].Watchdog.WhyNot = "on order"
		}
		require.NoError(t, restore.Proofs(t.Context(), book.Reader, setups))
		require.Equal(t, want, setups[0].Watchdog)
	}
}

// booked is a logbook with these walks, in this order.
func booked(t *testing.T, records []commission.Record) *logbook.Book {
	t.Helper()
	book, err := logbook.Open(t.Context(), filepath.Join(t.TempDir(), "logbook.db"), slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, book.Close()) })
	for i := range records {
		body, err := json.Marshal(&records[i])
		require.NoError(t, err)
		c := logbook.Commissioning{Bay: records[i].Bay, ID: records[i].ID, Begun: logbook.Stamp{Wall: records[i].Begun.Wall}, Body: body}
		require.NoError(t, book.SaveCommissioning(t.Context(), c))
	}
	return book
}

// TestFans: an airflow switch was seen off if the newest signed walk that tried it, on
// the line that is configured and not in a simulation, saw it. A walk that left the step
// out says nothing; one that failed takes the proof back.
func TestFans(t *testing.T) {
	const line = "GPIO6 low"
	with := func(result commission.Result, change func(*commission.Record)) commission.Record {
		r := commission.Record{V: 1, Bay: "bay-1", Fan: line, Signed: true, Steps: []commission.Step{{Key: "airflow", Result: result}}}
		if change != nil {
			change(&r)
		}
		return r
	}
	passed, failed := with(commission.Passed, nil), with(commission.Failed, nil)
	for name, c := range map[string]struct {
		walks []commission.Record
		want  bool
	}{
		"no walk":          {nil, false},
		"passed":           {[]commission.Record{passed}, true},
		"then skipped":     {[]commission.Record{passed, with(commission.Skipped, nil)}, true},
		"then failed":      {[]commission.Record{passed, failed}, false},
		"failed, repaired": {[]commission.Record{failed, passed}, true},
		"skipped":          {[]commission.Record{with(commission.Skipped, nil)}, false},
		"no such step":     {[]commission.Record{with(commission.Passed, func(r *commission.Record) { r.Steps[0].Key = "rest" })}, false},
		"not signed":       {[]commission.Record{with(commission.Passed, func(r *commission.Record) { r.Signed = false })}, false},
		"simulated":        {[]commission.Record{with(commission.Passed, func(r *commission.Record) { r.Simulated = true })}, false},
		"another line":     {[]commission.Record{with(commission.Passed, func(r *commission.Record) { r.Fan = "GPIO6 high" })}, false},
		"an older program": {[]commission.Record{with(commission.Passed, func(r *commission.Record) { r.Fan = "" })}, false},
		"another bay":      {[]commission.Record{with(commission.Passed, func(r *commission.Record) { r.Bay = "bay-2" })}, false},
	} {
		t.Run(name, func(t *testing.T) {
			for i := range c.walks {
				c.walks[i].ID = fmt.Sprint(i)
			}
			setups := []bay.Setup{{Name: "bay-1", Fan: bay.Fan{Line: line}}, {Name: "bay-1"}}
			require.NoError(t, restore.Proofs(t.Context(), booked(t, c.walks).Reader, setups))
			require.Equal(t, bay.Fan{Line: line, SeenOff: c.want}, setups[0].Fan)
			require.Equal(t, bay.Fan{}, setups[1].Fan, "no switch is wired")
		})
	}
}
