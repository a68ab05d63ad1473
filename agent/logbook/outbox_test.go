package logbook

import (
	"path/filepath"
	"testing"

	"pgregory.net/rapid"
)

func TestBaysTakeTurns(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	for name, n := range map[string]int{"bay-1": 50, "bay-2": 2, "bay-3": 0} {
		if _, err := b.Append(t.Context(), name, stampAt(0), someEvents(n)); err != nil {
			t.Fatal(err)
		}
	}
	recs, err := b.Unsent(t.Context(), 6)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for _, r := range recs {
		got += r.Bay + "/" + itoa(int(r.Seq)) + " "
	}
	if want := "bay-1/1 bay-2/1 bay-1/2 bay-2/2 bay-1/3 bay-1/4 "; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// model is a logbook as one would keep it on paper.
type model struct {
	last, sent map[string]uint64
	read       map[string]uint64 // up to where events were read since the file was opened
	memory     map[string]string
}

// TestAgainstModel drives the book with random calls and reopenings, and compares
// it with the model after each.
func TestAgainstModel(t *testing.T) {
	dir, round := inMemory(t), 0
	rapid.Check(t, func(rt *rapid.T) {
		round++
		path := filepath.Join(dir, itoa(round)+".db")
		m := model{map[string]uint64{}, map[string]uint64{}, map[string]uint64{}, map[string]string{}}
		b, err := Open(t.Context(), path, quiet())
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = b.Close() }()
		bays := rapid.SampledFrom([]string{"bay-1", "bay-2", "bay-10"})
		rt.Repeat(map[string]func(*rapid.T){
			"append": func(rt *rapid.T) {
				name, n := bays.Draw(rt, "bay"), rapid.IntRange(0, 5).Draw(rt, "events")
				seqs, err := b.Append(t.Context(), name, stampAt(n), someEvents(n))
				if err != nil || len(seqs) != n || n > 0 && seqs[0] != m.last[name]+1 {
					rt.Fatalf("%s: numbers %v, %v; want %d from %d", name, seqs, err, n, m.last[name]+1)
				}
				m.last[name] += uint64(n)
			},
			"remember": func(rt *rapid.T) {
				name, text := bays.Draw(rt, "bay"), rapid.String().Draw(rt, "memory")
				if err := b.SaveMemory(t.Context(), name, stampAt(1), []byte(text)); err != nil {
					rt.Fatal(err)
				}
				m.memory[name] = text
			},
			"sent": func(rt *rapid.T) {
				name, seq := bays.Draw(rt, "bay"), rapid.Uint64Range(0, 30).Draw(rt, "seq")
				if err := b.Sent(t.Context(), name, seq); err != nil {
					rt.Fatal(err)
				}
				m.sent[name] = max(m.sent[name], min(seq, m.last[name]))
			},
			"reopen": func(rt *rapid.T) {
				if err := b.Close(); err != nil {
					rt.Fatal(err)
				}
				if b, err = Open(t.Context(), path, quiet()); err != nil {
					rt.Fatal(err)
				}
				clear(m.read)
			},
			"": func(rt *rapid.T) { m.compare(rt, t, b) },
		})
		clear(m.read)
		m.compare(rt, t, b)
	})
}

// compare reads each event once, and all of them again after a reopening and at the
// end: reading them after every call was half of the test's time.
func (m *model) compare(rt *rapid.T, t *testing.T, b *Book) {
	unsent := 0
	for name, last := range m.last {
		recs, err := b.Events(t.Context(), name, m.read[name], 1000)
		if err != nil || len(recs) != int(last-m.read[name]) {
			rt.Fatalf("%s: %d events after %d, %v; want %d", name, len(recs), m.read[name], err, last)
		}
		for _, r := range recs {
			if m.read[name]++; r.Seq != m.read[name] {
				rt.Fatalf("%s: number %d, want %d", name, r.Seq, m.read[name])
			}
		}
		unsent += int(last - m.sent[name])
	}
	if n := b.UnsentCount(); n != unsent {
		rt.Fatalf("%d unsent, want %d", n, unsent)
	}
	next := map[string]uint64{}
	recs, err := b.Unsent(t.Context(), 1000)
	if err != nil || len(recs) != unsent {
		rt.Fatalf("outbox has %d, %v; want %d", len(recs), err, unsent)
	}
	for _, r := range recs {
		next[r.Bay]++
		if r.Seq != m.sent[r.Bay]+next[r.Bay] {
			rt.Fatalf("outbox of %s: number %d, want %d", r.Bay, r.Seq, m.sent[r.Bay]+next[r.Bay])
		}
	}
	for name, want := range m.memory {
		got, err := b.LoadMemory(t.Context(), name)
		if err != nil || got == nil || string(got.State) != want {
			rt.Fatalf("memory of %s: %+v, %v; want %q", name, got, err, want)
		}
	}
}
