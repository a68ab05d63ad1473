package mqtt

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"bayward/agent/view"
)

// Wall is a time of the wall clock, and whether that clock has been set from a
// source since boot. A Pi has no battery-backed clock.
type Wall struct {
	Time    time.Time
	Trusted bool
}

// stamp formats the time as RFC 3339 in UTC with milliseconds.
func (w Wall) stamp() string { return w.Time.UTC().Format("2006-01-02T15:04:05.000Z") }

// encode makes JSON in which < and > stay readable: people read it on a
// terminal, and no browser renders it as a page.
func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}

// Status is whether the agent is online.
type Status struct {
	Online    bool
	Reason    string // why it is offline: "shutdown" or "connection-lost"
	Version   string
	BootID    string
	Epoch     string // of the record; "" without one
	Page      string // address of its page; "" if none is known
	PageProof string // that Page is this agent's; "" for none
	// DailyRound is the local time at which the agent sends a daily round for the site,
	// such as "06:30"; "" if it sends none.
	DailyRound string
	Since      *Wall // when it began; nil in the will, which the broker sends later
}

// JSON returns the payload of the status topic.
func (s Status) JSON() ([]byte, error) {
	w := statusBody{V: 1, State: "offline", Reason: s.Reason, Version: s.Version, BootID: s.BootID, Epoch: s.Epoch, Page: s.Page, PageProof: s.PageProof, DailyRound: s.DailyRound}
	if s.Online {
		w.State = "online"
	}
	if s.Since != nil {
		w.Since, w.TimeTrusted = s.Since.stamp(), &s.Since.Trusted
	}
	return encode(w)
}

// Daily is that an agent has sent the daily round of a site.
type Daily struct {
	Day string // local, such as 2026-03-01
	At  Wall
}

// JSON returns the payload of the daily topic.
func (d Daily) JSON() ([]byte, error) {
	return encode(dailyBody{1, d.Day, d.At.stamp(), d.At.Trusted})
}

// Event is one numbered event of the outbox. Fields that its kind does not have
// are empty.
type Event struct {
	Bay    string
	Epoch  string // which record has numbered it
	Seq    uint64 // 1, 2, 3, … for each bay
	At     Wall
	BootID string        // the boot that Mono counts from
	Mono   time.Duration // since that boot
	Kind   string
	Stage  string
	From   string
	Code   string
	By     string
	Order  string
	Text   string
}

// JSON returns the payload of the event topic.
func (e Event) JSON() ([]byte, error) {
	return encode(eventBody{
		1, e.Bay, e.Epoch, e.Seq, e.At.stamp(), e.At.Trusted, e.BootID, e.Mono.Seconds(),
		e.Kind, e.Stage, e.From, e.Code, e.By, e.Order, e.Text,
	})
}

// NoticeState is the state of a notice.
type NoticeState string

// The states of a notice.
const (
	Raised  NoticeState = "raised"
	Seen    NoticeState = "seen" // a person has confirmed it
	Settled NoticeState = "settled"
)

// Notice is a message for a technician.
type Notice struct {
	Kind     string // such as "ready-to-water"
	State    NoticeState
	Since    Wall // when it entered that state
	Text     string
	WhatToDo string
	Cautions string
}

// noticeJSON returns the payload of the notice topic.
func noticeJSON(bayName string, n Notice) ([]byte, error) {
	return encode(noticeBody{1, bayName, n.Kind, n.State, n.Since.stamp(), n.Since.Trusted, n.Text, n.WhatToDo, n.Cautions})
}

// stateJSON returns the payload of the state topic: the view with its time.
func stateJSON(v view.View, at Wall) ([]byte, error) {
	b, err := encode(stateBody{v, at.stamp(), at.Trusted})
	if err != nil {
		return nil, fmt.Errorf("mqtt: state of %s: %w", v.Bay, err)
	}
	return b, nil
}
