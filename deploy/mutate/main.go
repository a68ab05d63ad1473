// Command mutate checks the tests of the interlock: it breaks the comparisons,
// boolean operators, negations and boolean constants one by one and requires
// that a test fails each time. A test suite that passes with a broken rule
// proves nothing.
//
// All mutants are compiled into one test binary per package, behind a switch in
// the environment, so that nothing is compiled again for each mutant. Nothing in
// the tree changes: the mutated sources are an overlay in a temporary folder.
// Tests that only compare generated text are skipped.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
)

// target is the package that is mutated, seen from the repository's root.
const target = "agent/interlock"

func main() {
	flag.Usage = func() {
		fmt.Fprint(os.Stderr, "usage: go run ./deploy/mutate [-v]\n\n"+
			"Breaks each comparison and boolean of "+target+" in turn and runs the tests of the\n"+
			"interlock and of the core on it. Run it in the repository's root.\n\n"+
			"  -v  list every mutant and the suite that killed it\n\n"+
			"Exit code 0: every mutant was killed or is listed as equivalent. 1: one survived,\n"+
			"or a listed one no longer exists. 2: wrong use.\n")
	}
	verbose := flag.Bool("v", false, "")
	flag.Parse()
	if flag.NArg() > 0 {
		flag.Usage()
		os.Exit(2)
	}
	if err := run(os.Stdout, *verbose); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

func run(out io.Writer, verbose bool) error {
	work, err := os.MkdirTemp("", "bayward-mutate")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(work) }()
	mutants, overlay, err := mutate(target, work)
	if err != nil {
		return err
	}
	suites, err := build(overlay, work)
	if err != nil {
		return err
	}
	for _, s := range suites {
		if killed, log := s.run(0); killed {
			return fmt.Errorf("%s fails on unchanged code:\n%s", s.name, log)
		}
	}
	tryAll(mutants, suites, runtime.NumCPU())
	return report(out, mutants, verbose)
}

// report prints the figure. Its error names each mutant that survived, and each
// row of the list of equivalents that is wrong.
func report(out io.Writer, mutants []*mutant, verbose bool) error {
	var wrong []error
	killed, equal := 0, 0
	known := map[string]int{}
	for i := range equivalent {
		known[equivalent[i].mutant]++
	}
	for _, m := range mutants {
		_, listed := known[m.String()]
		delete(known, m.String())
		switch {
		case m.killer != "" && listed:
			wrong = append(wrong, fmt.Errorf("%s is listed as equivalent, but %s kills it: take it off the list", m, m.killer))
		case m.killer != "":
			killed++
		case listed:
			equal++
		default:
			wrong = append(wrong, fmt.Errorf("%s: survived %s", m.place, m))
		}
		if verbose {
			_, _ = fmt.Fprintf(out, "%-28s %-60s %s\n", m.place, m, m.killer)
		}
	}
	for name := range known {
		wrong = append(wrong, fmt.Errorf("%q is listed as equivalent, but there is no such mutant", name))
	}
	_, _ = fmt.Fprintf(out, "figure: mutants %d, killed %d, equivalent %d\n", len(mutants), killed, equal)
	return errors.Join(wrong...)
}
