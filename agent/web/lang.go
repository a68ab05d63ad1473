package web

import (
	"encoding/json"
	"fmt"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// Languages are the ones that the page speaks, the default first.
func Languages() []string { return []string{"en", "es"} }

// lang is one language's catalogue. All text of the page for people stands in
// page words/*.json; a test holds the catalogues to the same keys and values.
type lang struct {
	name  string
	words map[string]string
}

// newLangs reads the embedded catalogues; a fault in them shows in every test.
func newLangs() map[string]*lang {
	all := map[string]*lang{}
	for _, name := range Languages() {
		data, err := files.ReadFile("words/" + name + ".json")
		if err != nil {
			panic("bug: " + err.Error())
		}
		l := &lang{name: name}
		if err := json.Unmarshal(data, &l.words); err != nil {
			panic("bug: words of " + name + ": " + err.Error())
		}
		all[name] = l
	}
	return all
}

// say gives the text of a key. A key that is missing shows itself.
func (l *lang) say(key string, args ...any) string {
	text, ok := l.words[key]
	if !ok {
		return "⟦" + key + "⟧"
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

// fault is a reading's fault in words.
func (l *lang) fault(f reading.Fault) string { return l.say("fault." + f.String()) }

// title and whatToDo are a finding's words. The table of findings is written
// in English; other languages translate it.
func (l *lang) title(c interlock.Code) string {
	if c == interlock.NoCode {
		return ""
	}
	if l.name == Languages()[0] {
		return interlock.Table[c].Title
	}
	return l.say("finding." + c.String() + ".title")
}

func (l *lang) whatToDo(c interlock.Code) string {
	if l.name == Languages()[0] {
		return interlock.Table[c].WhatToDo
	}
	return l.say("finding." + c.String() + ".do")
}
