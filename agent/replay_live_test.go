package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/reading"
	"bayward/agent/replay"
	"bayward/agent/view"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// liveTick is the time between two ticks of a live run in these tests.
const liveTick = 5 * time.Second

// liveBays are bays whose replay must decide as their live core does.
func liveBays() map[string]struct {
	wire  func(*wiring.Parts)
	start sim.Opts
	hours int
} {
	night := sim.Opts{StateOfCharge: 0.93, LevelMM: 8, PackC: 31, AmbientC: 20, AmbientSwingC: 3, Charger: sim.TwoStage, Connected: true}
	return map[string]struct {
		wire  func(*wiring.Parts)
		start sim.Opts
		hours int
	}{
		"every sensor, in the electrolyte":  {func(*wiring.Parts) {}, night, 12},
		"on the case":                       {func(w *wiring.Parts) { w.Temperature.On = "case" }, night, 14},
		"on the case, no air":               {func(w *wiring.Parts) { w.Temperature.On, w.Temperature.Ambient = "case", "" }, night, 14},
		"no current, the charger's contact": {func(w *wiring.Parts) { w.Current = nil }, night, 10},
		"no current, no contact, no gas":    {func(w *wiring.Parts) { w.Current, w.Complete, w.Hydrogen = nil, nil, nil }, night, 10},
		"no feedback, no fan":               {func(w *wiring.Parts) { w.Relay.Feedback, w.Airflow = nil, nil }, night, 8},
		"two rods": {func(w *wiring.Parts) {
			w.Level.Kind, w.Level.Settings = level.Ladder, level.Settings{
				ExcitationV: 3.3, PullOhm: 10000, EndOhm: 47000, Rods: []level.Rod{{HeightMM: -5, SeriesOhm: 22000}, {HeightMM: 4, SeriesOhm: 10000}},
			}
		}, night, 6},
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
		for _, s := range d.sensors() {
			d.trace.WriteString("," + traceColumns[s])
		}
		d.trace.WriteString("\n")
	}
	fmt.Fprintf(&d.trace, "%s,%s,%s", plain(p.Now.Seconds()), fresh(p, p.Seen.Of(reading.ElectrolyteLevel)),
		fresh(p, reading.Reading{Value: p.Seen.Level.HighMM, At: p.Seen.Level.At, Fault: p.Seen.Level.Fault}))
	for _, s := range d.sensors() {
		d.trace.WriteString("," + fresh(p, p.Seen.Of(s)))
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

var traceColumns = map[reading.Sensor]string{
	reading.PackVoltage: "pack_v", reading.PackCurrent: "current_a", reading.PackTemperature: "pack_c", reading.AmbientTemperature: "ambient_c",
	reading.Hydrogen: "hydrogen_pct", reading.Airflow: "airflow", reading.ContactorFeedback: "contactor_closed", reading.ChargerComplete: "charger_complete",
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
