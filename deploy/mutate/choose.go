package main

import (
	"context"
	"hash/fnv"
	"os/exec"
	"slices"
	"strings"
	"time"
)

// commit returns the commit that is checked out, or the day where there is none.
func commit() string {
	out, err := exec.CommandContext(context.Background(), "git", "rev-parse", "HEAD").Output()
	if err != nil {
		return time.Now().UTC().Format(time.DateOnly)
	}
	return strings.TrimSpace(string(out))
}

// known reports whether all packages asked for are targets.
func (o *options) known() bool {
	for _, pkg := range o.only {
		if !slices.Contains(names(), pkg) {
			return false
		}
	}
	return true
}

// packages returns those to mutate.
func (o *options) packages() []string {
	if len(o.only) == 0 {
		return names()
	}
	return o.only
}

// choose returns the mutants to try. The same seed always chooses the same ones of the
// same code.
func (o *options) choose(all []*mutant) (chosen []*mutant) {
	for _, m := range all {
		h := fnv.New64a()
		_, _ = h.Write([]byte(o.seed + " " + m.String()))
		// The low bits of this hash are those of the last bytes.
		if h.Sum64()>>20%o.share == 0 {
			chosen = append(chosen, m)
		}
	}
	return chosen
}
