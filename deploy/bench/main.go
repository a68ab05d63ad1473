// Command bench measures what bayward costs on this machine and prints one table:
// its footprint with one and eight simulated bays, broker, metrics, page and
// logbook on, compared with that of a bare program, and what many agents' traffic
// costs a broker. Wall-clock figures are meaningful only on an idle machine.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"text/tabwriter"
	"time"
)

func main() {
	watch := flag.Duration("watch", 5*time.Minute, "how long each agent is measured, from a minute after its start; it sends a state every 30 s")
	fleet := flag.String("fleet", "1000", "fleets to try on one broker, one after the other: a number of agents, and how many times faster than real time; empty for none")
	flag.Usage = func() {
		_, _ = fmt.Fprint(flag.CommandLine.Output(), "usage: go run ./deploy/bench [--watch 5m] [--fleet 1000,1000x20]\n\n"+
			"Needs mosquitto. Prints the figures of costs.md; all traffic stays on this machine.\n\n")
		flag.PrintDefaults()
	}
	flag.Parse()
	if err := run(*watch, *fleet); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func run(watch time.Duration, fleet string) error {
	sizes, err := fleets(fleet)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	dir, err := os.MkdirTemp("", "bayward-bench")
	if err != nil {
		return fmt.Errorf("a folder to work in: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	ours, floor := filepath.Join(dir, "bayward"), filepath.Join(dir, "bare")
	if err := errors.Join(build(ctx, ours, "./agent"), build(ctx, floor, "./deploy/bench/bare")); err != nil {
		return err
	}
	one, eight, bare := agent(dir, ours, 1), agent(dir, ours, 8), bare(floor)
	_, _ = fmt.Fprintf(os.Stdout, "%s, %d processors, %s; load %s\n\n", cpuName(), runtime.NumCPU(), runtime.Version(), load())
	t := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	defer func() { _ = t.Flush() }()
	for _, p := range []program{bare, eight} {
		if err := p.begin(ctx, dir, t); err != nil {
			return fmt.Errorf("start of %s: %w", p.name, err)
		}
		_ = t.Flush() // show what was measured, even if a later step fails
	}
	var heard []message
	for _, p := range []program{bare, one, eight} {
		f, err := p.footprint(ctx, dir, watch)
		if err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		f.print(t, p.name)
		_ = t.Flush()
		heard = f.heard
	}
	for _, p := range []program{bare, eight} {
		if err := p.answers(ctx, dir, t); err != nil {
			return fmt.Errorf("answers of %s: %w", p.name, err)
		}
		_ = t.Flush()
	}
	for _, f := range sizes {
		if err := many(ctx, dir, f, heard, watch, t); err != nil {
			return fmt.Errorf("%s: %w", f, err)
		}
		_ = t.Flush()
	}
	return nil
}

// build builds one of our programs as a release does.
func build(ctx context.Context, to, from string) error {
	cmd := exec.CommandContext(ctx, "go", "build", "-trimpath", "-ldflags=-s", "-o", to, from) //nolint:gosec // our own program, into our own folder
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("build %s: %w\n%s", from, err, out)
	}
	return nil
}

func cpuName() string {
	text, err := os.ReadFile("/proc/cpuinfo")
	if err != nil {
		return runtime.GOARCH
	}
	for line := range strings.Lines(string(text)) {
		if name, ok := strings.CutPrefix(line, "model name\t: "); ok {
			return strings.TrimSpace(name)
		}
	}
	return runtime.GOARCH
}

func load() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "not known"
	}
	return strings.Join(strings.Fields(string(text))[:3], " ")
}
