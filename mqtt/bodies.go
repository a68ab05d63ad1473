package mqtt

import "bayward/agent/view"

// The formats of the published payloads. Each field is in asyncapi.yaml with a
// description and its unit; tests compare the two.

type statusBody struct {
	V           int    `json:"v"`
	State       string `json:"state"`
	Reason      string `json:"reason,omitempty"`
	Version     string `json:"version"`
	BootID      string `json:"boot_id"`
	Epoch       string `json:"epoch,omitempty"`
	Page        string `json:"page,omitempty"`
	PageProof   string `json:"page_proof,omitempty"`
	DailyRound  string `json:"daily_round,omitempty"`
	Since       string `json:"since,omitempty"`
	TimeTrusted *bool  `json:"time_trusted,omitempty"`
}

type dailyBody struct {
	V           int    `json:"v"`
	Day         string `json:"day"`
	Time        string `json:"time"`
	TimeTrusted bool   `json:"time_trusted"`
}

type stateBody struct {
	view.View
	Time        string `json:"time"`
	TimeTrusted bool   `json:"time_trusted"`
}

type eventBody struct {
	V           int     `json:"v"`
	Bay         string  `json:"bay"`
	Epoch       string  `json:"epoch"`
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
}

type noticeBody struct {
	V           int         `json:"v"`
	Bay         string      `json:"bay"`
	Kind        string      `json:"kind"`
	State       NoticeState `json:"state"`
	Since       string      `json:"since"`
	TimeTrusted bool        `json:"time_trusted"`
	Text        string      `json:"text"`
	WhatToDo    string      `json:"what_to_do"`
	Cautions    string      `json:"cautions"`
}

type responseBody struct {
	V           int          `json:"v"`
	Bay         string       `json:"bay"`
	ID          string       `json:"id,omitempty"`
	Order       string       `json:"order,omitempty"`
	By          string       `json:"by,omitempty"`
	Result      Result       `json:"result"`
	Reason      Reason       `json:"reason,omitempty"`
	Text        string       `json:"text"`
	Faults      []view.Wrong `json:"faults,omitempty"`
	Cautions    string       `json:"cautions,omitempty"`
	Time        string       `json:"time"`
	TimeTrusted bool         `json:"time_trusted"`
}
