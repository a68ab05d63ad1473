package assembly_test

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/agent/order"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// swapSite is a site of two bays for two packs that are recognised by their
// sensors or named by a technician.
const swapSite = `site: quarry-road
agent: shed-2
sensors: simulated
http: {listen: "127.0.0.1:0"}
logbook: {path: "%s"}
bays:
  - {name: bay-1, packs: [lift-a, lift-b]}
  - {name: bay-2, packs: [lift-b, lift-a]}
packs:
  - {name: lift-a, cells: 12, capacity_ah: 225, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130%s}
  - {name: lift-b, cells: 12, capacity_ah: 300, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130%s}
`

// nightShift runs the whole program on one bench, over several runs of the agent.
type nightShift struct {
	*assembly.Agent
	t     *testing.T
	path  string // of the logbook
	text  string
	bench *sim.Bench
	bays  map[string]*sim.Stand
	off   time.Duration // of the bench when the agent ended
}

func newNightShift(t *testing.T, recognised bool) *nightShift {
	t.Helper()
	own := [2]any{"", ""}
	if recognised {
		own = [2]any{", sensor: 28-00000000000a", ", sensor: 28-00000000000b"}
	}
	n := &nightShift{t: t, path: filepath.Join(t.TempDir(), "logbook.db")}
	n.text = fmt.Sprintf(swapSite, n.path, own[0], own[1])
	var err error
	n.bench, n.bays, err = hardware.Simulate(configtest.Parse(t, n.text), map[string]sim.Opts{
		"bay-1": {StateOfCharge: 0.9, LevelMM: 8, Connected: true}, "bay-2": {StateOfCharge: 0.9, LevelMM: 11, Connected: true},
	})
	require.NoError(t, err)
	t.Cleanup(func() { n.end() })
	n.begin(true)
	return n
}

// begin starts the agent on the bench in its current state.
func (n *nightShift) begin(proven bool) {
	n.t.Helper()
	gap := n.bench.Now() - n.off
	cfg := configtest.Parse(n.t, n.text)
	keeper, err := hardware.KeepHere(cfg, n.bench, assemblytest.Unhurried)
	require.NoError(n.t, err)
	a, err := assembly.New(context.Background(), assembly.Parts{
		Config: cfg, Log: assemblytest.Quiet(), Hardware: hardware.OfBench(n.bench), Keeper: keeper,
		Wall: func() (time.Time, bool) { return time.Now(), false }, BootID: "boot", Mono: n.bench.Now,
		Gap:   func(logbook.Stamp) (time.Duration, bool) { return gap, proven },
		Every: time.Second, GuardAfter: assemblytest.Bound, Patience: func(loop.Source) time.Duration { return assemblytest.Bound },
	})
	require.NoError(n.t, err)
	n.Agent = a
	n.Loop.Start(context.Background())
}

func (n *nightShift) end() {
	n.t.Helper()
	if n.Agent != nil {
		require.NoError(n.t, n.Close())
		n.Agent, n.off = nil, n.bench.Now()
	}
}

// dedicate changes the file for the next run: each bay then serves one pack.
func (n *nightShift) dedicate(one, two string) {
	n.t.Helper()
	_, packs, _ := strings.Cut(n.text, "\npacks:")
	n.text = fmt.Sprintf("site: s\nagent: a\nsensors: simulated\nhttp: {listen: \"127.0.0.1:0\"}\nlogbook: {path: %q}\n"+
		"bays:\n  - {name: bay-1, pack: %s}\n  - {name: bay-2, pack: %s}\npacks:%s", n.path, one, two, packs)
}

// run lets time pass, with the agent if it is running.
func (n *nightShift) run(d time.Duration) []*bay.Picture {
	n.t.Helper()
	for range int(d / time.Second) {
		n.bench.Advance(time.Second)
		if n.Agent != nil {
			require.NoError(n.t, n.Loop.Tick(context.Background()))
		}
	}
	if n.Agent == nil {
		return nil
	}
	return n.Loop.Pictures()
}

// swap carries each pack to the other's bay, while nothing is plugged in.
func (n *nightShift) swap() {
	n.t.Helper()
	one, two := n.bays["bay-1"], n.bays["bay-2"]
	spare, err := n.bench.NewBattery(sim.Opts{Cells: 12, CapacityAh: 100, VentWellMM: 22, FreeSurfaceCM2: 130, AmbientC: 22})
	require.NoError(n.t, err)
	a, err := one.Exchange(spare)
	require.NoError(n.t, err)
	b, err := two.Exchange(a)
	require.NoError(n.t, err)
	_, err = one.Exchange(b)
	require.NoError(n.t, err)
}

func (n *nightShift) name(bayName, pack string) bay.Event {
	n.t.Helper()
	answer := make(chan bay.Event, 1)
	go func() {
		e, err := n.Loop.Submit(context.Background(), bayName, order.Order{ID: bayName + pack + n.bench.Now().String(), Kind: order.Pack, By: "Ann", Pack: pack})
		if err != nil {
			n.t.Error(err)
		}
		answer <- e
	}()
	for {
		select {
		case e := <-answer:
			return e
		default:
			n.run(time.Second)
		}
	}
}

// TestPacksSwappedInTheNight: two packs are unplugged, carried to each other's
// bays and plugged in, while the agent runs, restarts with the packs unplugged,
// or is off throughout. Each history goes with its pack, through sensors, loop
// and logbook. Nothing is granted before the pack is known.
func TestPacksSwappedInTheNight(t *testing.T) {
	for _, recognised := range []bool{true, false} {
		for name, night := range map[string]func(n *nightShift, plug func(bool)){
			"running": func(n *nightShift, plug func(bool)) {
				plug(false)
				n.run(time.Minute)
				n.swap()
				plug(true)
			},
			"restarted while unplugged": func(n *nightShift, plug func(bool)) {
				plug(false)
				n.run(20 * time.Second)
				n.end()
				n.run(time.Hour)
				n.begin(false)
				n.run(20 * time.Second)
				n.swap()
				plug(true)
			},
			"off all along": func(n *nightShift, plug func(bool)) {
				n.end()
				plug(false)
				n.run(10 * time.Minute)
				n.swap()
				plug(true)
				n.begin(!recognised)
			},
		} {
			t.Run(fmt.Sprintf("%s, recognised %v", name, recognised), func(t *testing.T) {
				n := newNightShift(t, recognised)
				if !recognised {
					n.run(3 * time.Second)
					require.Equal(t, bay.OrderTaken, n.name("bay-1", "lift-a").Kind)
					require.Equal(t, bay.OrderTaken, n.name("bay-2", "lift-b").Kind)
				}
				p := n.run(2 * time.Minute)
				require.Equal(t, "lift-a", p[0].Pack.Name)
				require.Equal(t, "lift-b", p[1].Pack.Name)
				require.True(t, p[0].Permit.Granted, words.EnglishSI().Says(p[0]))
				n.bays["bay-2"].SetMains(false) // only one of them gasses
				p = n.run(2 * time.Hour)
				a, b := p[0].Charge.TotalGassingAh, p[1].Charge.TotalGassingAh
				require.Greater(t, a, 2*b)
				night(n, func(connected bool) {
					for _, y := range n.bays {
						if connected {
							y.Connect()
						} else {
							y.Unplug()
						}
					}
				})
				p = n.run(2 * time.Second)
				require.False(t, p[0].Permit.Granted || p[1].Permit.Granted)
				if !recognised {
					n.run(10 * time.Second)
					// If the agent was off throughout, for a time proven to be short, the earlier
					// name still counts: nothing that bayward could see has changed.
					e := n.name("bay-1", "")
					require.Contains(t, []bay.EventKind{bay.OrderTaken, bay.OrderRefused}, e.Kind)
					n.name("bay-2", "")
					n.run(3 * time.Second)
					require.Equal(t, bay.OrderTaken, n.name("bay-1", "lift-b").Kind)
					require.Equal(t, bay.OrderTaken, n.name("bay-2", "lift-a").Kind)
				}
				p = n.run(2 * time.Minute)
				require.Equal(t, "lift-b", p[0].Pack.Name, words.EnglishSI().Says(p[0]))
				require.Equal(t, "lift-a", p[1].Pack.Name, words.EnglishSI().Says(p[1]))
				lost := a / 50
				if name == "off all along" {
					lost = a / 6 // a memory may be ten minutes old
				}
				require.InDelta(t, a, p[1].Charge.TotalGassingAh, lost, "the balance of lift-a came along")
				require.InDelta(t, b, p[0].Charge.TotalGassingAh, lost)
				require.True(t, p[0].Permit.Granted, words.EnglishSI().Says(p[0]))
				require.True(t, p[1].Permit.Granted, words.EnglishSI().Says(p[1]))
				require.False(t, math.Signbit(p[0].Totals.GassingAh-a/2), "what the bay has gassed does not fall")
			})
		}
	}
}

// TestAPackMovesByTheConfiguration: a pack that the file assigns to another bay
// takes its history there, although the move was never observed.
func TestAPackMovesByTheConfiguration(t *testing.T) {
	n := newNightShift(t, false)
	n.end()
	n.dedicate("lift-a", "lift-b")
	n.begin(false)
	p := n.run(2 * time.Hour)
	a := p[0].Charge.TotalGassingAh
	require.Positive(t, a)
	n.end()
	n.dedicate("lift-b", "lift-a")
	n.begin(false)
	p = n.run(time.Minute)
	require.Equal(t, "lift-a", p[1].Pack.Name)
	require.InDelta(t, a, p[1].Charge.TotalGassingAh, a/5)
	require.False(t, p[1].Charge.Full)
}

// TestARestartLeavesNoTrace: a finding raised for a pack is one row in the
// record, even if the agent restarts meanwhile and does not yet know the pack.
func TestARestartLeavesNoTrace(t *testing.T) {
	for name, off := range map[string]time.Duration{"at once": 2 * time.Second, "after an hour": time.Hour} {
		for _, recognised := range []bool{true, false} {
			t.Run(fmt.Sprintf("%s, recognised %v", name, recognised), func(t *testing.T) {
				n := newNightShift(t, true)
				if !recognised {
					n.end()
					n.dedicate("lift-a", "lift-b")
					n.begin(false)
				}
				require.NoError(t, n.bays["bay-1"].Leak(n.bays["bay-1"].PilotCell(), 170))
				p := n.run(5 * time.Minute)
				require.Equal(t, "lift-a", p[0].Pack.Name)
				require.True(t, p[0].Findings[interlock.PlatesBare].Raised)
				for range 2 {
					n.end()
					n.run(off)
					n.begin(true)
					n.run(5 * time.Minute)
				}
				n.end()
				n.mustStandOnce("bay-1", "lift-a", "plates-bare")
			})
		}
	}
}

// mustStandOnce checks that a finding of a pack, and the refusal for it, are one
// open row each, and that no finding of the bay was cleared and raised again at
// once.
func (n *nightShift) mustStandOnce(bayName, pack, code string) {
	n.t.Helper()
	r, err := logbook.OpenReadOnly(n.t.Context(), n.path)
	require.NoError(n.t, err)
	defer r.Close()
	last := map[string]logbook.Finding{}
	for f, err := range r.Findings(n.t.Context(), logbook.Query{Bay: bayName}) {
		require.NoError(n.t, err)
		require.Equal(n.t, pack, f.Pack, f.Code)
		before, again := last[f.Code]
		require.False(n.t, again && (f.Code == code || f.Start.Mono-before.End.Mono < time.Minute), "%+v\n%+v", before, f)
		last[f.Code] = f
	}
	require.Contains(n.t, last, code)
	require.Zero(n.t, last[code].End, "it still stands")
	var refusals []logbook.Refusal
	for f, err := range r.Refusals(n.t.Context(), logbook.Query{Bay: bayName}) {
		require.NoError(n.t, err)
		refusals = append(refusals, f)
	}
	require.Len(n.t, refusals, 1)
	require.True(n.t, refusals[0].Open())
	require.Equal(n.t, pack, refusals[0].Pack)
	require.Equal(n.t, code, refusals[0].Code)
}
