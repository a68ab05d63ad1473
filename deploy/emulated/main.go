// Command emulated runs the packaged program on an emulated board: a real
// Linux kernel with its drivers for I²C, 1-wire, GPIO, network, disk and
// watchdog, while this program plays the pack, the charger and the chips on the
// wires, and judges what it sees from outside: edges of the relay's and the
// heartbeat's line, and what comes over a broker. deploy/emulated/run prepares
// what it needs.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"bayward/deploy/emulated/machine"
)

// bench is what the command line asks for.
type bench struct {
	kernel, init, programs, qemu string
	archs, only                  string
	short, verbose, watch        bool
	wrong                        string
	page                         int
	out                          io.Writer
	began                        time.Time
}

func main() {
	b := &bench{out: os.Stdout, began: time.Now()}
	flag.StringVar(&b.kernel, "kernel", "", "`folder` of an unpacked linux-image package")
	flag.StringVar(&b.init, "init", "", "the guest's init, a `file`")
	flag.StringVar(&b.programs, "programs", "", "`folder` with bayward-ARCH for each architecture")
	flag.StringVar(&b.qemu, "qemu", "qemu-system-aarch64", "the emulator, a `program`")
	flag.StringVar(&b.archs, "arch", "arm64,armv6", "architectures of the program, a `list`")
	flag.StringVar(&b.only, "only", "", "only these scenarios, a `list`")
	flag.BoolVar(&b.short, "short", false, "only the short set")
	flag.BoolVar(&b.verbose, "v", false, "show the guest's console")
	flag.BoolVar(&b.watch, "watch", false, "no scenarios: start the machine and show it, until Ctrl-C")
	flag.StringVar(&b.wrong, "wrong", "", "a deliberate fault that must make the run fail: `line` (the relay's line is taken for its opposite) or rule (plates are taken for covered)")
	flag.IntVar(&b.page, "page", 8080, "port of this host for the page, with -watch")
	flag.Parse()
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := b.main(ctx)
	cancel()
	os.Exit(code)
}

func (b *bench) main(ctx context.Context) int {
	if b.kernel == "" || b.init == "" || b.programs == "" || b.wrong != "" && b.wrong != "line" && b.wrong != "rule" || flag.NArg() > 0 {
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
	site, err := startSite(ctx, dir)
	if err != nil {
		return err
	}
	defer func() { _ = site.close() }()
	t := table{}
	var errs []error
	for _, arch := range strings.Split(b.archs, ",") {
		if err := b.board(ctx, filepath.Join(dir, arch), arch, site, &t); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", arch, err))
		}
		if b.watch {
			return errors.Join(errs...)
		}
	}
	t.print(b.out)
	fmt.Fprintf(b.out, "%.0f s in all\n", time.Since(b.began).Seconds())
	if !t.passed() {
		errs = append(errs, errFailed)
	}
	return errors.Join(errs...)
}

func (b *bench) log(format string, a ...any) {
	if strings.HasPrefix(format, "figure: ") {
		fmt.Fprintf(b.out, format+"\n", a...)
		return
	}
	fmt.Fprintf(b.out, "[%6.1f s] "+format+"\n", append([]any{time.Since(b.began).Seconds()}, a...)...)
}

// board runs the scenarios on one board.
func (b *bench) board(ctx context.Context, dir, arch string, site *site, t *table) error {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	r, err := newRig(ctx)
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
	o := machine.Options{
		Qemu: b.qemu, Kernel: b.kernel, Init: b.init, Program: filepath.Join(b.programs, "bayward-"+arch), Dir: dir, Console: console,
	}
	if b.verbose {
		o.Console = io.MultiWriter(console, b.out)
	}
	if b.watch {
		o.PagePort = b.page
	}
	b.log("%s: the board is switched on", arch)
	bootCtx, cancel := context.WithTimeout(ctx, patience)
	err = r.boot(bootCtx, o)
	cancel()
	if err != nil {
		return errors.Join(err, tail(console.Name()))
	}
	b.log("%s: all devices are there", arch)
	if b.watch {
		return b.show(ctx, r, site)
	}
	for _, sc := range b.chosen(arch) {
		s := &scene{rig: r, site: site, ctx: ctx, name: sc.name, short: b.short, log: b.log}
		if b.wrong == "rule" {
			s.twist = []string{"offset_mm: 0", "offset_mm: 20"}
		}
		b.log("%s: %s: %s", arch, sc.name, sc.says)
		began := time.Now()
		sc.run(s)
		t.add(sc.name, arch, s.err, time.Since(began))
		if s.err != nil {
			b.log("%v", tail(console.Name()))
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return nil
}

// chosen are the scenarios that are asked for of an architecture.
func (b *bench) chosen(arch string) []scenario {
	var out []scenario
	for _, sc := range scenarios {
		named := b.only == "" || slices.Contains(strings.Split(b.only, ","), sc.name)
		if named && (!b.short || slices.Contains(strings.Split(sc.short, ","), arch)) {
			out = append(out, sc)
		}
	}
	return out
}

// tail is the end of the console, as an error.
func tail(file string) error {
	text, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	const most = 3000
	return fmt.Errorf("the console ends with:\n%s", text[max(0, len(text)-most):])
}
