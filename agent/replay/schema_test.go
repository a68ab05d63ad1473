package replay

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"bayward/agent/config"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/view/viewtest"
)

const schemaURL = "https://example.invalid/replay.schema.json"

// compiled returns the part of the schema below a name of $defs, or all of it.
func compiled(t *testing.T, part string) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	for url, text := range map[string][]byte{schemaURL: Schema(), "https://example.invalid/bayward.schema.json": config.Schema()} {
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		require.NoError(t, err)
		require.NoError(t, c.AddResource(url, doc))
	}
	s, err := c.Compile(schemaURL + part)
	require.NoError(t, err)
	return s
}

func valid(t *testing.T, s *jsonschema.Schema, text string) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	require.NoError(t, err, text)
	return s.Validate(v)
}

// def returns a part of the schema as plain data.
func def(t *testing.T, name string) map[string]any {
	t.Helper()
	var s struct {
		Defs map[string]map[string]any `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(Schema(), &s))
	require.NotNil(t, s.Defs[name], name)
	return s.Defs[name]
}

func keysOf(t *testing.T, name string) []string {
	t.Helper()
	properties, _ := def(t, name)["properties"].(map[string]any)
	return slices.Sorted(maps.Keys(properties))
}

// TestSchemaDescribesTheOutput: every key that is printed is described with its unit,
// and no other.
func TestSchemaDescribesTheOutput(t *testing.T) {
	resolve := func(ref string) map[string]any { return def(t, strings.TrimPrefix(ref, "#/$defs/")) }
	for name, typ := range map[string]reflect.Type{
		"line": reflect.TypeFor[line](), "event_line": reflect.TypeFor[eventLine](), "summary_line": reflect.TypeFor[last](),
	} {
		viewtest.Described(t, name, typ, def(t, name), resolve)
	}
}

// TestSchemaDescribesTheInput: the columns of a trace, and what a row of orders may
// have with what agent/order says of it.
func TestSchemaDescribesTheInput(t *testing.T) {
	require.Equal(t, slices.Sorted(slices.Values(columns[:])), keysOf(t, "trace"))
	row := compiled(t, "#/$defs/trace")
	for c := packV; c < packName; c++ {
		for _, f := range reading.Faults() {
			require.NoError(t, valid(t, row, fmt.Sprintf(`{"time_s":1,"level_mm":5,%q:%q}`, columns[c], f)))
		}
		require.NoError(t, valid(t, row, fmt.Sprintf(`{"time_s":1,"level_mm":5,%q:0.5}`, columns[c])))
		require.Error(t, valid(t, row, fmt.Sprintf(`{"time_s":1,"level_mm":5,%q:true}`, columns[c])))
	}
	require.Error(t, valid(t, row, `{"time_s":1,"level_high_mm":5}`))
	want := slices.Clone(beside)
	for _, f := range order.Fields() {
		want = append(want, f.Name)
		properties, _ := def(t, "order")["properties"].(map[string]any)
		p, _ := properties[f.Name].(map[string]any)
		require.Contains(t, p["description"], f.About, f.Name)
		if !f.IsText() && !f.IsFlag() && !f.IsList() {
			require.Equal(t, []any{f.Low, f.High}, []any{p["minimum"], p["maximum"]}, f.Name)
		}
	}
	require.ElementsMatch(t, want, keysOf(t, "order"))
	properties, _ := def(t, "order")["properties"].(map[string]any)
	kinds, _ := properties["order"].(map[string]any)
	var names []any
	for _, name := range orderNames() {
		names = append(names, name)
	}
	require.Equal(t, names, kinds["enum"])
}

// TestSchemaOfSettings: the settings of the traces, and a whole configuration.
func TestSchemaOfSettings(t *testing.T) {
	s := compiled(t, "#/$defs/settings")
	for _, path := range []string{"testdata/traces/packs.yaml", "deploy/bayward.yaml"} {
		text, err := os.ReadFile(filepath.Join("..", "..", path))
		require.NoError(t, err)
		asJSON, err := yaml.YAMLToJSON(text)
		require.NoError(t, err)
		require.NoError(t, valid(t, s, string(asJSON)), path)
	}
	require.Error(t, valid(t, s, `{"packs":[{"name":"a","cells":12}]}`))
	require.Error(t, valid(t, s, `{}`))
}

// TestOutputIsAsDescribed: what is printed for every trace that there is, with a line
// every half hour and every event, is as the schema says.
func TestOutputIsAsDescribed(t *testing.T) {
	s := compiled(t, "")
	text, err := os.ReadFile("../../testdata/traces/packs.yaml")
	require.NoError(t, err)
	cfg, err := config.Parse("packs.yaml", text, config.PacksOnly())
	require.NoError(t, err)
	traces, err := filepath.Glob("../../testdata/traces/*.csv")
	require.NoError(t, err)
	require.NotEmpty(t, traces)
	keys := map[string]bool{}
	for _, trace := range traces {
		text, err := os.ReadFile(trace)
		require.NoError(t, err)
		for _, p := range cfg.Packs {
			for line := range strings.Lines(printed(t, string(text), cfg, p.Name) + printed(t, levelled(t, string(text)), cfg, p.Name)) {
				require.NoError(t, valid(t, s, line), line)
				var members map[string]any
				require.NoError(t, json.Unmarshal([]byte(line), &members))
				for k := range members {
					keys[k] = true
				}
			}
		}
	}
	for _, k := range []string{"event", "summary", "state_of_charge_low", "ready_late_s", "lowest_high_mm", "forecast_early_h", "water_lost_since_fill_high_ml", "read_due_h", "water_ml", "full_evidence"} {
		require.True(t, keys[k], "no trace shows %s", k)
	}
	require.Error(t, valid(t, s, `{"time_s":0}`))
	require.Error(t, valid(t, s, `{"summary":{}}`))
}

// levelled is a trace three times, a day apart, with the still air and the level that
// no source has.
func levelled(t *testing.T, trace string) string {
	t.Helper()
	header, rows, _ := strings.Cut(trace[strings.Index(trace, "time_s"):], "\n")
	require.True(t, strings.HasPrefix(header, "time_s,"))
	var b strings.Builder
	b.WriteString(header + ",ambient_c,level_mm\n")
	for day := range 3 {
		for row := range strings.Lines(rows) {
			at, rest, _ := strings.Cut(strings.TrimSpace(row), ",")
			s, err := strconv.ParseFloat(at, 64)
			require.NoError(t, err)
			if s < 86400 {
				fmt.Fprintf(&b, "%v,%s,%v,%v\n", s+86400*float64(day), rest, 23+0.3*math.Sin(s/3600), 6+0.3*math.Sin(s/5000))
			}
		}
	}
	return b.String()
}

func printed(t *testing.T, trace string, cfg *config.Config, pack string) string {
	t.Helper()
	tr, err := Open("trace.csv", strings.NewReader(trace))
	require.NoError(t, err)
	setup, err := cfg.ReplaySetup("", pack)
	require.NoError(t, err)
	setup.Limits.StaleAfter = 15 * time.Minute
	require.NoError(t, tr.Fit(&setup))
	var out strings.Builder
	_, err = Run(tr, setup, &out, Options{Every: 30 * time.Minute, Events: true})
	require.NoError(t, err)
	return out.String()
}
