package main

// helpers is added to each package. The switch is read once. In a traced run each site
// that is reached sets its byte in a file, also where the test process dies.
const helpers = `package %s

import (
	"cmp"
	"os"
	"strconv"
	"syscall"
)

var (
	mutantOn, _ = strconv.Atoi(os.Getenv("BAYWARD_MUTANT"))
	mutantSeen  = mutantTrace()
)

func mutantTrace() []byte {
	name := os.Getenv("BAYWARD_MUTANT_TRACE")
	if name == "" {
		return nil
	}
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		panic(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		panic(err)
	}
	seen, err := syscall.Mmap(int(f.Fd()), 0, int(info.Size()), syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_SHARED)
	if err != nil {
		panic(err)
	}
	return seen
}

func mutantIs(id int) bool {
	if mutantSeen != nil {
		mutantSeen[id] = 1
	}
	return mutantOn == id
}

// mutantNot has one mutant: the opposite.
func mutantNot[T ~bool](id int, whole T) T {
	if mutantIs(id) {
		return !whole
	}
	return whole
}

// && and || have one: each other.
func mutantAnd(id int, x bool, y func() bool) bool {
	if mutantIs(id) {
		return x || y()
	}
	return x && y()
}

func mutantOr(id int, x bool, y func() bool) bool {
	if mutantIs(id) {
		return x && y()
	}
	return x || y()
}

// The comparisons have two mutants: the boundary and the opposite.
func mutantLess[T cmp.Ordered](id int, x, y T) bool {
	if mutantIs(id) {
		return x <= y
	}
	return mutantNot(id+1, x < y)
}

func mutantAtMost[T cmp.Ordered](id int, x, y T) bool {
	if mutantIs(id) {
		return x < y
	}
	return mutantNot(id+1, x <= y)
}

func mutantMore[T cmp.Ordered](id int, x, y T) bool {
	if mutantIs(id) {
		return x >= y
	}
	return mutantNot(id+1, x > y)
}

func mutantAtLeast[T cmp.Ordered](id int, x, y T) bool {
	if mutantIs(id) {
		return x > y
	}
	return mutantNot(id+1, x >= y)
}
`
