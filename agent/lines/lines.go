// Package lines makes the list of lines that the keeper of the relays is started with.
package lines

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"

	"bayward/agent/config"
	"bayward/agent/lease"
	"bayward/agent/usage"
)

// Write makes the list of the configuration at path and replaces the file to, or
// writes to out if that is "". User is who may connect to the keeper besides root.
//
// Lines of the list that is replaced, and that no bay has any more, stay on it as old
// ones: a relay may still be closed by one of them. If the configuration is refused,
// the list stays as it is; without one, whatever can be read from the configuration
// becomes old lines, and if that is nothing, the error is the user's. Complaints gets
// the reason for a list that is not just the configuration's.
func Write(path, to string, user int, out, complaints io.Writer) error {
	before, beforeErr := read(to)
	list, err := next(path, before, complaints)
	if err != nil {
		return errors.Join(err, beforeErr)
	}
	list.User = user
	if to == "" {
		_, err := io.WriteString(out, list.String())
		return err
	}
	return errors.Join(replace(to, list), beforeErr)
}

// next returns the list that follows on another one.
func next(path string, before lease.List, complaints io.Writer) (lease.List, error) {
	cfg, refused := config.Load(path)
	switch {
	case refused != nil && len(before.Rows)+len(before.Old) > 0:
		_, _ = fmt.Fprintf(complaints, "bayward: the configuration is refused; the list of lines stays as it was; bayward check --config %s says why\n", path)
		return before, nil
	case refused != nil:
		return guess(path, refused, complaints)
	}
	var list lease.List
	if cfg.Sensors == "wired" {
		list.Rows = rows(cfg.Bays)
	}
	for _, r := range slices.Concat(before.Rows, before.Old) {
		if !slices.Contains(list.Rows, r) && !slices.Contains(list.Old, r) {
			list.Old = append(list.Old, r)
		}
	}
	return list, nil
}

// guess returns the lines that can be read from a refused configuration. There may be
// more. No agent starts with it, so none of them is to be closed.
func guess(path string, refused error, complaints io.Writer) (list lease.List, err error) {
	for _, r := range rows(config.RelayLines(path)) {
		r.Bay = "-" // its name may be what is wrong
		list.Old = append(list.Old, r)
	}
	if len(list.Old) == 0 {
		return list, usage.Error(fmt.Errorf("no line is listed, because none is known: %w", refused))
	}
	_, _ = fmt.Fprintf(complaints, "bayward: %v\nThe lines that could be read all the same are listed; there may be more.\n", refused)
	return list, nil
}

func rows(bays []config.Bay) (rows []lease.Row) {
	for i := range bays {
		if r := bays[i].Wiring.Relay; r != nil {
			rows = append(rows, lease.Row{Bay: bays[i].Name, Charge: r.Pin, Heartbeat: r.Heartbeat})
		}
	}
	return rows
}

// read returns the list in a file, as much as can be read, or none if there is no file.
func read(path string) (list lease.List, err error) {
	text, err := os.ReadFile(path)
	if path == "" || errors.Is(err, fs.ErrNotExist) {
		return list, nil
	}
	if err == nil {
		list, err = lease.ParseList(path, text)
	}
	if err != nil {
		return list, fmt.Errorf("read the list of lines, which is written again: %w", err)
	}
	return list, nil
}

// replace writes a new file and renames it, so that a reader never sees half of it. The
// folder is in memory, so there is nothing to sync.
func replace(path string, list lease.List) error {
	if err := os.WriteFile(path+".new", []byte(list.String()), 0o644); err != nil { //nolint:gosec // no secret, and read by whoever opens relays by hand
		return err
	}
	return os.Rename(path+".new", path)
}
