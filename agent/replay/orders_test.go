package replay_test

import (
	"encoding/json"
	"errors"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/replay"
	"bayward/agent/words"
)

// TestBadOrders: a row that cannot be carried out as it is names its place.
func TestBadOrders(t *testing.T) {
	const object = `one JSON object on each line, such as {"time_s":3600,"by":"A. Person","order":"hold"}`
	for _, c := range []struct{ row, want string }{
		{`hold`, "orders.json:2: " + object},
		{`{"time_s":1,"by":"A","order":"hold"} x`, "orders.json:2: " + object},
		{`{"time_s":1,"by":"A","order":"hold"`, "orders.json:2: " + object},
		{`{"by":"A","order":"hold"}`, "orders.json:2: field time_s: a value is missing: the second on the clock of the trace at which the order was given, or time with --start"},
		{`{"time_s":"1","by":"A","order":"hold"}`, `orders.json:2: field time_s: value "\"1\"" is not accepted: seconds between -9e9 and 9e9, on the clock of the trace`},
		{`{"time":"2026-03-01T05:07:08Z","by":"A","order":"hold"}`, `orders.json:2: field time: value "\"2026-03-01T05:07:08Z\"" is not accepted: time_s, or with --start the time at which time_s was 0`},
		{`{"time":"noon","by":"A","order":"hold"}`, `orders.json:2: field time: value "\"noon\"" is not accepted: RFC 3339 such as 2026-03-01T05:07:08Z`},
		{`{"time_s":1,"order":"hold"}`, "orders.json:2: field by: a value is missing: a text of 1 to 80 printable characters"},
		{`{"time_s":1,"by":" A","order":"hold"}`, `orders.json:2: field by: value "\" A\"" is not accepted: a text of 1 to 80 printable characters`},
		{`{"time_s":1,"by":"A","order":"grant"}`, `orders.json:2: field order: value "\"grant\"" is not accepted: the name of an order: hold, unhold, lock-remove, release, visit-open, visit-join, visit-leave, visit-close, fill, gravity, level, quality, pack, entry, accept, correct`},
		{`{"time_s":1,"by":"A","order":"fill","cell":1,"ml":9000}`, `orders.json:2: field ml: value "9000" is not accepted: 0 to 2000 ml`},
		{`{"time_s":1,"by":"A","order":"fill","cell":13,"ml":9}`, `orders.json:2: field cell: value "13" is not accepted: a whole number, 1 to 12`},
		{`{"time_s":1,"by":"A","order":"fill","cell":1.5,"ml":9}`, `orders.json:2: field cell: value "1.5" is not accepted: a whole number, 1 to 48`},
		{`{"time_s":1,"by":"A","order":"fill","cell":1}`, "orders.json:2: field ml: a value is missing: 0 to 2000 ml"},
		{`{"time_s":1,"by":"A","order":"hold","ml":9}`, `orders.json:2: field ml: value "9" is not accepted: does not belong to this order`},
		{`{"time_s":1,"by":"A","order":"hold","litres":9}`, ""},
		{`{"time_s":1,"by":"A","order":"hold","by":"B"}`, `orders.json:2: field by: value "\"A\"" is not accepted: each member may appear only once`},
		{`{"bay":"bay-2","time_s":1,"by":"A","order":"hold"}`, `orders.json:2: field bay: value "\"bay-2\"" is not accepted: the orders of one bay, here bay-1; export them with --bay bay-1`},
		{`{"time_s":99,"by":"A","order":"hold"}`, `orders.json:2: field time_s: value "99" is not accepted: a time within the trace, which ends at 20 s`},
		{`{"time_s":-1,"by":"A","order":"hold"}`, `orders.json:2: field time_s: value "-1" is not accepted: a time within the trace, which begins at 0 s`},
	} {
		_, err := ordered(t, `{"bay":"bay-1","time_s":0,"by":"A","order":"hold"}`+"\n"+c.row)
		if c.want == "" {
			inEveryLanguage(t, err)
			require.ErrorContains(t, err, "orders.json:2: field litres: value \"9\" is not accepted: a member must be one of time_s, time, id, by, order, note, result, reason, ")
			continue
		}
		require.EqualError(t, err, c.want)
		_, ok := errors.AsType[*replay.TraceError](err)
		require.True(t, ok)
		inEveryLanguage(t, err)
	}
}

// english are words that no sentence of another language has.
var english = regexp.MustCompile(`\b(must|may|the|and|with|which|only|such|accepted|between)\b`)

// inEveryLanguage words a complaint in each language, and finds English left in it.
func inEveryLanguage(t *testing.T, err error) {
	t.Helper()
	for _, language := range words.Languages() {
		text := words.New(language, "").Error(err)
		require.NotContains(t, text, "⟦")
		require.NotContains(t, text, "%!")
		if before, library, _ := strings.Cut(text, "gzip: "); language != words.English {
			require.NotEqual(t, err.Error(), text)
			require.Empty(t, english.FindAllString(before, -1), "%s: %s (%s)", language, text, library)
		}
	}
}

// TestAcceptedMembers: whatever a field of an order accepts is said in every language, and a flag as JSON has it.
func TestAcceptedMembers(t *testing.T) {
	for _, f := range order.Fields() {
		_, err := ordered(t, `{"time_s":1,"by":"A","order":"hold","`+f.Name+`":{}}`)
		require.ErrorContains(t, err, "orders.json:1: field "+f.Name+": value \"{}\" is not accepted: ")
		inEveryLanguage(t, err)
		if f.IsFlag() {
			require.Contains(t, err.Error(), "true")
		}
		if f.IsList() {
			require.ErrorContains(t, err, "a list of 1 to 48 cells, each with its number as cell and what was done there")
		}
	}
}

// ordered replays a short rest with orders, and returns what it prints.
func ordered(t *testing.T, orders string) (string, error) {
	t.Helper()
	s := pack(12, 225, 1.277)
	o, err := replay.ReadOrders("orders.json", strings.NewReader(orders), replay.OrderOptions{Start: time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC), Packs: []bay.Pack{s.Pack}})
	if strings.Contains(orders, `"time":"2026-03-01T05:07:08Z"`) {
		o, err = replay.ReadOrders("orders.json", strings.NewReader(orders), replay.OrderOptions{Packs: []bay.Pack{s.Pack}})
	}
	if err != nil {
		return "", err
	}
	tr, err := replay.Open("t.csv", strings.NewReader("time_s,pack_v,pack_c,level_mm\n0,25.2,25,5\n10,25.2,25,5\n20,25.2,25,5\n"))
	require.NoError(t, err)
	require.NoError(t, tr.Fit(&s))
	s.Limits.SettleFor = 5 * time.Second
	var out strings.Builder
	_, err = replay.Run(tr, s, &out, replay.Options{Orders: o, Events: true})
	return out.String(), err
}

// seen is an event as it was printed, with the time of its line.
type seen struct {
	TimeS float64 `json:"time_s"`
	Event *struct {
		Kind, Stage, Code, By, Order string
	} `json:"event"`
}

func events(t *testing.T, out, kind string) (all []seen) {
	t.Helper()
	for line := range strings.Lines(out) {
		var s seen
		require.NoError(t, json.Unmarshal([]byte(line), &s), line)
		if s.Event != nil && s.Event.Kind == kind {
			all = append(all, s)
		}
	}
	return all
}

// TestOrdersAtTheirTime: an order is carried out at its time, with the row of that time
// or by a tick of its own, in the order of time and of the file; its rows may be an
// export, and what the bay refused it refuses again.
func TestOrdersAtTheirTime(t *testing.T) {
	out, err := ordered(t, `# comment
[
{"bay":"bay-1","seq":7,"time":"2026-03-01T05:00:13.5Z","time_trusted":true,"boot_id":"b","mono_s":1,"result":"done","code":null,"id":"v","order":"visit-close","by":"Ann","note":null,"ml":null},
{"time_s":10,"by":"Ann","order":"visit-open","id":"o"},
{"time_s":12,"by":"Ann","order":"entry","cells":[{"cell":3,"ml":100}],"sure":true},
{"time_s":12,"by":"Ann","order":"fill","cell":3,"ml":9000,"result":"refused","id":"much"},
{"time_s":12,"by":"Ann","order":"fill","cell":4,"ml":100,"id":"sure","sure":true}
{"time_s":12,"by":"","id":"nobody","order":"hold","result":"refused"}
{"time_s":12,"by":"NNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNNN (not proven)","id":"open/xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx","order":"hold","result":"done"}
]
`)
	require.NoError(t, err)
	taken := events(t, out, bay.OrderTaken.String())
	var got []string
	for _, e := range taken {
		got = append(got, e.Event.Order)
	}
	require.Equal(t, []string{"o", "line-5", "sure", "open/" + strings.Repeat("x", 64), "v"}, got)
	require.InDelta(t, 10, taken[0].TimeS, 0)
	require.InDelta(t, 12, taken[1].TimeS, 0)
	require.InDelta(t, 13.5, taken[4].TimeS, 1e-9)
	refused := events(t, out, bay.OrderRefused.String())
	require.Len(t, refused, 2)
	require.Equal(t, "much", refused[0].Event.Order)
	require.Equal(t, "nobody", refused[1].Event.Order)
	require.Contains(t, out, `"order-refused":2,"order-taken":5`)
	require.Contains(t, out, `"time_s":10,"stage":"watering","permit":"blocked"`)
}

// FuzzOrders: whatever the bytes, the error names the file, and what is accepted can be
// replayed.
func FuzzOrders(f *testing.F) {
	f.Add(`{"time_s":1,"by":"A","order":"hold"}`)
	f.Add("[\n{\"time_s\":1,\"by\":\"A\",\"order\":\"entry\",\"cells\":[{\"cell\":1,\"ml\":5}]},\n]")
	f.Add(`{"time_s":1e999,"by":"A","order":"correct","was":null,"result":"refused","cell":-5}`)
	f.Fuzz(func(t *testing.T, text string) {
		if _, err := ordered(t, text); err != nil && !strings.Contains(err.Error(), "orders.json") {
			t.Errorf("%q: %v", text, err)
		}
	})
}
