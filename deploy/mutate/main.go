// Command mutate checks the tests of the rules: it breaks the comparisons, boolean
// operators, negations and boolean constants one by one and requires that a test fails
// each time. A test suite that passes with a broken rule proves nothing.
//
// All mutants of all packages are compiled into one test binary per package, behind a
// switch in the environment, so that nothing is compiled again for each mutant. Nothing
// in the tree changes: the mutated sources are an overlay in a temporary folder. Each
// test first runs once by itself and notes which mutants it reaches; a mutant is then
// tried only on those tests, the quickest first, up to the first that fails. Tests that
// only compare generated text are left out.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"strings"
	"time"
)

// target is a package that is mutated.
type target struct {
	pkg   string   // seen from the repository's root
	tests []string // the packages whose tests must find its mutants, in this order
	whole bool     // every mutant was tried; a survivor is an error and not only printed
}

var targets = []target{
	{"agent/interlock", []string{"agent/interlock", "agent/bay"}, true},
	{"agent/charge", []string{"agent/charge", "agent/bay"}, false},
	{"agent/cooldown", []string{"agent/cooldown", "agent/bay"}, false},
	{"agent/water", []string{"agent/water", "agent/bay"}, false},
	{"agent/alive", []string{"agent/alive", "agent/bay"}, false},
	{"agent/ammeter", []string{"agent/ammeter", "agent/bay"}, false},
	{"agent/cellcount", []string{"agent/cellcount", "agent/bay"}, false},
	{"agent/bay", []string{"agent/bay"}, false},
	{"agent/loop", []string{"agent/loop"}, false},
	{"sensors", []string{"sensors"}, false},
	{"sensors/ads1115", []string{"sensors/ads1115"}, false},
	{"sensors/ads1118", []string{"sensors/ads1118", "sensors/families"}, false},
	{"sensors/ina22x", []string{"sensors/ina22x", "sensors/families"}, false},
	{"sensors/mcp3208", []string{"sensors/mcp3208", "sensors/families"}, false},
	{"sensors/max31865", []string{"sensors/max31865"}, false},
	{"sensors/modbus", []string{"sensors/modbus"}, false},
	{"sensors/level", []string{"sensors/level"}, false},
	{"sensors/w1therm", []string{"sensors/w1therm"}, false},
}

// strict reports whether a survivor of a package is an error.
func strict(pkg string) bool {
	return slices.ContainsFunc(targets, func(t target) bool { return t.pkg == pkg && t.whole })
}

const usage = `usage: go run ./deploy/mutate [-v] [-own] [-run TESTS] [-share N] [-seed TEXT] [PACKAGE...]

Breaks each comparison and boolean of the rules in turn and runs the tests on it. Run it
in the repository's root. Packages: `

func main() {
	flag.Usage = func() {
		fmt.Fprint(os.Stderr, usage+strings.Join(names(), " ")+`

  -share N    try one mutant of N, chosen by the seed [1: all]; those of packages where
              tests are still missing only on the first seconds of their own tests
  -seed TEXT  what chooses them; each commit chooses others [the commit]
  -own        only the tests of the mutated package itself: quick, while writing one
  -run TESTS  only the tests whose names match this expression, as with go test
  -v          list every mutant that was tried and the test that killed it

Exit code 0: every mutant that was tried was killed or is listed as equivalent, but for
those of packages where tests are still missing, which are printed. 1: one survived, or a
listed one no longer exists. 2: wrong use.
`)
	}
	o := options{workers: runtime.NumCPU()}
	flag.BoolVar(&o.verbose, "v", false, "")
	flag.Uint64Var(&o.share, "share", 1, "")
	flag.StringVar(&o.seed, "seed", "", "")
	flag.StringVar(&o.tests, "run", "", "")
	own := flag.Bool("own", false, "")
	flag.Parse()
	for i := range targets {
		if t := &targets[i]; *own || o.share > 1 && !t.whole {
			t.tests = []string{t.pkg}
		}
	}
	o.only = flag.Args()
	if !o.known() || o.share == 0 {
		flag.Usage()
		os.Exit(2)
	}
	if o.seed == "" {
		o.seed = commit()
	}
	if err := run(os.Stdout, &o); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

// options are what the command line asks for.
type options struct {
	verbose bool
	share   uint64
	seed    string
	only    []string // packages; none: all
	tests   string   // an expression; "": all
	workers int
}

func names() (all []string) {
	for i := range targets {
		all = append(all, targets[i].pkg)
	}
	return all
}

func run(out io.Writer, o *options) error {
	work, err := os.MkdirTemp("", "bayward-mutate")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(work) }()
	began := time.Now()
	mutants, overlay, err := mutate(o.packages(), work)
	if err != nil {
		return err
	}
	suites, err := build(o, overlay, work, len(mutants)+1)
	if err != nil {
		return err
	}
	if err := traceAll(suites, o.workers); err != nil {
		return err
	}
	chosen := o.choose(mutants)
	built := time.Now()
	tryAll(out, chosen, suites, o)
	_, _ = fmt.Fprintf(out, "figure: mutants built and tests traced in %.0f s, tried in %.0f s\n", built.Sub(began).Seconds(), time.Since(built).Seconds())
	return report(out, o, mutants, chosen)
}

// report prints the figure. Its error names each mutant that survived, and each
// row of the list of equivalents that is wrong.
func report(out io.Writer, o *options, mutants, chosen []*mutant) error {
	var wrong []error
	listed := map[string]bool{}
	for i := range equivalent {
		listed[equivalent[i].mutant] = true
	}
	killed, equal, survived := 0, 0, 0
	for _, m := range chosen {
		switch equivalent := listed[m.String()]; {
		case m.killer != "" && equivalent:
			wrong = append(wrong, fmt.Errorf("%s is listed as equivalent, but %s kills it: take it off the list", m, m.killer))
		case m.killer != "":
			killed++
		case equivalent:
			equal++
		case strict(m.pkg):
			wrong = append(wrong, fmt.Errorf("%s: survived %d tests: %s", m.place, m.tried, m))
		default:
			survived++
			_, _ = fmt.Fprintf(out, "%s: survived %d tests: %s\n", m.place, m.tried, m)
		}
	}
	for _, m := range mutants {
		delete(listed, m.String())
	}
	for name := range listed {
		if len(o.only) == 0 {
			wrong = append(wrong, fmt.Errorf("%q is listed as equivalent, but there is no such mutant", name))
		}
	}
	_, _ = fmt.Fprintf(out, "figure: mutants %d of %d, seed %.10s: killed %d, equivalent %d, survived where a test is still missing %d\n", len(chosen), len(mutants), o.seed, killed, equal, survived)
	return errors.Join(wrong...)
}
