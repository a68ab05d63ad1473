package main

import (
	"encoding/json"
	"maps"
	"os"
	"slices"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"bayward/agent/records"
	"bayward/agent/replay"
)

// keys are the members of one object that leaves or enters the program, with what the
// contract says of each.
type keys map[string]map[string]any

// about returns the description of a key.
func (k keys) about(name string) string {
	text, _ := k[name]["description"].(string)
	return text
}

// object reads the members of an object from a contract.
func object(t *testing.T, doc map[string]any, path ...string) keys {
	t.Helper()
	for _, step := range append(path, "properties") {
		next, ok := doc[step].(map[string]any)
		require.True(t, ok, "%v has no %s", path, step)
		doc = next
	}
	all := keys{}
	for name, p := range doc {
		all[name], _ = p.(map[string]any)
	}
	return all
}

// contract reads a contract as plain data.
func contract(t *testing.T, file string) (doc map[string]any) {
	t.Helper()
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	plain, err := yaml.YAMLToJSON(text)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(plain, &doc))
	return doc
}

// published are all objects whose keys must agree.
type published struct {
	state, bay, event, order                             keys // MQTT; bay is the state on HTTP
	line, summary, replayEvent, replayOrder, replayTrace keys
}

func readKeys(t *testing.T) published {
	t.Helper()
	mqtt, http := contract(t, "../mqtt/asyncapi.yaml"), contract(t, "web/openapi.yaml")
	var own map[string]any
	require.NoError(t, json.Unmarshal(replay.Schema(), &own))
	of := func(name string) keys { return object(t, own, "$defs", name) }
	message := func(name string) keys { return object(t, mqtt, "components", "schemas", name) }
	return published{
		message("state"), object(t, http, "components", "schemas", "Bay"), message("event"), message("order"),
		of("line"), of("summary"), of("event"), of("order"), of("trace"),
	}
}

// TestOneNameOneMeaning: a key that several of replay, MQTT and HTTP have is described
// in the same words, unit included, and no two keys of one object in the same words.
func TestOneNameOneMeaning(t *testing.T) {
	p := readKeys(t)
	for _, pair := range []struct {
		what   string
		a, b   keys
		least  int // keys that both have
		except []string
	}{
		{"the state on MQTT and HTTP", p.state, p.bay, 40, nil},
		{"a replay's line and the state", p.line, p.state, 20, []string{"findings"}}, // codes there, objects here
		{"a replay's line and its summary", p.line, p.summary, 4, nil},
		{"a replay's summary and the state", p.summary, p.state, 1, nil},
		{"events of a replay and MQTT", p.replayEvent, p.event, 7, nil},
		{"orders of a replay and MQTT", p.replayOrder, p.order, 20, []string{"id", "by", "order", "time", "v", "to", "expires_s"}}, // rights and signatures are the message's
		{"a trace and the state", p.replayTrace, p.state, 6, []string{"pack"}},                                                     // whose sensor answers; known also by a person
	} {
		shared := 0
		for _, name := range slices.Sorted(maps.Keys(pair.a)) {
			if _, both := pair.b[name]; !both {
				continue
			}
			shared++
			if !slices.Contains(pair.except, name) {
				require.Equal(t, pair.b.about(name), pair.a.about(name), "%s: %s", pair.what, name)
				require.NotEmpty(t, pair.a.about(name), "%s: %s", pair.what, name)
			}
		}
		require.GreaterOrEqual(t, shared, pair.least, pair.what)
	}
	for what, k := range map[string]keys{"state": p.state, "line": p.line, "summary": p.summary} {
		seen := map[string]string{}
		for name := range k {
			require.Empty(t, seen[k.about(name)], "%s: %s means the same", what, name)
			seen[k.about(name)] = name
		}
	}
}

// columnMeanings are the names that columns of the record share with the state or a
// replay: "" where they mean the same, of the row's span; otherwise what else the column
// is. Columns are promised to stay, so an old one is not renamed; no new one may join
// those that mean something else.
var columnMeanings = map[string]string{
	"ambient_c": "", "bay": "", "charges": "", "current_a": "", "full": "", "gassing_ah": "",
	"level_mm": "", "pack": "", "pack_c": "", "pack_v": "", "permit_s": "", "stage": "", "time": "", "time_trusted": "",
	"gravity":  "one hydrometer reading; the state has the round of all cells",
	"visit":    "the number of a visit; the state has the open one",
	"water_ml": "lost in a charge, given at a cell; the state has the need",
}

// columnSynonyms are columns whose meaning has another name in the state or a replay.
var columnSynonyms = map[string]string{
	"soc": "state_of_charge", "lost_ml": "water_lost_since_fill_ml", "in_ah": "charge_in_ah", "depth": "depth_before",
	"max_c": "max_pack_c", "evidence": "full_evidence",
}

// TestColumnsOfTheRecordAreKnown: every name that the record shares with the state or a
// replay has been looked at.
func TestColumnsOfTheRecordAreKnown(t *testing.T) {
	p := readKeys(t)
	others := func(name string) bool { return p.state[name] != nil || p.line[name] != nil || p.summary[name] != nil }
	shared, columns := map[string]bool{}, map[string]bool{}
	for _, table := range records.Tables() {
		for _, c := range table.Columns {
			columns[c.Name] = true
			if others(c.Name) {
				shared[c.Name] = true
				_, known := columnMeanings[c.Name]
				require.True(t, known, "%s.%s has the name of a key of the state or a replay: the same meaning, or another name", table.Name, c.Name)
			}
		}
	}
	for name, other := range columnSynonyms {
		require.True(t, columns[name], name)
		require.True(t, others(other), other)
	}
	for name := range columnMeanings {
		require.True(t, shared[name], "%s is not shared", name)
	}
	orders := records.TableNamed("orders")
	for _, c := range orders.Columns {
		require.NotNil(t, p.replayOrder[c.Name], "a replay does not read %s of an export", c.Name)
	}
}
