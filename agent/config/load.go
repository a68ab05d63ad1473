package config

import (
	"cmp"
	"errors"
	"io"
	"os"
	"slices"
	"unicode/utf8"

	"bayward/agent/words"
)

// maxBytes bounds the size of a file. Eight bays with every part and comment take
// about a tenth of it.
const maxBytes = 256 << 10

// MaxBays is the largest number of bays of one agent.
const MaxBays = 8

// Option changes how strict Load and Parse are.
type Option func(*options)

type options struct{ packsOnly bool }

// PacksOnly requires only the packs, as a replay does. Keys are still checked, but a
// site, an agent and bays may be left out, and of the contents of bays and wiring only
// where the pack's temperature is measured is checked.
func PacksOnly() Option { return func(o *options) { o.packsOnly = true } }

// Load reads and checks a file. If the file has faults, the *Error lists all of
// them. If it cannot be read, the *Error gives the reason and wraps nothing.
func Load(path string, opts ...Option) (*Config, error) {
	data, err := read(path)
	if err != nil {
		return nil, &Error{[]Problem{problem(path, 0, "", "", unreadable(err))}}
	}
	return Parse(path, data, opts...)
}

func read(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // only read from
	return io.ReadAll(io.LimitReader(f, maxBytes+1))
}

func unreadable(err error) words.Sentence {
	switch {
	case errors.Is(err, os.ErrNotExist):
		return say("there-is-no-such-file-name-the")
	case errors.Is(err, os.ErrPermission):
		return say("the-file-may-not-be-read-by")
	}
	if pathErr, ok := errors.AsType[*os.PathError](err); ok {
		err = pathErr.Err
	}
	return say("the-file-cannot-be-read", err)
}

// Parse checks a configuration in memory; complaints use name as the file name. The
// error is always an *Error.
func Parse(name string, data []byte, opts ...Option) (*Config, error) {
	var o options
	for _, opt := range opts {
		opt(&o)
	}
	d := newDecoder(name)
	if c := d.decode(data); c != nil {
		check := &checker{decoder: d, options: o, claims: map[string]claim{}}
		check.config(c)
		if len(d.problems) == 0 {
			return c, nil
		}
	}
	slices.SortStableFunc(d.problems, func(a, b Problem) int { return cmp.Compare(a.Line, b.Line) })
	return nil, &Error{d.problems}
}

// foreign returns why the bytes cannot be a configuration at all, or "".
func foreign(data []byte, most int) words.Sentence {
	switch {
	case len(data) > most:
		return say("the-file-is-larger-than-kib-a", most>>10)
	case !utf8.Valid(data):
		return say("the-file-is-not-utf-8-text")
	}
	return words.Sentence{}
}
