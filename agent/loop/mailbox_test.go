package loop

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/bay"
)

func news(bayName string, at int, events int) *News {
	n := &News{Bay: bayName, Picture: &bay.Picture{Bay: bayName, Now: time.Duration(at)}}
	for range events {
		n.Events = append(n.Events, bay.Event{Kind: bay.FindingRaised, At: time.Duration(at)})
	}
	return n
}

func rest(m *mailbox) (out []string) {
	for n := m.next(); n != nil; n = m.next() {
		kind := "picture"
		if len(n.Events) > 0 {
			kind = "event"
		}
		out = append(out, fmt.Sprintf("%s %s %d %s", kind, n.Bay, n.Picture.Now, n.Memory))
	}
	return out
}

// TestMailbox lists what waits for a blocked output.
func TestMailbox(t *testing.T) {
	memory := func(n *News, text string) *News { n.Memory = []byte(text); return n }
	for _, row := range []struct {
		name  string
		offer []*News
		want  []string
	}{
		{"nothing", nil, nil},
		{"pictures are skipped", []*News{news("a", 1, 0), news("b", 1, 0), news("a", 2, 0), news("a", 3, 0)}, []string{"picture a 3 ", "picture b 1 "}},
		{"events are not", []*News{news("a", 1, 1), news("a", 2, 2), news("b", 2, 1)}, []string{"event a 1 ", "event a 2 ", "event b 2 "}},
		{"a picture never comes after newer events", []*News{news("a", 1, 0), news("a", 2, 1), news("b", 2, 0)}, []string{"event a 2 ", "picture b 2 "}},
		{"a newer picture comes after them", []*News{news("a", 1, 1), news("a", 2, 0)}, []string{"event a 1 ", "picture a 2 "}},
		{"the newest memory is kept", []*News{memory(news("a", 1, 0), "m1"), memory(news("a", 2, 0), "m2"), news("a", 3, 0)}, []string{"picture a 3 m2"}},
		{"an event takes over a memory", []*News{memory(news("a", 1, 0), "m1"), news("a", 2, 1)}, []string{"event a 2 m1"}},
		{"an event's own memory is newer", []*News{memory(news("a", 1, 0), "m1"), memory(news("a", 2, 1), "m2")}, []string{"event a 2 m2"}},
	} {
		m := newMailbox(&testOutput{}, quiet(), func() {})
		for _, n := range row.offer {
			m.offer(n)
		}
		if got := rest(m); !slices.Equal(got, row.want) {
			t.Errorf("%s:\n got %q\nwant %q", row.name, got, row.want)
		}
	}
}

// TestMailboxSharesNews: what one mailbox keeps must not change another's.
func TestMailboxSharesNews(t *testing.T) {
	first, second := news("a", 1, 0), news("a", 2, 0)
	first.Memory = []byte("m1")
	m := newMailbox(&testOutput{}, quiet(), func() {})
	m.offer(first)
	m.offer(second)
	if second.Memory != nil {
		t.Error("shared news was changed")
	}
}

// TestMailboxIsBounded: the oldest events are dropped, each is counted, and the
// memory is released when the output works again.
func TestMailboxIsBounded(t *testing.T) {
	log := &logged{}
	m := newMailbox(&testOutput{}, slogOf(log), func() {})
	const more = 100
	for i := range maxWaiting + more {
		m.offer(news("a", i, 1))
		m.offer(news("b", i, 0))
	}
	if m.dropped.Load() != more || log.count("events are lost") != 1 {
		t.Errorf("dropped %d, logged %d times", m.dropped.Load(), log.count("events are lost"))
	}
	left := rest(m)
	if len(left) != maxWaiting+1 || left[0] != fmt.Sprintf("event a %d ", more) || left[maxWaiting-1] != fmt.Sprintf("event a %d ", maxWaiting+more-1) {
		t.Errorf("%d left, from %q to %q", len(left), left[0], left[len(left)-1])
	}
	if m.events != nil || len(m.latest) != 0 {
		t.Error("an empty mailbox keeps its news")
	}
}

// TestMailboxProperty: whatever is offered and taken in whatever order, each bay's
// news comes in the order of its ticks, no event is lost, and the last memory taken
// is the last one offered.
func TestMailboxProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := newMailbox(&testOutput{}, quiet(), func() {})
		at, events := 0, 0
		last, memory, got := map[string]time.Duration{}, map[string]string{}, map[string]string{}
		take := func(n *News) {
			if n == nil {
				return
			}
			if n.Picture.Now <= last[n.Bay] {
				t.Fatalf("bay %s: tick %d after %d", n.Bay, n.Picture.Now, last[n.Bay])
			}
			last[n.Bay] = n.Picture.Now
			if events -= len(n.Events); n.Memory != nil {
				got[n.Bay] = string(n.Memory)
			}
		}
		for range rapid.IntRange(1, 100).Draw(t, "steps") {
			if rapid.Bool().Draw(t, "take") {
				take(m.next())
				continue
			}
			at++
			n := news(rapid.SampledFrom([]string{"a", "b"}).Draw(t, "bay"), at, rapid.IntRange(0, 2).Draw(t, "events"))
			if rapid.Bool().Draw(t, "memory") {
				n.Memory = fmt.Appendf(nil, "m%d", at)
				memory[n.Bay] = string(n.Memory)
			}
			events += len(n.Events)
			m.offer(n)
		}
		for n := m.next(); n != nil; n = m.next() {
			take(n)
		}
		if events != 0 || fmt.Sprint(got) != fmt.Sprint(memory) {
			t.Fatalf("%d events lost; memory %v, want %v", events, got, memory)
		}
	})
}

// TestOutputPanics: contained, counted each time, logged once, and the next news
// still comes.
func TestOutputPanics(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bad := true
		sick := &testOutput{name: "sick", do: func(*News) {
			if bad {
				panic("template")
			}
		}}
		well := &testOutput{name: "well"}
		r := newRig(t, 1, nil, sick, well)
		for range 50 {
			r.ticks(1)
			synctest.Wait()
		}
		if n := r.Panics(); n != 50 || r.log.count("panic contained") != 1 || len(well.all()) != 50 {
			t.Errorf("%d panics counted, %d logged, the other output took %d", n, r.log.count("panic contained"), len(well.all()))
		}
		bad = false
		r.ticks(1)
		synctest.Wait()
		if len(sick.all()) != 1 || r.log.count("no more panics") != 1 {
			t.Errorf("it took %d and logged %d times that it works again", len(sick.all()), r.log.count("no more panics"))
		}
		if r.Dropped() != 0 {
			t.Errorf("%d dropped", r.Dropped())
		}
	})
}

// TestDrainAfterEnd: what waits when the loop stops is still handed over, with an
// ended context.
func TestDrainAfterEnd(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	out := &testOutput{}
	m := newMailbox(out, quiet(), func() {})
	for i := range 10 {
		m.offer(news("a", i, 1))
	}
	cancel()
	m.run(ctx)
	if len(out.all()) != 10 {
		t.Errorf("took %d of 10", len(out.all()))
	}
}
