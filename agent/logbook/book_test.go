package logbook

import (
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

func TestRecordKeepsEveryField(t *testing.T) {
	b := openBook(t, filepath.Join(t.TempDir(), "a b?#%.db")) // names that an address must escape
	got, err := b.Append(t.Context(), "bay-1", stampAt(2), someEvents(3))
	if err != nil || !slices.Equal(got, []uint64{1, 2, 3}) {
		t.Fatalf("numbers %v, %v", got, err)
	}
	recs, err := b.Events(t.Context(), "bay-1", 0, 10)
	if err != nil {
		t.Fatal(err)
	}
	s, in := stampAt(2), b.Epoch()
	want := []Record{
		{Bay: "bay-1", Seq: 1, Epoch: in, Stamp: s, Kind: "finding-raised", Code: "plates-bare", Detail: Detail{Found: Found{Value: Known(-2), Limit: Known(3)}}},
		{Bay: "bay-1", Seq: 2, Epoch: in, Stamp: s, Kind: "stage-changed", Stage: "charging", From: "waiting"},
		{Bay: "bay-1", Seq: 3, Epoch: in, Stamp: s, Kind: "order-taken", By: `O'Neil, "Zoë" 张`, Order: "a\nb", Detail: Detail{Asked: &Asked{Order: "hold", Note: "Hold; it's 5 % — ok"}}},
	}
	require.Equal(t, want, recs)
}

// A Pi boots in the past, and a clock can be set before 1970.
func TestRecordKeepsWrongClocks(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	for n, wall := range []time.Time{time.UnixMilli(0), time.UnixMilli(-1), {}, time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)} {
		if _, err := b.Append(t.Context(), "bay-1", Stamp{Wall: wall}, someEvents(1)); err != nil {
			t.Fatal(err)
		}
		recs, err := b.Events(t.Context(), "bay-1", uint64(n), 1)
		if err != nil || len(recs) != 1 || !recs[0].Stamp.Wall.Equal(wall) || recs[0].Stamp.Trusted {
			t.Errorf("wall %v: got %+v, %v", wall, recs, err)
		}
	}
}

func TestNumbersGoOnAfterReopen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "deep", "er", "l.db")
	total := 0
	for n := range 5 {
		b := openBook(t, path)
		seqs, err := b.Append(t.Context(), "bay-1", stampAt(n), someEvents(n+1))
		if err != nil || seqs[0] != uint64(total+1) {
			t.Fatalf("opening %d: numbers %v, %v; want from %d", n, seqs, err, total+1)
		}
		total += n + 1
		if _, err := b.Append(t.Context(), "bay-2", stampAt(n), nil); err != nil {
			t.Fatal(err)
		}
		closeBook(t, b)
	}
	b := openBook(t, path)
	mustCount(t, b, "bay-1", total)
	mustCount(t, b, "bay-2", 0)
}

func TestMemory(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	if m, err := b.LoadMemory(t.Context(), "bay-1"); m != nil || err != nil {
		t.Fatalf("memory of an unknown bay: %+v, %v", m, err)
	}
	for n, m := range []string{"first", "", "\x00\xffnot text"} {
		if err := b.SaveMemory(t.Context(), "bay-1", stampAt(n), []byte(m)); err != nil {
			t.Fatal(err)
		}
		closeBook(t, b)
		b = openBook(t, path)
		got, err := b.LoadMemory(t.Context(), "bay-1")
		if err != nil || got == nil || string(got.State) != m || got.Bay != "bay-1" || got.Stamp != stampAt(n) {
			t.Errorf("memory %q came back as %+v, %v", m, got, err)
		}
	}
}

func TestWriteIsAllOrNothing(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	err := b.Write(t.Context(),
		Entry{Bay: "bay-1", Stamp: stampAt(1), Events: someEvents(2), Memory: []byte("m")},
		Entry{Bay: "", Stamp: stampAt(1), Events: someEvents(1)})
	if err == nil {
		t.Fatal("an entry without a bay was taken")
	}
	mustCount(t, b, "bay-1", 0)
	if m, err := b.LoadMemory(t.Context(), "bay-1"); m != nil || err != nil {
		t.Error("half of a failed write remained")
	}
	seqs, err := b.Append(t.Context(), "bay-1", stampAt(1), someEvents(1))
	if err != nil || seqs[0] != 1 {
		t.Errorf("after a failed write: numbers %v, %v; want 1", seqs, err)
	}
}

func TestFullDiskLosesNothingAndRecovers(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	limit := func(pages int) {
		if _, err := b.durable.ExecContext(t.Context(), "PRAGMA max_page_count = "+itoa(pages)); err != nil {
			t.Fatal(err)
		}
	}
	limit(12)
	stored, text := 0, string(make([]byte, 1500))
	for {
		_, err := b.Append(t.Context(), "bay-1", stampAt(stored), []bay.Event{{Kind: bay.FindingRaised, Code: interlock.PackHot, By: text}})
		if err != nil {
			break
		}
		stored++
		if stored > 1000 {
			t.Fatal("the disk never got full: the test is broken")
		}
	}
	if damagedNow := check(t.Context(), b.durable); damagedNow != nil {
		t.Errorf("full disk damaged the file: %v", damagedNow)
	}
	mustCount(t, b, "bay-1", stored)
	limit(1 << 20)
	if seqs, err := b.Append(t.Context(), "bay-1", stampAt(0), someEvents(1)); err != nil || seqs[0] != uint64(stored+1) {
		t.Errorf("with room again: numbers %v, %v; want %d", seqs, err, stored+1)
	}
}

// BenchmarkAppend is the time until an event is on the disk.
func BenchmarkAppend(b *testing.B) {
	book, err := Open(b.Context(), filepath.Join(b.TempDir(), "l.db"), quiet())
	if err != nil {
		b.Fatal(err)
	}
	defer book.Close()
	ev := someEvents(1)
	for b.Loop() {
		if _, err := book.Append(b.Context(), "bay-1", stampAt(0), ev); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkBatch writes what one busy day of one bay or eight leaves, in the
// commits in which the agent makes them: one each hour with the hour's readings and
// the newest memories of all bays, and at once whatever comes with an event: a
// charge that began and one that became full, and a visit with its fills. The rows
// are invented.
func BenchmarkBatch(b *testing.B) {
	for _, bays := range []int{1, 8} {
		b.Run(fmt.Sprintf("bays=%d", bays), func(b *testing.B) {
			book, err := Open(b.Context(), filepath.Join(b.TempDir(), "l.db"), quiet())
			if err != nil {
				b.Fatal(err)
			}
			defer book.Close()
			day, commits := 0, 0
			b.ReportAllocs()
			for b.Loop() {
				batches := dayOf(day, bays)
				for _, batch := range batches {
					if err := book.Write(b.Context(), batch...); err != nil {
						b.Fatal(err)
					}
				}
				day, commits = day+1, len(batches)
			}
			b.ReportMetric(float64(commits), "commits/op")
		})
	}
}

// dayOf returns the batches of one day, as a Recorder hands them over: the rows of
// the bays, then their memories.
func dayOf(day, bays int) (batches [][]Entry) {
	memory := make([]byte, 2500) // about the size of a bay's
	for hour := range 24 {
		var rows, memories []Entry
		for n := range bays {
			e := Entry{Bay: "bay-" + itoa(n+1), Pack: "lift-" + itoa(n+1), Stamp: minute((day*24 + hour) * 60)}
			kept := Entry{Bay: e.Bay, Pack: e.Pack, Stamp: e.Stamp, Memory: memory}
			for _, eventful := range eventsOf(e, hour) {
				batches = append(batches, []Entry{eventful, kept})
			}
			e.Rows.Series = readingsOf(&e, hour)
			rows, memories = append(rows, e), append(memories, kept)
		}
		batches = append(batches, append(rows, memories...))
	}
	return batches
}

// readingsOf returns the thinned readings of an hour: every minute near the events,
// every ten minutes on charge, and every hour at rest.
func readingsOf(e *Entry, hour int) (out []Series) {
	every := 60
	switch {
	case hour == 6 || hour == 14 || hour == 18:
		every = 4 // minutes for a quarter of it
	case hour > 6 && hour < 14:
		every = 10
	}
	for at := 0; at < 60; at += every {
		s := someSeries(at)
		s.Bay, s.Pack = e.Bay, e.Pack
		s.Start.Wall = e.Stamp.Wall.Add(time.Duration(at) * time.Minute)
		out = append(out, s)
	}
	return out
}

// eventsOf returns the entries of an hour that are written at once.
func eventsOf(e Entry, hour int) (out []Entry) {
	add := func(n int, rows Rows) {
		one := e
		one.Events, one.Rows = someEvents(n), rows
		out = append(out, one)
	}
	span := Span{Bay: e.Bay, Pack: e.Pack, Origin: ByAgent, Start: e.Stamp, End: e.Stamp}
	c, v := someCharge(0), someVisit(0)
	c.Span, v.Span = span, span
	switch hour {
	case 6:
		c.End = Stamp{}
		add(2, Rows{Charges: []Charge{c}})
	case 14:
		add(3, Rows{Charges: []Charge{c}})
	case 18:
		v.End = Stamp{}
		for range 13 { // opened, and a fill in each cell
			add(1, Rows{Visits: []Visit{v}})
		}
		v.End = e.Stamp
		add(2, Rows{Visits: []Visit{v}})
	}
	return out
}
