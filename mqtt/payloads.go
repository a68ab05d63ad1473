package mqtt

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
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
	Online  bool
	Reason  string // why it is offline: "shutdown" or "connection-lost"
	Version string
	BootID  string
	Since   *Wall // when it began; nil in the will, which the broker sends later
}

// JSON returns the payload of the status topic.
func (s Status) JSON() ([]byte, error) {
	w := struct {
		V           int    `json:"v"`
		State       string `json:"state"`
		Reason      string `json:"reason,omitempty"`
		Version     string `json:"version"`
		BootID      string `json:"boot_id"`
		Since       string `json:"since,omitempty"`
		TimeTrusted *bool  `json:"time_trusted,omitempty"`
	}{V: 1, State: "offline", Reason: s.Reason, Version: s.Version, BootID: s.BootID}
	if s.Online {
		w.State = "online"
	}
	if s.Since != nil {
		w.Since, w.TimeTrusted = s.Since.stamp(), &s.Since.Trusted
	}
	return encode(w)
}

// Event is one numbered event of the outbox. Fields that its kind does not have
// are empty.
type Event struct {
	Bay    string
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
	return encode(struct {
		V           int     `json:"v"`
		Bay         string  `json:"bay"`
		Seq         uint64  `json:"seq"`
		Time        string  `json:"time"`
		TimeTrusted bool    `json:"time_trusted"`
		BootID      string  `json:"boot_id"`
		MonoS       float64 `json:"mono_s"`
		Kind        string  `json:"kind"`
		Stage       string  `json:"stage,omitempty"`
		From        string  `json:"from,omitempty"`
		Code        string  `json:"code,omitempty"`
		By          string  `json:"by,omitempty"`
		Order       string  `json:"order,omitempty"`
		Text        string  `json:"text"`
	}{
		1, e.Bay, e.Seq, e.At.stamp(), e.At.Trusted, e.BootID, e.Mono.Seconds(),
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
	return encode(struct {
		V           int         `json:"v"`
		Bay         string      `json:"bay"`
		Kind        string      `json:"kind"`
		State       NoticeState `json:"state"`
		Since       string      `json:"since"`
		TimeTrusted bool        `json:"time_trusted"`
		Text        string      `json:"text"`
		WhatToDo    string      `json:"what_to_do"`
		Cautions    string      `json:"cautions"`
	}{1, bayName, n.Kind, n.State, n.Since.stamp(), n.Since.Trusted, n.Text, n.WhatToDo, n.Cautions})
}

// stateJSON returns the payload of the state topic: the view with its time. It
// leaves out a number that is not finite: that means not known.
func stateJSON(v view.View, at Wall) ([]byte, error) {
	dropUnknown(&v)
	b, err := encode(struct {
		view.View
		Time        string `json:"time"`
		TimeTrusted bool   `json:"time_trusted"`
	}{v, at.stamp(), at.Trusted})
	if err != nil {
		return nil, fmt.Errorf("mqtt: state of %s: %w", v.Bay, err)
	}
	return b, nil
}

func dropUnknown(v *view.View) {
	for _, p := range []**float64{
		&v.PackV, &v.CurrentA, &v.PackC, &v.AmbientC, &v.LevelMM, &v.LevelHighMM, &v.HydrogenPct,
		&v.StateOfCharge, &v.ReadyInS, &v.ReadyEarlyS, &v.ReadyLateS, &v.ForecastH,
	} {
		if *p != nil && !finite(**p) {
			*p = nil
		}
	}
	for _, list := range []*[]float64{&v.WaterML, &v.CoverPlatesML} {
		if !finite(*list...) {
			*list = nil
		}
	}
}

func finite(values ...float64) bool {
	for _, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
