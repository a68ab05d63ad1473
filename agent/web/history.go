package web

import (
	"slices"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/words"
)

// keptEvents is how many events of a bay the page keeps; a round makes about thirty.
// The logbook has the whole record.
const keptEvents = 60

// Happened adds the events of one tick.
func (h *Past) Happened(bayName string, events []bay.Event) {
	if len(events) == 0 {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	kept := h.events[bayName]
	for i := range events {
		kept = append(kept, Before{Event: events[i]})
	}
	h.keep(bayName, kept)
}

// Before is an event from before the start. Text is the sentence that an older
// version of the program stored for it, "" for none.
type Before struct {
	Event bay.Event
	Text  string
}

// HappenedBefore adds events that are older than all events so far, oldest first.
func (h *Past) HappenedBefore(bayName string, events []Before) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.keep(bayName, slices.Concat(events, h.events[bayName]))
}

func (h *Past) keep(bayName string, kept []Before) {
	if h.events == nil {
		h.events = map[string][]Before{}
	}
	if extra := len(kept) - keptEvents; extra > 0 {
		kept = slices.Delete(kept, 0, extra)
	}
	h.events[bayName] = kept
}

// happened is one event in words. Text is "" if What is the whole message.
type happened struct{ Ago, What, Text string }

func moreOf(v words.Voice, b *Before) string {
	if b.Text != "" {
		return b.Text
	}
	switch e := &b.Event; e.Kind {
	case bay.PermitGranted, bay.PermitBlocked, bay.StageChanged, bay.FindingCleared, bay.ChargeStarted:
		return ""
	default:
		return v.Event(e)
	}
}

// history lists the events of a bay, newest first.
func (h *Past) history(p *bay.Picture, v words.Voice) []happened {
	if h == nil {
		return nil
	}
	h.mu.Lock()
	events := slices.Clone(h.events[p.Bay])
	h.mu.Unlock()
	slices.Reverse(events)
	var all []happened
	for i := range events {
		e := &events[i].Event
		if e.Code == interlock.AgentUnready && (e.Kind == bay.FindingRaised || e.Kind == bay.FindingCleared) {
			continue // occurs at every rest of the contactor
		}
		all = append(all, happened{v.Say("night.ago", v.Span(max(p.Now-e.At, time.Duration(0)))), v.EventTitle(e), moreOf(v, &events[i])})
	}
	return all
}
