package metrics_test

import (
	"flag"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/metrics"
	"bayward/agent/reading"
)

var update = flag.Bool("update", false, "rewrite the golden file")

// picture is the picture of a core that has stepped once, so it knows its sensors;
// the test then fills in what it wants to see.
func picture(name string, r bay.Readings) *bay.Picture {
	p, _ := bay.New(baytest.Setup(name)).Step(&r)
	p = p.Clone()
	p.Findings = [interlock.NumCodes]bay.Finding{}
	return p
}

// cooling is a pack that lost 10 Ah in every cell to gas.
func cooling() *bay.Picture {
	const now = 100 * time.Second
	p := picture("bay-1", bay.Readings{
		Now: now, PackV: reading.Good(25.6, now), CurrentA: reading.Good(0, now), PackC: reading.Good(41.5, now),
		AmbientC: reading.Good(21, now-2*time.Second), Level: reading.LevelBetween(4.5, 4.5, now), ContactorClosed: reading.Good(0, now),
	})
	p.Seen.HydrogenPct, p.Seen.Airflow = reading.Good(0.4, now), reading.Good(1, now)
	p.Stage, p.Permit.Granted = bay.Cooling, true
	p.Cool.ReadyKnown, p.Cool.ReadyIn = true, 45*time.Minute
	p.Water.Known, p.Water.TotalML, p.Water.LostTotal = true, 1320, 3.3708
	p.Water.ForecastOK, p.Water.ForecastH = true, 48
	p.Water.ReadDueOK, p.Water.ReadDueH = true, 72
	p.Totals = bay.Totals{InAh: 250, GassingAh: 10, Charges: 3, ChargesFull: 2}
	p.Amps.ZeroA, p.Amps.ZeroKnown, p.Amps.NoiseA, p.Amps.NoiseKnown = -0.5, true, 0.25, true
	return p
}

// blind is a bay with a broken probe, a thermometer that never answered and no
// feedback.
func blind() *bay.Picture {
	const now = 50 * time.Second
	p := picture("bay-2", bay.Readings{
		Now: now, PackV: reading.Good(24.1, now), CurrentA: reading.Bad(reading.OverRange, now), PackC: reading.Bad(reading.PowerOn, now),
		Level: reading.Level{Fault: reading.Open, At: now}, ContactorClosed: reading.Bad(reading.Timeout, now),
	})
	p.Stage, p.Permit.Granted = bay.Waiting, false
	p.Findings[interlock.LevelUnknown].Raised = true
	p.Findings[interlock.TemperatureUnknown].Raised = true
	return p
}

func sources(pictures ...*bay.Picture) metrics.Sources {
	return metrics.Sources{
		Pictures: func() []*bay.Picture { return pictures }, Version: "v1.2.3",
		RelayClosed:   func(name string) (closed, known bool) { return false, name == "bay-2" },
		MQTTConnected: func() bool { return true }, MQTTProven: func() bool { return true }, OutboxEvents: func() int { return 7 },
		ConnectionsCut: func() uint64 { return 5 }, Scheme: "https", CommandsRefused: func() uint64 { return 4 },
		Certificates: func(f func(string, time.Time)) { f("page", time.Unix(1893456000, 0)) },
	}
}

func collector() *metrics.Collector {
	p, q := cooling(), blind()
	c := metrics.New(sources(p, nil, q))
	for range 3 {
		c.Ticked(p)
		c.Ticked(q)
	}
	c.ObserveTick(33 * time.Millisecond)
	c.ObserveTick(1500 * time.Millisecond)
	c.ObserveRelay(80 * time.Microsecond)
	c.OrderRefused("bay-1")
	c.SignInRefused()
	c.SignInRefused()
	return c
}

func TestGolden(t *testing.T) {
	fixed := slices.DeleteFunc(slices.Clone(contract), func(name string) bool { return name == "bayward_disk_written_bytes_total" })
	got, err := testutil.GatherAndFormat(gatherer(t, collector()), expfmt.TypeTextPlain, fixed...)
	require.NoError(t, err)
	require.NotEmpty(t, got)
	text := strings.ReplaceAll(string(got), runtime.Version(), "go1.x")
	path := filepath.Join("testdata", "metrics.txt")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), text, "if this is intended: go test ./agent/metrics -update")
}

// contract is what other programs rely on; it changes only together with them.
var contract = []string{
	"bayward_airflow_proven", "bayward_ambient_temperature_celsius", "bayward_bay_info", "bayward_build_info", "bayward_certificate_expiry_timestamp_seconds", "bayward_charge_coulombs_total",
	"bayward_charge_permitted", "bayward_charges_full_total", "bayward_charges_total", "bayward_cooldown_remaining_seconds",
	"bayward_current_noise_amperes", "bayward_current_zero_amperes",
	"bayward_disk_written_bytes_total", "bayward_electrolyte_level_limit_meters", "bayward_electrolyte_level_meters", "bayward_finding",
	"bayward_gassing_coulombs_total", "bayward_http_connections_cut_total", "bayward_hydrogen_ratio", "bayward_hydrogen_released_cubic_meters_total", "bayward_level_reading_due_seconds",
	"bayward_mqtt_commands_refused_total", "bayward_mqtt_connected", "bayward_mqtt_events_proven", "bayward_mqtt_outbox_events", "bayward_orders_refused_total", "bayward_pack_current_amperes", "bayward_pack_temperature_celsius",
	"bayward_pack_voltage_volts", "bayward_page_info", "bayward_reading_age_seconds", "bayward_reading_faults_total", "bayward_relay_closed",
	"bayward_relay_reaction_seconds", "bayward_sign_ins_refused_total", "bayward_stage", "bayward_temperature_limit_celsius", "bayward_tick_duration_seconds",
	"bayward_water_forecast_seconds", "bayward_water_given_liters_total", "bayward_water_lost_liters_total", "bayward_water_needed_liters",
}

func registry(t testing.TB, c *metrics.Collector) *metrics.Registry {
	t.Helper()
	reg, err := metrics.NewRegistry(c)
	require.NoError(t, err)
	return reg
}

// gatherer returns the result of one scrape. The families are valid until the next.
func gatherer(t testing.TB, c *metrics.Collector) prometheus.Gatherer {
	t.Helper()
	reg := registry(t, c)
	return prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) {
		families, done, err := reg.Gather()
		done()
		return families, err
	})
}

func count(t *testing.T, c *metrics.Collector, names ...string) int {
	t.Helper()
	n, err := testutil.GatherAndCount(gatherer(t, c), names...)
	require.NoError(t, err)
	return n
}

func TestContract(t *testing.T) {
	reg := gatherer(t, collector())
	families, err := reg.Gather()
	require.NoError(t, err)
	var names []string
	for _, f := range families {
		if strings.HasPrefix(f.GetName(), "bayward_") {
			names = append(names, f.GetName())
		} else {
			require.Regexp(t, "^(go|process)_", f.GetName())
		}
	}
	slices.Sort(names)
	require.Equal(t, contract, names)
	problems, err := testutil.GatherAndLint(reg)
	require.NoError(t, err)
	require.Empty(t, problems)
}

// TestAllCodesAndStages: each is there with 0 or 1, so that a rule may compare with
// 0.
func TestAllCodesAndStages(t *testing.T) {
	c := metrics.New(sources(cooling()))
	require.Equal(t, int(interlock.NumCodes)-1, count(t, c, "bayward_finding"))
	require.Equal(t, int(bay.NumStages)-1, count(t, c, "bayward_stage"))
}

// TestMissingIsAbsent: no reading, no series. A bay with no readings shows only
// what is certain.
func TestMissingIsAbsent(t *testing.T) {
	src := sources(picture("bay-9", bay.Readings{Now: time.Second}))
	src.RelayClosed, src.MQTTConnected, src.MQTTProven, src.OutboxEvents, src.ConnectionsCut = nil, nil, nil, nil, nil
	src.Scheme, src.CommandsRefused, src.Certificates = "", nil, nil
	c := metrics.New(src)
	for _, name := range []string{
		"bayward_pack_voltage_volts", "bayward_pack_current_amperes", "bayward_pack_temperature_celsius", "bayward_ambient_temperature_celsius",
		"bayward_electrolyte_level_meters", "bayward_cooldown_remaining_seconds", "bayward_water_needed_liters", "bayward_water_forecast_seconds", "bayward_level_reading_due_seconds",
		"bayward_current_zero_amperes", "bayward_current_noise_amperes", "bayward_hydrogen_ratio", "bayward_airflow_proven",
		"bayward_relay_closed", "bayward_reading_age_seconds", "bayward_mqtt_connected", "bayward_mqtt_events_proven", "bayward_mqtt_outbox_events", "bayward_http_connections_cut_total", "bayward_page_info", "bayward_mqtt_commands_refused_total", "bayward_certificate_expiry_timestamp_seconds",
	} {
		require.Zero(t, count(t, c, name), name)
	}
	require.Equal(t, 1, count(t, c, "bayward_charge_permitted"))
}

// TestPublishedQuantities: 10 Ah of gassing in each of 12 cells.
// Hydrogen at 25 °C is 0.45 L for each ampere-hour (ZVEI leaflet 14e, 2017);
// one coulomb is one ampere second (SI brochure, 9th edition, table 4).
func TestPublishedQuantities(t *testing.T) {
	families, err := gatherer(t, collector()).Gather()
	require.NoError(t, err)
	value := func(name string) float64 {
		for _, f := range families {
			if f.GetName() == name {
				return f.GetMetric()[0].GetCounter().GetValue() + f.GetMetric()[0].GetGauge().GetValue()
			}
		}
		t.Fatal(name)
		return 0
	}
	require.InEpsilon(t, 0.45*10*12/1000, value("bayward_hydrogen_released_cubic_meters_total"), 0.02)
	require.InEpsilon(t, 0.004, value("bayward_hydrogen_ratio"), 1e-9) // 0.4 % by volume
	require.InEpsilon(t, 250*3600, value("bayward_charge_coulombs_total"), 1e-9)
	require.InEpsilon(t, 1.32, value("bayward_water_needed_liters"), 1e-9)
	require.InEpsilon(t, 0.0045, value("bayward_electrolyte_level_meters"), 1e-9)
	require.InEpsilon(t, 48*3600, value("bayward_water_forecast_seconds"), 1e-9)
	require.InEpsilon(t, 72*3600, value("bayward_level_reading_due_seconds"), 1e-9)
}

// TestAgeGrowsWhileFaulty: the age is that of the last usable value, so it shows
// what the absent value cannot.
func TestAgeGrowsWhileFaulty(t *testing.T) {
	p := cooling()
	c := metrics.New(sources(p))
	c.Ticked(p)
	p.Now += 30 * time.Second
	p.Seen.PackC = reading.Bad(reading.NoAnswer, p.Now)
	c.Ticked(p)
	require.NoError(t, testutil.GatherAndCompare(gatherer(t, c), strings.NewReader(`
# HELP bayward_reading_age_seconds Age of a sensor's last usable value; of a sensor that gave none, the time since the agent's first tick.
# TYPE bayward_reading_age_seconds gauge
bayward_reading_age_seconds{bay="bay-1",sensor="ambient-temperature"} 32
bayward_reading_age_seconds{bay="bay-1",sensor="contactor-feedback"} 30
bayward_reading_age_seconds{bay="bay-1",sensor="level"} 30
bayward_reading_age_seconds{bay="bay-1",sensor="pack-current"} 30
bayward_reading_age_seconds{bay="bay-1",sensor="pack-temperature"} 30
bayward_reading_age_seconds{bay="bay-1",sensor="pack-voltage"} 30
# HELP bayward_reading_faults_total Ticks in which a configured sensor gave no usable value, by fault.
# TYPE bayward_reading_faults_total counter
bayward_reading_faults_total{bay="bay-1",fault="no-answer",sensor="pack-temperature"} 1
`), "bayward_reading_age_seconds", "bayward_reading_faults_total"))
}

// TestAgeOfASensorThatNeverAnswered: after a restart with a broken probe its age grows from the first tick,
// and begins again with its first value.
func TestAgeOfASensorThatNeverAnswered(t *testing.T) {
	p := blind()
	c := metrics.New(sources(p))
	age := func() string {
		t.Helper()
		got, err := testutil.GatherAndFormat(gatherer(t, c), expfmt.TypeTextPlain, "bayward_reading_age_seconds")
		require.NoError(t, err)
		for line := range strings.Lines(string(got)) {
			if value, found := strings.CutPrefix(line, `bayward_reading_age_seconds{bay="bay-2",sensor="level"} `); found {
				return strings.TrimSpace(value)
			}
		}
		return "absent"
	}
	require.Equal(t, "absent", age(), "no tick yet")
	c.Ticked(p)
	p.Now += 3 * time.Hour
	c.Ticked(p)
	require.Equal(t, "10800", age())
	p.Seen.Level = reading.LevelBetween(4, 5, p.Now)
	c.Ticked(p)
	p.Now += time.Minute
	p.Seen.Level = reading.Level{Fault: reading.Open, At: p.Now}
	require.Equal(t, "60", age())
}

// TestTheContactIsBelieved: a contactor that stays closed shows as closed, whatever
// the order.
func TestTheContactIsBelieved(t *testing.T) {
	p := cooling()
	p.Seen.ContactorClosed = reading.Good(1, p.Now)
	src := sources(p)
	src.RelayClosed = func(string) (closed, known bool) { return false, true }
	require.NoError(t, testutil.GatherAndCompare(gatherer(t, metrics.New(src)), strings.NewReader(`
# HELP bayward_relay_closed Whether the charge-enable relay is closed: by its feedback contact where one is read, otherwise by what its keeper answered; absent while the keeper is silent.
# TYPE bayward_relay_closed gauge
bayward_relay_closed{bay="bay-1"} 1
`), "bayward_relay_closed"))
}

// TestStuckScrapeHoldsNothing: a scrape that never ends delays no tick.
func TestStuckScrapeHoldsNothing(t *testing.T) {
	p, entered, leave := cooling(), make(chan struct{}), make(chan struct{})
	src := sources(p)
	src.Pictures = func() []*bay.Picture { close(entered); <-leave; return []*bay.Picture{p} }
	c := metrics.New(src)
	var scrape sync.WaitGroup
	scrape.Go(func() { count(t, c) })
	<-entered
	c.Ticked(p)
	c.ObserveTick(time.Millisecond)
	c.ObserveRelay(time.Millisecond)
	close(leave)
	scrape.Wait()
}

// TestScrapeWhileTicking is for the race detector.
func TestScrapeWhileTicking(t *testing.T) {
	p := blind()
	c := metrics.New(sources(p))
	var both sync.WaitGroup
	both.Go(func() {
		for range 200 {
			c.Ticked(p)
		}
	})
	for range 20 {
		require.Positive(t, count(t, c))
	}
	both.Wait()
	require.Equal(t, 5, count(t, c, "bayward_reading_faults_total"))
}

// TestPromtool checks a real scrape with Prometheus's own tool.
func TestPromtool(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("CI") != "" || os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
			t.Fatal("promtool is not installed (Debian: prometheus)")
		}
		t.Skip("promtool is not installed (Debian: prometheus)")
	}
	server := httptest.NewServer(metrics.Handler(registry(t, collector()), slog.New(slog.DiscardHandler)))
	defer server.Close()
	answer, err := server.Client().Get(server.URL)
	require.NoError(t, err)
	defer answer.Body.Close()
	page, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Contains(t, string(page), "bayward_charge_permitted")
	check := exec.CommandContext(t.Context(), tool, "check", "metrics")
	check.Stdin = strings.NewReader(string(page))
	out, err := check.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Empty(t, string(out))
}

func TestRegisteredTwiceIsAnError(t *testing.T) {
	_, err := metrics.NewRegistry(collector(), metrics.DiskWrites())
	require.Error(t, err)
}

func BenchmarkTicked(b *testing.B) {
	p := cooling()
	c := metrics.New(sources(p))
	b.ReportAllocs()
	for b.Loop() {
		c.Ticked(p)
	}
}

// BenchmarkScrape is the whole answer to a scrape with eight bays: collecting, the
// process's own figures, the text.
func BenchmarkScrape(b *testing.B) {
	var pictures []*bay.Picture
	for i := range 8 {
		p := cooling()
		p.Bay = "bay-" + strconv.Itoa(i+1)
		pictures = append(pictures, p)
	}
	c := metrics.New(sources(pictures...))
	h := metrics.Handler(registry(b, c), slog.New(slog.DiscardHandler))
	b.ReportAllocs()
	for b.Loop() {
		w, r := httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "/metrics", http.NoBody)
		r.Header.Set("Accept-Encoding", "gzip") // as Prometheus asks
		h.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			b.Fatal(w.Body.String())
		}
	}
}
