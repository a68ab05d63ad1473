package config

import (
	"regexp"
	"strings"

	"bayward/sensors/wiring"
)

// RelayLines reads only the lines of a file's relays and heartbeats. It also reads a
// refused file: a wrong limit, or even a damaged file, must not hide which line may
// be holding a charger on. Each Bay has at most a name and a relay with its
// heartbeat. It returns only lines that a relay may use: driving another line low
// could short a contact.
//
// It returns none if the file cannot be read, or if its sensors key is set to
// simulated or to not-yet (the file has not been edited yet).
func RelayLines(path string) []Bay {
	data, err := read(path)
	if err != nil || foreign(data, maxBytes).Key != "" || unwired.Match(data) {
		return nil
	}
	if c := newDecoder(path).decode(data); c != nil {
		return relaysOf(c)
	}
	return scanRelays(string(data))
}

// unwired matches a file whose lines no agent has driven.
var unwired = regexp.MustCompile(`(?m)^sensors:[ \t]*["']?(simulated|` + notYet + `)\b`)

func relaysOf(c *Config) []Bay {
	var bays []Bay
	for i := range c.Bays {
		r := c.Bays[i].Wiring.Relay
		if r == nil {
			continue
		}
		found := &wiring.Relay{}
		if relayLine.MatchString(r.Pin) {
			found.Pin = r.Pin
		}
		if relayLine.MatchString(r.Heartbeat) {
			found.Heartbeat = r.Heartbeat
		}
		bays = appendRelay(bays, c.Bays[i].Name, found)
	}
	return bays
}

func appendRelay(bays []Bay, name string, r *wiring.Relay) []Bay {
	if r.Pin == "" { // the heartbeat alone keeps a timer relay closed, too
		r.Pin, r.Heartbeat = r.Heartbeat, ""
	}
	if r.Pin == "" {
		return bays
	}
	return append(bays, Bay{Name: name, Wiring: wiring.Parts{Relay: r}})
}

var (
	relayHead = regexp.MustCompile(`^( *)relay:[ \t]*(#.*)?$`)
	relayKey  = regexp.MustCompile(`^( *)(pin|heartbeat):[ \t]*["']?(GPIO[0-9]+)["']?[ \t]*(#.*)?$`)
)

// scanRelays looks for relay blocks in text that is no longer valid YAML. In a block
// only its own keys count, those with the smallest indent. The pin of the feedback
// contact below them does not.
func scanRelays(text string) []Bay {
	var bays []Bay
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		head := relayHead.FindStringSubmatch(strings.TrimRight(line, "\r"))
		if head == nil {
			continue
		}
		bays = appendRelay(bays, "", scanBlock(lines[i+1:], len(head[1])))
	}
	return bays
}

// scanBlock reads the keys of the block that is indented by more than outside.
func scanBlock(lines []string, outside int) *wiring.Relay {
	r, inside := &wiring.Relay{}, 0
	for _, line := range lines {
		line = strings.TrimRight(line, " \t\r")
		indent := len(line) - len(strings.TrimLeft(line, " "))
		if line == "" || strings.HasPrefix(line[indent:], "#") {
			continue
		}
		if indent <= outside {
			break
		}
		if inside == 0 {
			inside = indent
		}
		key := relayKey.FindStringSubmatch(line)
		switch {
		case key == nil || indent != inside || !relayLine.MatchString(key[3]):
		case key[2] == "pin":
			r.Pin = key[3]
		default:
			r.Heartbeat = key[3]
		}
	}
	return r
}
