// Command emulated runs the packaged program on an emulated board: a real
// Linux kernel with its drivers for I²C, 1-wire, GPIO, network, disk and
// watchdog. It plays the pack, the charger and the chips on the wires, and judges
// by what it sees from outside: edges of the relay's and the heartbeat's line, and
// messages from a broker. deploy/emulated/run prepares what it needs.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/deploy/emulated/machine"
)

// bench holds the command line's options and the results.
type bench struct {
	kernel, init, programs, qemu string
	units                        string
	root, packages               string
	archs, only                  string
	short, verbose, watch        bool
	wrong                        string
	page, boards                 int
	began                        time.Time

	mu    sync.Mutex // guards the fields below
	out   io.Writer
	table table
}

func main() {
	b := &bench{out: os.Stdout, began: time.Now()}
	flag.StringVar(&b.kernel, "kernel", "", "`folder` of an unpacked linux-image package")
	flag.StringVar(&b.init, "init", "", "the guest's init, a `file`")
	flag.StringVar(&b.programs, "programs", "", "`folder` with bayward-ARCH and bayward-keeper-ARCH for each architecture")
	flag.StringVar(&b.units, "units", "", "`folder` with the packaged systemd units")
	flag.StringVar(&b.root, "root", "", "image of a Debian root with systemd, a `file`; each board gets a copy")
	flag.StringVar(&b.packages, "packages", "", "`folder` with old.deb and new.deb for that root")
	flag.StringVar(&b.qemu, "qemu", "qemu-system-aarch64", "the emulator, a `program`")
	flag.StringVar(&b.archs, "arch", "arm64,armv6", "architectures of the program, a `list`; "+managed+" is the arm64 package under systemd, with -root and -packages")
	flag.StringVar(&b.only, "only", "", "only these scenarios, a `list`")
	flag.IntVar(&b.boards, "boards", 1, "how many boards run at a time; each needs a core")
	flag.BoolVar(&b.short, "short", false, "only the short set")
	flag.BoolVar(&b.verbose, "v", false, "show the guest's console")
	flag.BoolVar(&b.watch, "watch", false, "run no scenarios: start the machine and show it until Ctrl-C")
	flag.StringVar(&b.wrong, "wrong", "", "a deliberate fault that must make the run fail: `line` (the bench reads the relay's line inverted) or rule (bare plates are taken for covered)")
	flag.IntVar(&b.page, "page", 8080, "the page's port on this host, with -watch")
	flag.Parse()
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := b.main(ctx)
	cancel()
	os.Exit(code)
}

// managed is listed among the architectures; it means the board that runs the
// package under systemd.
const managed = "systemd"

func (b *bench) main(ctx context.Context) int {
	if strings.Contains(b.archs, managed) && (b.root == "" || b.packages == "") {
		fmt.Fprintln(os.Stderr, "-arch "+managed+" needs -root and -packages")
		return 2
	}
	if b.kernel == "" || b.init == "" || b.programs == "" || b.units == "" || b.wrong != "" && b.wrong != "line" && b.wrong != "rule" || flag.NArg() > 0 {
		flag.Usage()
		return 2
	}
	dir, err := os.MkdirTemp("", "bayward-emulated.")
	if err == nil {
		defer func() { _ = os.RemoveAll(dir) }()
		err = b.run(ctx, dir)
	}
	if err != nil {
		fmt.Fprintln(b.out, "FAIL:", err)
		return 1
	}
	return 0
}

var errFailed = errors.New("not all scenarios passed")

func (b *bench) run(ctx context.Context, dir string) error {
	if b.watch {
		arch, _, _ := strings.Cut(b.archs, ",")
		return b.board(ctx, filepath.Join(dir, arch), arch, nil)
	}
	var (
		running sync.WaitGroup
		places  = make(chan struct{}, max(b.boards, 1))
		mu      sync.Mutex // guards errs
		errs    []error
	)
	for _, arch := range strings.Split(b.archs, ",") {
		for _, sc := range b.chosen(arch) {
			b.table.plan(sc.name, arch)
		}
	}
	for _, arch := range strings.Split(b.archs, ",") {
		for i, list := range boards(b.chosen(arch)) {
			places <- struct{}{}
			running.Go(func() {
				defer func() { <-places }()
				if err := b.board(ctx, filepath.Join(dir, fmt.Sprintf("%s.%d", arch, i+1)), arch, list); err != nil {
					mu.Lock()
					defer mu.Unlock()
					errs = append(errs, fmt.Errorf("%s: %w", arch, err))
				}
			})
		}
	}
	running.Wait()
	b.table.print(b.out)
	fmt.Fprintf(b.out, "%.0f s in all\n", time.Since(b.began).Seconds())
	if !b.table.passed() {
		errs = append(errs, errFailed)
	}
	return errors.Join(errs...)
}

// log writes one line; several boards may call it.
func (b *bench) log(format string, a ...any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if strings.HasPrefix(format, "figure: ") {
		fmt.Fprintf(b.out, format+"\n", a...)
		return
	}
	fmt.Fprintf(b.out, "[%6.1f s] "+format+"\n", append([]any{time.Since(b.began).Seconds()}, a...)...)
}

// boards groups scenarios by the board that they need: neighbours in the list
// with the same pace share one.
func boards(list []scenario) (out [][]scenario) {
	for _, sc := range list {
		if n := len(out); n > 0 && out[n-1][0].pace == sc.pace {
			out[n-1] = append(out[n-1], sc)
			continue
		}
		out = append(out, []scenario{sc})
	}
	return out
}

// board runs scenarios on one board; with -watch it shows the board instead.
func (b *bench) board(ctx context.Context, dir, arch string, list []scenario) error {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	site, err := startSite(ctx, dir)
	if err != nil {
		return err
	}
	defer site.close()
	pace := 1.0
	if len(list) > 0 && list[0].pace != 0 {
		pace = list[0].pace
	}
	r, err := newRig(ctx, pace)
	if err != nil {
		return err
	}
	defer func() { _ = r.close() }()
	r.inverted = b.wrong == "line"
	console, err := os.Create(filepath.Join(dir, "console"))
	if err != nil {
		return err
	}
	defer func() { _ = console.Close() }()
	log := func(format string, a ...any) {
		if !strings.HasPrefix(format, "figure: ") {
			format = filepath.Base(dir) + ": " + format
		}
		b.log(format, a...)
	}
	log("the board is switched on")
	most := patience
	if arch == managed {
		most = dpkgPatience
	}
	bootCtx, cancel := context.WithTimeout(ctx, most)
	o, err := b.options(ctx, dir, arch, console)
	if err == nil {
		err = r.boot(bootCtx, o)
	}
	cancel()
	if err != nil {
		return errors.Join(err, tail(console.Name()))
	}
	log("all devices are present")
	if b.watch {
		return b.show(ctx, r, site)
	}
	for _, sc := range list {
		s := &scene{managed: arch == managed, patience: most, rig: r, site: site, ctx: ctx, name: sc.name, short: b.short, log: log}
		b.play(s, sc, arch, console.Name())
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return nil
}

// options returns what a board is made of.
func (b *bench) options(ctx context.Context, dir, arch string, console io.Writer) (machine.Options, error) {
	o := machine.Options{Qemu: b.qemu, Kernel: b.kernel, Init: b.init, Dir: dir, Console: console}
	var err error
	if arch == managed {
		o.Root, o.Stick = filepath.Join(dir, "root"), b.packages
		err = exec.CommandContext(ctx, "cp", "--sparse=always", "--reflink=auto", b.root, o.Root).Run()
	} else {
		o.Files = map[string]string{
			inGuest(control.Binary):       filepath.Join(b.programs, "bayward-"+arch),
			inGuest(control.KeeperBinary): filepath.Join(b.programs, "bayward-keeper-"+arch),
		}
		for _, unit := range []control.Unit{control.Agent, control.Keeper} {
			o.Files[inGuest(control.UnitFolder+string(unit))] = filepath.Join(b.units, string(unit))
		}
	}
	if b.verbose {
		o.Console = io.MultiWriter(console, b.out)
	}
	if b.watch {
		o.PagePort = b.page
	}
	return o, err
}

// inGuest returns a path as the initramfs has it.
func inGuest(path string) string { return strings.TrimPrefix(path, "/") }

// play runs one scenario and records its outcome.
func (b *bench) play(s *scene, sc scenario, arch, console string) {
	if b.wrong == "rule" {
		s.twist = []string{"offset_mm: 0", "offset_mm: 20"}
	}
	s.log("%s: %s", sc.name, sc.about)
	began := time.Now()
	sc.run(s)
	b.record(sc.name, arch, s.err, time.Since(began))
	if s.err != nil {
		s.log("%v", tail(console))
	}
}

func (b *bench) record(name, arch string, err error, took time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.table.add(name, arch, err, took)
}

// chosen returns the scenarios requested for an architecture.
func (b *bench) chosen(arch string) []scenario {
	var out []scenario
	for _, sc := range scenarios {
		named := b.only == "" || arch == managed && sc.name == installScenario || slices.Contains(strings.Split(b.only, ","), sc.name)
		if sc.runsOn(arch) && named && (!b.short || slices.Contains(strings.Split(sc.short, ","), arch)) {
			out = append(out, sc)
		}
	}
	return out
}

// tail returns the end of the console as an error.
func tail(file string) error {
	text, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	const most = 3000
	return fmt.Errorf("the console ends with:\n%s", text[max(0, len(text)-most):])
}
