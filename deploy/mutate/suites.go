package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
)

// suite is the tests of one package, compiled with the mutants of all.
type suite struct {
	pkg, binary string
	rapid       bool
	size        int // of a trace
	tests       []*test
}

// test is one test function.
type test struct {
	name    string
	took    time.Duration // alone, without a mutant
	seed    int           // of its random draws, with which it passes
	reaches []byte        // by mutant: 1
}

const (
	// batch is how long the tests may take that run in one process.
	batch = time.Second
	// sampleMost is how long the tests of one mutant may take in a sample of a package
	// where tests are still missing: its survivors are only printed.
	sampleMost = 5 * time.Second
	// patience is how many times as long as usual tests may take, and how much more,
	// before they count as failed: a mutant can loop forever.
	patienceTimes, patienceMore = 5, 20 * time.Second
)

// skipped are tests that compare generated text, check models that the code is not part
// of, or start the go command: they judge no rule.
const skipped = "^(TestFindingsPage|TestModel.*|TestRelayModel.*|TestOrderModel.*|Benchmark.*)$"

// build compiles the tests with the mutants in them.
func build(o *options, overlay, work string, size int) (map[string]*suite, error) {
	suites, pkgs := map[string]*suite{}, o.packages()
	for i := range targets {
		if !slices.Contains(pkgs, targets[i].pkg) {
			continue
		}
		for _, pkg := range targets[i].tests {
			if suites[pkg] != nil {
				continue
			}
			s := &suite{pkg: pkg, binary: filepath.Join(work, strings.ReplaceAll(pkg, "/", "-")+".test"), size: size}
			suites[pkg] = s
			// The mutants are not clean code, so vet is off.
			cmd := exec.CommandContext(context.Background(), "go", "test", "-c", "-vet=off", "-overlay", overlay, "-o", s.binary, "./"+pkg) //nolint:gosec // fixed packages
			if out, err := cmd.CombinedOutput(); err != nil {
				return nil, fmt.Errorf("compile the tests of %s: %w\n%s", pkg, err, out)
			}
			if err := s.list(o.tests); err != nil {
				return nil, err
			}
		}
	}
	return suites, nil
}

// list finds the suite's tests whose names match an expression.
func (s *suite) list(expr string) error {
	out, err := s.command(context.Background(), 0, "", "-test.list="+cmp.Or(expr, ".")).Output()
	if err != nil {
		return fmt.Errorf("list the tests of %s: %w", s.pkg, err)
	}
	is, not := regexp.MustCompile("^(Test|Fuzz|Example)"), regexp.MustCompile(skipped)
	for _, name := range strings.Fields(string(out)) {
		if is.MatchString(name) && !not.MatchString(name) {
			s.tests = append(s.tests, &test{name: name})
		}
	}
	help, _ := s.command(context.Background(), 0, "", "-help").CombinedOutput()
	s.rapid = bytes.Contains(help, []byte("-rapid.nofailfile"))
	return nil
}

func (s *suite) command(ctx context.Context, mutant int, trace string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, s.binary, args...) //nolint:gosec // what build has compiled
	cmd.Dir = s.pkg
	cmd.Env = append(os.Environ(), fmt.Sprint("BAYWARD_MUTANT=", mutant), "BAYWARD_MUTANT_TRACE="+trace, "BAYWARD_STEPS=20000", "BAYWARD_REQUIRE_TOOLS=")
	return cmd
}

// run runs some tests of one seed on one mutant, 0 for none, until one fails. The random
// tests draw the same each time.
func (s *suite) run(mutant int, trace string, tests []*test, within time.Duration) (ok bool, out []byte) {
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	var names []string
	for _, t := range tests {
		names = append(names, t.name)
	}
	args := []string{"-test.short", "-test.failfast", "-test.run=^(" + strings.Join(names, "|") + ")$"}
	if s.rapid {
		args = append(args, "-rapid.nofailfile", fmt.Sprint("-rapid.seed=", tests[0].seed))
	}
	out, err := s.command(ctx, mutant, trace, args...).CombinedOutput()
	return err == nil, out
}

// inParallel calls do for each of n, with some workers at once.
func inParallel(n, workers int, do func(int)) {
	queue := make(chan int)
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for i := range queue {
				do(i)
			}
		})
	}
	for i := range n {
		queue <- i
	}
	close(queue)
	wg.Wait()
}

// traceAll runs each test alone, without a mutant, and sorts the tests by the time they
// take.
func traceAll(suites map[string]*suite, workers int) error {
	type one struct {
		s *suite
		t *test
	}
	var all []one
	for _, s := range suites {
		for _, t := range s.tests {
			all = append(all, one{s, t})
		}
	}
	failed := make([]error, len(all))
	inParallel(len(all), workers, func(i int) { failed[i] = all[i].s.traceOne(all[i].t) })
	for _, s := range suites {
		slices.SortStableFunc(s.tests, func(a, b *test) int { return int(a.took - b.took) })
	}
	for _, err := range failed {
		if err != nil {
			return err
		}
	}
	return nil
}

// traceOne tries some seeds: a random test that also checks that it tested enough may
// need another.
func (s *suite) traceOne(t *test) (err error) {
	for t.seed = 1; t.seed <= 8; t.seed++ {
		if err = s.traceSeed(t); err == nil || !s.rapid {
			return err
		}
	}
	return err
}

func (s *suite) traceSeed(t *test) error {
	const longest = 10 * time.Minute
	trace := s.binary + "." + t.name
	if err := os.WriteFile(trace, make([]byte, s.size), 0o600); err != nil {
		return err
	}
	began := time.Now()
	if ok, out := s.run(0, trace, []*test{t}, longest); !ok {
		return fmt.Errorf("%s of %s fails on unchanged code:\n%s", t.name, s.pkg, out)
	}
	t.took = time.Since(began)
	var err error
	if t.reaches, err = os.ReadFile(trace); err != nil {
		return err
	}
	return os.Remove(trace)
}

// try runs the tests that reach a mutant, the quickest first, until one fails. Where
// the tests are not complete a sample is not tried for longer than most; 0 is no limit.
func (s *suite) try(m *mutant, most time.Duration) {
	var some []*test
	var took, all time.Duration
	for _, t := range s.tests {
		if t.reaches[m.id] == 0 {
			continue
		}
		if len(some) > 0 && (took >= batch || some[0].seed != t.seed) {
			if s.kills(m, some, took) {
				return
			}
			some, took = nil, 0
		}
		if all += t.took; most > 0 && all > most {
			break
		}
		some, took = append(some, t), took+t.took
	}
	if len(some) > 0 {
		s.kills(m, some, took)
	}
}

// kills runs tests on a mutant and reports whether one failed.
func (s *suite) kills(m *mutant, some []*test, took time.Duration) bool {
	m.tried += len(some)
	if ok, _ := s.run(m.id, "", some, patienceTimes*took+patienceMore); ok {
		return false
	}
	m.killer = filepath.Base(s.pkg) + " " + some[0].name
	if len(some) > 1 {
		m.killer += " or another"
	}
	return true
}

// tryAll tries each mutant until a test kills it.
func tryAll(out io.Writer, mutants []*mutant, suites map[string]*suite, o *options) {
	inParallel(len(mutants), o.workers, func(i int) {
		m, most := mutants[i], time.Duration(0)
		if o.share > 1 && !strict(m.pkg) {
			most = sampleMost
		}
		for _, pkg := range testsOf(m.pkg) {
			if m.killer == "" {
				suites[pkg].try(m, most)
			}
		}
		if o.verbose {
			_, _ = fmt.Fprintf(out, "%-32s %-70s %s\n", m.place, m, m.killer)
		}
	})
}

// testsOf returns the packages whose tests must find a package's mutants.
func testsOf(pkg string) []string {
	return targets[slices.IndexFunc(targets, func(t target) bool { return t.pkg == pkg })].tests
}
