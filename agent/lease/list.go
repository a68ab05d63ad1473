package lease

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// List is what a keeper is started with. As a text it has one entry a line:
//
//	user 998              who may connect besides root, by number
//	bay-1 GPIO17 GPIO27   a bay, its relay's line, its heartbeat's or -
//	old bay-2 GPIO16 -    lines that were used before: driven low once, then returned
//
// Empty lines, and those that begin with #, are skipped.
type List struct {
	User int
	Rows []Row
	Old  []Row
}

// ParseList reads a list. The errors name file and line, the value, and what is
// accepted; the list then has the entries that could be read.
func ParseList(file string, text []byte) (List, error) {
	p := listParser{List: List{User: -1}, file: file}
	for line := range bytes.Lines(text) {
		p.line++
		if fields := strings.Fields(string(line)); len(fields) > 0 && fields[0][0] != '#' {
			p.entry(fields)
		}
	}
	if p.User < 0 {
		p.line = 1
		p.reject("", "an entry such as \"user 998\" is needed")
	}
	return p.List, errors.Join(p.errs...)
}

type listParser struct {
	List
	file string
	line int
	errs []error
}

func (p *listParser) reject(value, rule string) {
	p.errs = append(p.errs, fmt.Errorf("%s:%d: value %q is not accepted: %s", p.file, p.line, value, rule))
}

// entry takes an entry by the number of its fields, so that a bay may have any name.
func (p *listParser) entry(f []string) {
	switch {
	case len(f) == 2 && f[0] == "user":
		user, err := strconv.ParseUint(f[1], 10, 31)
		if err != nil || p.User >= 0 {
			p.reject(f[1], "user must be the number of one user, and be given once")
			return
		}
		p.User = int(user)
	case len(f) == 3:
		if r := rowOf(f); p.accepts(r) && p.unused(r) {
			p.Rows = append(p.Rows, r)
		}
	case len(f) == 4 && f[0] == "old":
		if r := rowOf(f[1:]); p.accepts(r) {
			p.Old = append(p.Old, r)
		}
	default:
		p.reject(strings.Join(f, " "), "must be \"user NUMBER\", \"BAY LINE HEARTBEAT\" or \"old BAY LINE HEARTBEAT\"")
	}
}

func rowOf(f []string) Row {
	if f[2] == "-" {
		return Row{f[0], f[1], ""}
	}
	return Row{f[0], f[1], f[2]}
}

func (p *listParser) accepts(r Row) bool {
	for _, name := range r.Lines() {
		if !isRelayLine(name) {
			p.reject(name, "must be GPIO9 to GPIO13 or GPIO16 to GPIO27, and a missing heartbeat -")
			return false
		}
	}
	return true
}

func (p *listParser) unused(r Row) bool {
	for _, other := range p.Rows {
		for _, name := range other.Lines() {
			if other.Bay == r.Bay || slices.Contains(r.Lines(), name) {
				p.reject(r.String(), "must not have the bay or a line of "+other.String())
				return false
			}
		}
	}
	if r.Charge == r.Heartbeat {
		p.reject(r.String(), "the two lines must differ")
		return false
	}
	return true
}

// isRelayLine accepts the lines of a Pi that are low while it starts: a relay on
// another one would close.
func isRelayLine(name string) bool {
	n, err := strconv.Atoi(strings.TrimPrefix(name, "GPIO"))
	return err == nil && name == "GPIO"+strconv.Itoa(n) && (n >= 9 && n <= 13 || n >= 16 && n <= 27)
}

// String returns the list as a text.
func (l List) String() string {
	text := fmt.Sprintf("user %d\n", l.User)
	for _, r := range l.Rows {
		text += r.String() + "\n"
	}
	for _, r := range l.Old {
		text += "old " + r.String() + "\n"
	}
	return text
}
