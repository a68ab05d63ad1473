package dashboards_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

var keep = flag.String("keep", "", "an empty folder in which TestDays stores Prometheus's data, for dashboards/tools/picture")

const (
	site, longSite = "quarry-road", "long-road"
	recordedHours  = 48
	neglectedHours = 12
	longAgents     = 125 // of four bays each
	end            = recordedHours * 3600
)

// TestDays records two days of an attended yard (shed-2) and, up to the same end, half a day of one
// that no technician visits (shed-3), both from the running demo. Then the real Prometheus evaluates
// the rules and the boards' queries on them.
func TestDays(t *testing.T) {
	if os.Getenv("BAYWARD_ALONE") == "" {
		t.Skip("records for two minutes and needs the machine for itself: set BAYWARD_ALONE=1, as deploy/test does in a separate step")
	}
	promtool, prometheus, agent := program(t, "promtool"), program(t, "prometheus"), buildAgent(t)
	began := time.Now()
	var attended, neglected record
	var both sync.WaitGroup
	both.Go(func() { neglected = recordDemo(t, agent, neglectedHours, "--by-hand") })
	attended = recordDemo(t, agent, recordedHours)
	both.Wait()
	if attended == nil || neglected == nil {
		t.Fatal("nothing was recorded")
	}
	filled := attended.fill() + neglected.fill()
	if filled > 60*(recordedHours+neglectedHours)/3 {
		t.Fatalf("the recorder was too slow: %d minutes are missing", filled)
	}
	shed2 := attended.with(site, "shed-2", 0)
	shed3 := neglected.with(site, "shed-3", end-neglectedHours*3600)
	t.Logf("figure: recorded days %d h and %d h of the demo in %.0f s, %d minutes filled in", recordedHours, neglectedHours, time.Since(began).Seconds(), filled)

	t.Run("labels", func(t *testing.T) { labelsAreBounded(t, attended) })
	t.Run("alarms", func(t *testing.T) {
		t.Parallel()
		alarms(t, promtool, shed2, shed3)
	})
	t.Run("boards", func(t *testing.T) {
		t.Parallel()
		dir := t.TempDir()
		if *keep != "" {
			dir = *keep
		}
		data := filepath.Join(dir, "data")
		store(t, promtool, filepath.Join(dir, "days.txt"), data, shed2.thin(), shed3.thin())
		store(t, promtool, filepath.Join(dir, "long.txt"), data, longYard(attended)...)
		addRecords(t, promtool, prometheus, data)
		server, _ := serve(t, prometheus, data)
		boardsHaveData(t, server)
		boardsStaySmall(t, server)
		rulesAnswer(t, server)
	})
}

// longYard returns the end of a record as if many agents had it.
func longYard(r record) []record {
	var long []record
	for i := range longAgents {
		long = append(long, r.since(end-400).with(longSite, fmt.Sprintf("shed-%d", i+1), 0))
	}
	return long
}

// store adds records to Prometheus's own storage. Each hour of a file costs a pass over the whole
// file, so a file should span a short time or be small.
func store(t *testing.T, promtool, file, data string, records ...record) {
	t.Helper()
	openMetrics(t, file, records...)
	run(t, promtool, "tsdb", "create-blocks-from", "-q", "openmetrics", file, data)
}

// serve starts Prometheus on recorded days.
func serve(t *testing.T, prometheus, data string) (address string, stop func()) {
	t.Helper()
	config := filepath.Join(t.TempDir(), "prometheus.yml")
	if err := os.WriteFile(config, []byte("global: { scrape_interval: 1m }\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	address, stop = begin(t, `msg="Listening on" address=([0-9.:]+)`, prometheus, "--config.file="+config, "--storage.tsdb.path="+data,
		"--storage.tsdb.retention.time=50y", "--web.listen-address=127.0.0.1:0")
	address = "http://" + address
	for range time.Tick(50 * time.Millisecond) {
		if ready(address) {
			break
		}
		if t.Context().Err() != nil {
			t.Fatal(t.Context().Err())
		}
	}
	return address, stop
}

// addRecords evaluates the recording rules over the recorded days, in Prometheus's own engine.
func addRecords(t *testing.T, promtool, prometheus, data string) {
	t.Helper()
	server, stop := serve(t, prometheus, data)
	defer stop()
	run(t, promtool, "tsdb", "create-blocks-from", "rules", "--url="+server, "--output-dir="+data, "--eval-interval=4m",
		fmt.Sprintf("--start=%d", epoch), fmt.Sprintf("--end=%d", epoch+end), "rules/bayward.yaml")
}

// answer is Prometheus's response to a query.
type answer struct {
	Status, Error string
	Data          struct {
		Result []struct {
			Metric map[string]string
			Value  []any
			Values [][]any
		}
	}
}

func ask(t *testing.T, server, path string, form url.Values) answer {
	t.Helper()
	var a answer
	if err := json.Unmarshal(get(t, server+path+"?"+form.Encode()), &a); err != nil || a.Status != "success" {
		t.Fatalf("%s: %v %s", form.Get("query"), err, a.Error)
	}
	return a
}

// atEnd evaluates a query at the end of the days.
func atEnd(t *testing.T, server, expr string) answer {
	t.Helper()
	return ask(t, server, "/api/v1/query", url.Values{"query": {expr}, "time": {fmt.Sprint(epoch + end)}})
}

// lastDay evaluates a query over the day before the end.
func lastDay(t *testing.T, server, expr string) answer {
	t.Helper()
	form := url.Values{"query": {expr}}
	form.Set("start", fmt.Sprint(epoch+end-24*3600))
	form.Set("end", fmt.Sprint(epoch+end))
	form.Set("step", "240")
	return ask(t, server, "/api/v1/query_range", form)
}

// rulesAnswer evaluates each rule's expression; a recording rule must return series, but one of what is
// so now need not: it has its own tests.
func rulesAnswer(t *testing.T, server string) {
	for _, r := range readRules(t) {
		got := len(atEnd(t, server, r.Expr).Data.Result)
		if r.Record == "" || strings.HasSuffix(r.Record, ":now") || strings.HasSuffix(r.Record, ":raised") {
			continue
		}
		const charged = 6 // of the eight bays: two of the neglected yard never charge
		if got < charged {
			t.Errorf("%s: %d series from its expression, want one for each charged bay", r.Record, got)
		}
		if n := len(lastDay(t, server, r.Record).Data.Result); n < charged {
			t.Errorf("%s: %d series recorded", r.Record, n)
		}
	}
}

// boardsHaveData evaluates every query of every board for the two sheds. A table shows one moment; at
// some moment of the day each of its columns must have data.
func boardsHaveData(t *testing.T, server string) {
	asked := 0
	for _, q := range boardQueries(t) {
		fill := strings.NewReplacer("$site", site, "$agent", "shed-.*", "$bay", ".*", "$pack", ".*", "$__rate_interval", "8m", "$__range", "2d")
		if q.board == "bay" {
			fill = strings.NewReplacer("$site", site, "$agent", "shed-2", "$bay", "bay-3", "$__rate_interval", "8m", "$__range", "2d")
		}
		asked++
		if q.title == "Which agents do not answer?" { // all do
			if found := lastDay(t, server, fill.Replace(q.expr)).Data.Result; len(found) > 0 {
				t.Errorf("%s: %s: %v", q.board, q.title, found)
			}
			continue
		}
		if strings.HasPrefix(q.expr, "0 * max by (bay) (bayward_charge_permitted") { // the line of a level that is not known
			continue
		}
		if len(lastDay(t, server, fill.Replace(q.expr)).Data.Result) == 0 {
			t.Errorf("%s: %s: no data for %s", q.board, q.title, fill.Replace(q.expr))
		}
	}
	t.Logf("figure: board queries with data %d", asked)
	if asked < 40 {
		t.Errorf("%d queries: the search is broken", asked)
	}
}

// boardsStaySmall: with 500 bays no query returns more than 50 series or rows.
func boardsStaySmall(t *testing.T, server string) {
	most := 0
	for _, q := range boardQueries(t) {
		fill := strings.NewReplacer("$site", longSite, "$agent", ".*", "$bay", ".*", "$pack", ".*", "$__rate_interval", "8m", "$__range", "2d")
		if q.board == "bay" { // one agent is chosen there, and a row repeats for each chosen bay
			fill = strings.NewReplacer("$site", longSite, "$agent", "shed-77", "$bay", "bay-1", "$__rate_interval", "8m", "$__range", "2d")
		}
		a := atEnd(t, server, fill.Replace(q.expr))
		if q.title == "Bays monitored" && (len(a.Data.Result) != 1 || a.Data.Result[0].Value[1] != "500") {
			t.Errorf("the yard of 500 bays shows %v", a.Data.Result)
		}
		most = max(most, len(a.Data.Result))
		if len(a.Data.Result) > 50 {
			t.Errorf("%s: %s: %d series with 500 bays", q.board, q.title, len(a.Data.Result))
		}
	}
	t.Logf("figure: series in a panel with 500 bays, at most %d", most)
}
