package demo

import (
	"context"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/sensors"
	"bayward/sensors/sim"
)

// TestWear runs simulated bays for days on their own file system and reads from
// the block device what was really written: a process's own counter misses the
// file system's journal. BAYWARD_WEAR is the number of days.
//
//	BAYWARD_WEAR=7 go test ./agent/demo -run Wear -v -timeout 1h
//
// The physics run faster than real time. The hour after which the recorder
// commits is therefore measured by the simulated clock, and the file system is
// synced after each commit, as it would sync itself some seconds later in real
// time. Commits closer together than that are counted separately, so the figure
// is high rather than low.
func TestWear(t *testing.T) {
	if os.Getenv("BAYWARD_WEAR") == "" {
		t.Skip("a measurement: BAYWARD_WEAR says how many days it takes")
	}
	days, err := strconv.ParseFloat(os.Getenv("BAYWARD_WEAR"), 64)
	require.NoError(t, err)
	for _, bays := range []int{1, 8} {
		t.Run(fmt.Sprintf("bays=%d", bays), func(t *testing.T) {
			w := newWear(t, bays)
			w.run(t, time.Duration(days*24*float64(time.Hour)))
			mb := float64(w.disk.written(t)-w.before) / 1e6 / days
			t.Logf("%.2f MB a day reach the block device, in %.0f commits a day with %.0f events; the logbook holds %.2f MB after %v days",
				mb, float64(w.store.commits)/days, float64(w.store.events)/days, w.size(t), days)
		})
	}
}

// wear is an agent's loop, record and file, without the other outputs.
type wear struct {
	disk   *loopDisk
	store  *countingStore
	bench  *sim.Bench
	person *technician
	loop   *loop.Loop
	bays   int
	before uint64
}

// countingStore replaces the recorder's clock: it commits at once if there are
// events, otherwise after an hour of simulated time.
type countingStore struct {
	t       *testing.T
	book    *logbook.Book
	follow  map[string]*logbook.Follower
	waiting []logbook.Entry
	memory  map[string]logbook.Entry
	last    time.Duration
	commits int
	events  int
	dir     string
	took    chan struct{}
}

// Name implements loop.Output.
func (*countingStore) Name() string { return "logbook" }

// Take implements loop.Output.
func (s *countingStore) Take(ctx context.Context, n *loop.News) {
	at := logbook.Stamp{Wall: n.Wall, Trusted: true, BootID: "wear", Mono: n.Mono}
	e := logbook.Entry{Bay: n.Bay, Pack: n.Picture.Pack.Name, Stamp: at, Events: n.Events, Rows: s.follow[n.Bay].Take(at, n.Picture, n.Events)}
	if n.Memory != nil {
		s.memory[n.Bay] = logbook.Entry{Bay: n.Bay, Pack: e.Pack, Stamp: at, Memory: n.Memory}
	}
	if len(e.Events) > 0 || !e.Rows.Empty() {
		s.waiting = append(s.waiting, e)
	}
	if len(e.Events) > 0 || n.Mono-s.last >= time.Hour {
		s.commit(ctx, n.Mono)
		s.events += len(e.Events)
	}
	s.took <- struct{}{}
}

func (s *countingStore) commit(ctx context.Context, now time.Duration) {
	for _, m := range s.memory {
		s.waiting = append(s.waiting, m)
	}
	if err := s.book.Write(ctx, s.waiting...); err != nil {
		s.t.Error(err)
	}
	s.waiting, s.memory, s.last = nil, map[string]logbook.Entry{}, now
	s.commits++
	if err := exec.CommandContext(ctx, "sync", "-f", s.dir).Run(); err != nil {
		s.t.Error(err)
	}
}

func newWear(t *testing.T, n int) *wear {
	t.Helper()
	w := &wear{disk: newLoopDisk(t, 64), bays: n}
	cfg, err := config.Parse("wear.yaml", []byte(wearSite(n)))
	require.NoError(t, err)
	book, err := logbook.Open(t.Context(), filepath.Join(w.disk.dir, "logbook.db"), assemblytest.Quiet())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, book.Close()) })
	follow := map[string]*logbook.Follower{}
	for i := range cfg.Bays {
		follow[cfg.Bays[i].Name] = logbook.NewFollower(cfg.Bays[i].Name, logbook.Rows{})
	}
	w.store = &countingStore{t: t, book: book, follow: follow, memory: map[string]logbook.Entry{}, dir: w.disk.dir, took: make(chan struct{}, n)}
	bench, bays, err := hardware.Simulate(cfg, wearStarts(n))
	require.NoError(t, err)
	w.bench = bench
	hw, err := sensors.Open(cfg, hardware.OfBench(bench))
	require.NoError(t, err)
	keeper, err := hardware.KeepHere(cfg, bench, assemblytest.Unhurried)
	require.NoError(t, err)
	setups, err := cfg.Setups()
	require.NoError(t, err)
	o := loop.Options{
		Outputs: []loop.Output{w.store}, Log: assemblytest.Quiet(), Every: time.Second, Now: bench.Now, KeeperNow: keeper.Now, GuardAfter: assemblytest.Bound,
		Patience: func(loop.Source) time.Duration { return assemblytest.Bound },
		Wall:     func() (time.Time, bool) { return time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).Add(bench.Now()), true },
	}
	for i, s := range setups {
		b := loop.Place{Name: s.Name, Core: bay.New(s), Relay: keeper.Relay(&cfg.Bays[i])}
		for _, src := range hw[i].Sources() {
			b.Sources = append(b.Sources, src)
		}
		o.Bays = append(o.Bays, b)
	}
	w.loop = loop.New(o)
	d := demoAgent{bays: bays}
	w.person = newTechnician(d.pour(w.loop.Submit), w.loop.Pictures, bays)
	return w
}

// wearSite returns a site of n bays, each with its own pack.
func wearSite(n int) string {
	var bays, packs strings.Builder
	for i := 1; i <= n; i++ {
		fmt.Fprintf(&bays, "  - {name: bay-%d, pack: lift-%d}\n", i, i)
		fmt.Fprintf(&packs, "  - {name: lift-%d, cells: 12, capacity_ah: 225, rate_hours: 20, full_gravity: 1.277, charge_level_mm: 3, "+
			"fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130, electrolyte_ml: 1350}\n", i)
	}
	return "site: quarry-road\nagent: shed-2\nsensors: simulated\nbays:\n" + bays.String() + "packs:\n" + packs.String()
}

// wearStarts omits the bays that the yard does not have.
func wearStarts(n int) map[string]sim.Opts {
	starts := starts()
	maps.DeleteFunc(starts, func(name string, _ sim.Opts) bool { return name > fmt.Sprintf("bay-%d", n) })
	return starts
}

func (w *wear) run(t *testing.T, lasts time.Duration) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	w.loop.Start(ctx)
	var g errgroup.Group
	g.Go(func() error { return w.person.work(ctx) })
	w.before = w.disk.written(t)
	for w.bench.Now() < lasts {
		w.bench.Advance(time.Second)
		require.NoError(t, w.loop.Tick(ctx))
		for range w.bays { // so no picture is skipped
			<-w.store.took
		}
	}
	cancel()
	require.NoError(t, g.Wait())
	require.NoError(t, w.loop.Stop(assemblytest.Bound))
}

// size returns the size of the logbook's file and its journal, MB.
func (w *wear) size(t *testing.T) float64 {
	t.Helper()
	sum := int64(0)
	for _, part := range []string{"", "-journal"} {
		info, err := os.Stat(filepath.Join(w.disk.dir, "logbook.db"+part))
		require.NoError(t, err)
		sum += info.Size()
	}
	return float64(sum) / 1e6
}

// loopDisk is an ext4 file system on a loop device.
type loopDisk struct{ dir, device string }

func newLoopDisk(t *testing.T, mib int) *loopDisk {
	t.Helper()
	image, d := filepath.Join(t.TempDir(), "disk.img"), &loopDisk{dir: filepath.Join(t.TempDir(), "mounted")}
	require.NoError(t, os.WriteFile(image, nil, 0o600))
	require.NoError(t, os.Truncate(image, int64(mib)<<20))
	require.NoError(t, os.Mkdir(d.dir, 0o750))
	run := func(name string, args ...string) string {
		out, err := exec.Command(name, args...).CombinedOutput()
		require.NoError(t, err, "%s %v: %s", name, args, out)
		return strings.TrimSpace(string(out))
	}
	// Without lazy_itable_init=0 the kernel keeps writing its own tables.
	run("mkfs.ext4", "-q", "-F", "-E", "lazy_itable_init=0,lazy_journal_init=0", image)
	d.device = run("losetup", "--find", "--show", image)
	t.Cleanup(func() { run("losetup", "--detach", d.device) })
	run("mount", d.device, d.dir)
	t.Cleanup(func() { run("umount", d.dir) })
	return d
}

// written returns the number of bytes that have reached the device: the seventh
// figure counts sectors of 512 bytes (Documentation/block/stat.rst of the
// kernel).
func (d *loopDisk) written(t *testing.T) uint64 {
	t.Helper()
	require.NoError(t, exec.CommandContext(t.Context(), "sync", "-f", d.dir).Run())
	text, err := os.ReadFile("/sys/block/" + filepath.Base(d.device) + "/stat")
	require.NoError(t, err)
	sectors, err := strconv.ParseUint(strings.Fields(string(text))[6], 10, 64)
	require.NoError(t, err)
	return 512 * sectors
}
