package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"time"
)

// suite is a test binary with arguments that make it fast.
type suite struct {
	name, binary, folder string
	args                 []string
}

// patience is the limit for a mutant that loops forever, which counts as killed.
const patience = 2 * time.Minute

// build compiles the tests with the mutants in them. The suites are tried in this
// order: the one that kills most in the least time comes first.
func build(overlay, work string) ([]*suite, error) {
	compile := func(pkg string) (string, error) {
		binary := filepath.Join(work, filepath.Base(pkg)+".test")
		// The mutants are not clean code, so vet is off.
		cmd := exec.CommandContext(context.Background(), "go", "test", "-c", "-vet=off", "-overlay", overlay, "-o", binary, "./"+pkg) //nolint:gosec // fixed packages
		if out, err := cmd.CombinedOutput(); err != nil {
			return "", fmt.Errorf("compile the tests of %s: %w\n%s", pkg, err, out)
		}
		return binary, nil
	}
	rules, err := compile(target)
	if err != nil {
		return nil, err
	}
	core, err := compile("agent/bay")
	if err != nil {
		return nil, err
	}
	short := []string{"-test.short", "-test.failfast"}
	// Generated pages and Promela models do not test the rules.
	return []*suite{
		{"rules", rules, target, append([]string{"-test.skip=TestFindingsPage|TestEnumerate|TestModel"}, short...)},
		{"enumeration", rules, target, []string{"-test.run=TestEnumerate"}},
		{"histories", core, "agent/bay", append([]string{"-test.run=TestPromise|TestHistories", "-rapid.nofailfile"}, short...)},
	}, nil
}

// run runs the suite on one mutant, 0 for none.
func (s *suite) run(id int) (killed bool, out []byte) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	cmd := exec.CommandContext(ctx, s.binary, s.args...) //nolint:gosec // what build has compiled
	cmd.Dir = s.folder
	cmd.Env = append(os.Environ(), fmt.Sprint("BAYWARD_MUTANT=", id), "BAYWARD_STEPS=20000", "BAYWARD_REQUIRE_TOOLS=")
	out, err := cmd.CombinedOutput()
	return err != nil, out
}

// tryAll tries each mutant until a suite kills it.
func tryAll(mutants []*mutant, suites []*suite, workers int) {
	queue := make(chan *mutant)
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for m := range queue {
				for _, s := range suites {
					if killed, _ := s.run(m.id); killed {
						m.killer = s.name
						break
					}
				}
			}
		})
	}
	for _, m := range mutants {
		queue <- m
	}
	close(queue)
	wg.Wait()
}
