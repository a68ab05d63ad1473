package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/replay"
	"bayward/agent/view"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// liveTick is the time between two ticks of a live run in these tests.
const liveTick = 5 * time.Second

// liveBay is a bay whose replay must decide as its live core does.
type liveBay struct {
	wire  func(*wiring.Parts)
	hours int
	start sim.Opts
}

func liveBays() map[string]liveBay {
	night := sim.Opts{StateOfCharge: 0.93, LevelMM: 8, PackC: 31, AmbientC: 20, AmbientSwingC: 3, Charger: sim.TwoStage, Connected: true}
	return map[string]liveBay{
		"every sensor, in the electrolyte":  {func(*wiring.Parts) {}, 12, night},
		"on the case":                       {func(w *wiring.Parts) { w.Temperature.On = "case" }, 14, night},
		"on the case, no air":               {func(w *wiring.Parts) { w.Temperature.On, w.Temperature.Ambient = "case", "" }, 14, night},
		"no current, the charger's contact": {func(w *wiring.Parts) { w.Current = nil }, 10, night},
		"no current, no contact, no gas":    {func(w *wiring.Parts) { w.Current, w.Complete, w.Hydrogen = nil, nil, nil }, 10, night},
		"no feedback, no fan":               {func(w *wiring.Parts) { w.Relay.Feedback, w.Airflow = nil, nil }, 8, night},
		"two rods": {func(w *wiring.Parts) {
			w.Level.Kind, w.Level.ADC, w.Level.Channel, w.Level.Expander = level.Ladder, 0x49, 0, 0x20
			w.Level.Settings = level.Settings{
				ReferenceOhm: 10000, EndOhm: 47000, Rods: []level.Rod{{HeightMM: -5, SeriesOhm: 22000}, {HeightMM: 4, SeriesOhm: 10000}},
			}
		}, 6, night},
	}
}

// TestReplayIsTheLiveCore: an agent on a simulated bay, and the replay of what its
// sensors read, give the same picture after every tick, for a bay with each kind of
// sensor and without it.
func TestReplayIsTheLiveCore(t *testing.T) {
	for name, row := range liveBays() {
		if testing.Short() && name != "on the case" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cfg := configtest.Parse(t, configtest.OneBay(t))
			row.wire(&cfg.Bays[0].Wiring)
			site := assemblytest.New(t, cfg, map[string]sim.Opts{"bay-1": row.start}, nil)
			setups, err := cfg.Setups()
			require.NoError(t, err)
			live := &diary{setup: setups[0]}
			for range row.hours * int(time.Hour/liveTick) { // from 0, as the clock of a replay
				require.NoError(t, site.Loop.Tick(t.Context()))
				live.tick(t, site.Loop.Pictures()[0])
				site.Bench.Advance(liveTick)
			}
			require.NoError(t, site.Close())
			again(t, cfg, live, replay.Options{})
			require.NotZero(t, live.stages[bay.Charging], "no charge: %v", live.stages)
			if row.hours >= 12 {
				require.NotZero(t, live.stages[bay.ReadyToWater], "no call: %v", live.stages)
			}
		})
	}
}

// diary is a live run: what the core got, as a trace, and its pictures.
type diary struct {
	setup    bay.Setup
	trace    bytes.Buffer
	pictures [][]byte
	stages   [bay.NumStages]int
}

// tick writes down one tick.
func (d *diary) tick(t *testing.T, p *bay.Picture) {
	t.Helper()
	if d.trace.Len() == 0 {
		d.trace.WriteString("time_s,level_mm,level_high_mm")
		if d.setup.Recognises {
			d.trace.WriteString(",pack")
		}
		for _, s := range d.sensors() {
			d.trace.WriteString("," + s.Column())
		}
		d.trace.WriteString("\n")
	}
	fmt.Fprintf(&d.trace, "%s,%s,%s", plain(p.Now.Seconds()), fresh(p, p.Seen.Of(reading.ElectrolyteLevel)),
		fresh(p, reading.Reading{Value: p.Seen.Level.HighMM, At: p.Seen.Level.At, Fault: p.Seen.Level.Fault}))
	if seen := p.Seen.Pack; d.setup.Recognises {
		name := cmp.Or(seen.Name, seen.Fault.String())
		if seen.At < p.Now {
			name = ""
		}
		d.trace.WriteString("," + name)
	}
	for _, s := range d.sensors() {
		r := p.Seen.Of(s)
		if s == reading.PackCurrent && r.OK() { // as read: the picture has it less its zero
			r.Value = p.Amps.NowA
			if p.Amps.ZeroKnown {
				r.Value += p.Amps.ZeroA
			}
		}
		d.trace.WriteString("," + fresh(p, r))
	}
	d.trace.WriteString("\n")
	d.pictures = append(d.pictures, asJSON(t, p))
	d.stages[p.Stage]++
}

// sensors lists those of the bay but for the level.
func (d *diary) sensors() (all []reading.Sensor) {
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if d.setup.Has(s) && s != reading.ElectrolyteLevel {
			all = append(all, s)
		}
	}
	return all
}

// fresh is a reading as a field of a trace: empty when it was read before this tick.
func fresh(p *bay.Picture, r reading.Reading) string {
	switch {
	case r.Fault == reading.Missing || r.OK() && r.At < p.Now:
		return ""
	case r.OK():
		return plain(r.Value)
	}
	return r.Fault.String()
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func asJSON(t *testing.T, p *bay.Picture) []byte {
	t.Helper()
	text, err := json.Marshal(view.Of(p))
	require.NoError(t, err)
	return text
}

// judge compares the pictures of a replay with those of the live run.
type judge struct {
	t    *testing.T
	want [][]byte
	n    int
}

// See implements replay.Watcher.
func (j *judge) See(timeS float64, p *bay.Picture) {
	j.t.Helper()
	require.Less(j.t, j.n, len(j.want))
	if got := asJSON(j.t, p); !bytes.Equal(j.want[j.n], got) {
		require.JSONEq(j.t, string(j.want[j.n]), string(got), "at %v s", timeS)
	}
	j.n++
}

// again replays a live run and requires the same pictures.
func again(t *testing.T, cfg *config.Config, live *diary, o replay.Options) string {
	t.Helper()
	s, err := cfg.ReplaySetup("bay-1", "")
	require.NoError(t, err)
	tr, err := replay.Open("live.csv", strings.NewReader(live.trace.String()))
	require.NoError(t, err)
	require.NoError(t, tr.Fit(&s))
	require.Equal(t, live.setup, s, "the set-up")
	j := &judge{t: t, want: live.pictures}
	o.Watchers = append(o.Watchers, j)
	var out strings.Builder
	_, err = replay.Run(tr, s, &out, o)
	require.NoError(t, err)
	require.Equal(t, len(live.pictures), j.n)
	return out.String()
}

// twoPacks is a site with one bay for two packs, with a place for the number of each one's sensor.
const twoPacks = `site: quarry-road
agent: shed-2
sensors: simulated
http: {listen: "127.0.0.1:0"}
logbook: {path: "%s"}
bays:
  - {name: bay-1, packs: [lift-a, lift-b]}
packs:
  - {name: lift-a, cells: 12, capacity_ah: 225, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130%s}
  - {name: lift-b, cells: 12, capacity_ah: 300, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130%s}
`

// TestReplayOfAnExchange: two packs take turns at one bay, recognised by their sensors
// or named by a person, and each finds its own history again.
func TestReplayOfAnExchange(t *testing.T) {
	for _, recognised := range []bool{true, false} {
		a, b, numberB := "", "", ""
		if recognised {
			numberB = "28-00000000000b"
			a, b = ", sensor: 28-00000000000a", ", sensor: "+numberB
		}
		cfg := configtest.Parse(t, fmt.Sprintf(twoPacks, t.TempDir()+"/logbook.db", a, b))
		start := sim.Opts{StateOfCharge: 0.9, LevelMM: 8, AmbientC: 20, Charger: sim.TwoStage, Connected: true}
		site := assemblytest.New(t, cfg, map[string]sim.Opts{"bay-1": start}, nil)
		setups, err := cfg.Setups()
		require.NoError(t, err)
		s := &shift{Site: site, live: &diary{setup: setups[0]}}
		require.NoError(t, site.Loop.Tick(t.Context()))
		s.live.tick(t, site.Loop.Pictures()[0])
		other, err := site.Bench.NewBattery(sim.Opts{Cells: 12, CapacityAh: 300, StateOfCharge: 0.8, LevelMM: 10, VentWellMM: 22, FreeSurfaceCM2: 130, AmbientC: 20, OwnSensor: numberB})
		require.NoError(t, err)
		named, lostA := "", 0.0
		var orders strings.Builder
		for _, pack := range []string{"lift-a", "lift-b", "lift-a"} {
			if named != "" {
				site.Bays["bay-1"].Unplug()
				s.wait(t, time.Minute)
				other, err = site.Bays["bay-1"].Exchange(other)
				require.NoError(t, err)
				site.Bays["bay-1"].Connect()
			}
			s.wait(t, time.Minute)
			if !recognised {
				for _, name := range []string{"", pack} {
					e := s.give(t, "Ann", order.Order{Kind: order.Pack, Pack: name})
					fmt.Fprintf(&orders, `{"time_s":%v,"by":"Ann","order":"pack","pack":%q,"id":%q,"result":"refused"}`+"\n", e.At.Seconds(), name, e.Order)
				}
			}
			named = pack
			s.wait(t, 90*time.Minute)
			p := site.Loop.Pictures()[0]
			require.Equal(t, pack, p.Pack.Name)
			if pack == "lift-a" {
				require.Greater(t, p.Water.LostTotal, lostA)
				lostA = p.Water.LostTotal
			}
		}
		require.NoError(t, site.Close())
		given, err := replay.ReadOrders("orders.json", strings.NewReader(orders.String()), replay.OrderOptions{Packs: setups[0].Packs})
		require.NoError(t, err)
		again(t, cfg, s.live, replay.Options{Orders: given})
	}
}

// shift is a live run in which people work.
type shift struct {
	*assemblytest.Site
	live *diary
	n    int
}

// run lets ticks pass until the bay is as wanted.
func (s *shift) run(t *testing.T, within time.Duration, is func(*bay.Picture) bool) {
	t.Helper()
	for range int(within / liveTick) {
		s.Bench.Advance(liveTick)
		require.NoError(t, s.Loop.Tick(t.Context()))
		p := s.Loop.Pictures()[0]
		s.live.tick(t, p)
		if is(p) {
			return
		}
	}
	t.Fatalf("did not come within %s", within)
}

func (s *shift) wait(t *testing.T, d time.Duration) {
	t.Helper()
	end := s.Bench.Now() + d
	s.run(t, d+liveTick, func(p *bay.Picture) bool { return p.Now >= end })
}

// give gives an order and returns what became of it.
func (s *shift) give(t *testing.T, by string, o order.Order) bay.Event {
	t.Helper()
	s.n++
	o.ID, o.By = fmt.Sprintf("order-%d", s.n), by
	done := make(chan bay.Event, 1)
	go func() {
		e, err := s.Loop.Submit(context.Background(), "bay-1", o)
		if err != nil {
			t.Error(err)
		}
		done <- e
	}()
	for {
		select {
		case e := <-done:
			return e
		default:
			s.wait(t, liveTick)
		}
	}
}

// zeroA is what the current sensor shows in these nights when nothing flows.
const zeroA = 1.0

// work is a night's work at the bay: what is taken, what is asked back, and what is
// refused.
func (s *shift) work(t *testing.T) {
	t.Helper()
	taken := func(by string, o order.Order) {
		t.Helper()
		e := s.give(t, by, o)
		require.Equal(t, bay.OrderTaken, e.Kind, "%s: %s", o.Kind, e.Why.Code)
	}
	refused := func(code order.Code, o order.Order) {
		t.Helper()
		require.Equal(t, code, s.give(t, "Ann", o).Why.Code)
	}
	s.wait(t, 10*time.Minute)
	taken("Ann", order.Order{Kind: order.Hold, Reason: "plug is loose", Note: "since noon"})
	taken("Ann", order.Order{Kind: order.Level, Cell: 3, LevelMM: 7.5})
	refused(order.NoSuchLock, order.Order{Kind: order.LockRemove, Lock: order.LockHold, Of: "Bob", Reason: "gone home", NobodyAtPack: true})
	s.wait(t, 10*time.Minute) // nothing flows: the zero of the current is measured
	require.InDelta(t, zeroA, s.Loop.Pictures()[0].Amps.ZeroA, 0.1)
	taken("Ann", order.Order{Kind: order.Unhold})
	s.run(t, 20*time.Hour, func(p *bay.Picture) bool { return p.Stage == bay.ReadyToWater })
	taken("Ann", order.Order{Kind: order.VisitOpen, Note: "confirmed: wear"})
	taken("Bob", order.Order{Kind: order.VisitJoin})
	taken("Bob", order.Order{Kind: order.Quality, USPerCM: 4, Water: "distilled"})
	p := s.Loop.Pictures()[0]
	need := p.Water.NeedML
	refused(order.OutOfRange, order.Order{Kind: order.Fill, Cell: 1, ML: 9000})
	little := order.Order{Kind: order.Fill, Cell: 1, ML: need[0] / 4}
	refused(order.AskLittle, little)
	little.Sure = true
	taken("Ann", little)
	taken("Bob", order.Order{Kind: order.Entry, Sure: true, Cells: []order.CellEntry{
		{Cell: 2, ML: &need[1], How: order.Measured, Gravity: new(1.27), AtC: new(24.0)},
		{Cell: 3, How: order.ToMark, SeenML: new(0.0)},
		{Cell: 4, ML: &need[3], How: order.AsProposed, LevelMM: new(13.0)},
	}})
	require.NoError(t, s.Bays["bay-1"].AddWater(1, need[0]))
	taken("Ann", order.Order{Kind: order.Correct, Cell: 1, Field: "ml", Value: &need[0], Was: &little.ML, Reason: "misread"})
	taken("Bob", order.Order{Kind: order.VisitLeave})
	taken("Ann", order.Order{Kind: order.VisitClose})
	s.wait(t, 30*time.Minute)
}

// TestTheRecordIsReplayed: the orders of a record, exported and given again with what
// the sensors read, lead to the same pictures and the same events.
func TestTheRecordIsReplayed(t *testing.T) {
	cfg := configtest.Parse(t, configtest.OneBay(t))
	start := time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC)
	night := sim.Opts{StateOfCharge: 0.95, LevelMM: 8, PackC: 27, AmbientC: 20, AmbientSwingC: 3, Charger: sim.TwoStage, Connected: true}
	site := assemblytest.New(t, cfg, map[string]sim.Opts{"bay-1": night}, func(s *assemblytest.Site, p *assembly.Parts) {
		p.Wall = func() (time.Time, bool) { return start.Add(s.Bench.Now()), true }
		off := *cfg.Bays[0].Wiring.Current // the simulated one is made
		off.ZeroV -= zeroA / off.AmperesPerVolt
		cfg.Bays[0].Wiring.Current = &off
	})
	setups, err := cfg.Setups()
	require.NoError(t, err)
	s := &shift{Site: site, live: &diary{setup: setups[0]}}
	require.NoError(t, site.Loop.Tick(t.Context()))
	s.live.tick(t, site.Loop.Pictures()[0])
	s.work(t)
	require.NoError(t, site.Close())

	export := func(table string) string {
		code, out, complaints := bayward(t, "", "records", "export", "--logbook", cfg.Logbook.Path, "--table", table, "--format", "json", "--bay", "bay-1")
		require.Equal(t, exitDone, code, complaints)
		return out
	}
	orders, err := replay.ReadOrders("orders.json", strings.NewReader(export("orders")), replay.OrderOptions{Start: start, Packs: []bay.Pack{setups[0].Pack}})
	require.NoError(t, err)
	asDescribed(t, "#/$defs/order", export("orders"))
	out := again(t, cfg, s.live, replay.Options{Orders: orders, Events: true})
	asDescribed(t, "", out)
	require.Equal(t, happened(t, export("events")), happened(t, out))

	trace := configtest.File(t, "night.csv", s.live.trace.String())
	args := []string{"replay", "--config", configtest.File(t, "bays.yaml", configtest.OneBay(t)), "--bay", "bay-1", "--hold", setups[0].Limits.StaleAfter.String(), "--events"}
	code, byCommand, complaints := bayward(t, "", append(args, "--orders", configtest.File(t, "orders.json", export("orders")), "--start", start.Format(time.RFC3339), trace)...)
	require.Equal(t, exitDone, code, complaints)
	require.Equal(t, out, byCommand)
	code, _, complaints = bayward(t, "", append(args, "--orders", configtest.File(t, "orders.json", export("orders")), trace)...)
	require.Equal(t, exitUsage, code)
	require.Contains(t, complaints, "orders.json:2: field time: value")
}

// asDescribed holds each line of a text to a part of the schema.
func asDescribed(t *testing.T, part, text string) {
	t.Helper()
	c := jsonschema.NewCompiler()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(replay.Schema()))
	require.NoError(t, err)
	require.NoError(t, c.AddResource("replay.json", doc))
	schema, err := c.Compile("replay.json" + part)
	require.NoError(t, err)
	n := 0
	for line := range strings.Lines(text) {
		if line = strings.TrimSuffix(strings.TrimSpace(line), ","); !strings.HasPrefix(line, "{") || strings.Contains(line, `"result":"refused"`) {
			continue
		}
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(line))
		require.NoError(t, err)
		require.NoError(t, schema.Validate(v), line)
		n++
	}
	require.Greater(t, n, 10)
}

// happening is an event as both the record and a replay have it.
type happening struct{ Kind, Stage, From, Code, By, Order, Text string }

// happened lists the events in an export or in the output of a replay.
func happened(t *testing.T, text string) (all []happening) {
	t.Helper()
	for line := range strings.Lines(text) {
		if line = strings.TrimSuffix(strings.TrimSpace(line), ","); len(line) < 2 || line[0] != '{' {
			continue
		}
		var e struct {
			happening
			Event *happening `json:"event"`
		}
		require.NoError(t, json.Unmarshal([]byte(line), &e), line)
		switch {
		case e.Event != nil:
			all = append(all, *e.Event)
		case e.Kind != "":
			all = append(all, e.happening)
		}
	}
	require.NotEmpty(t, all)
	return all
}
