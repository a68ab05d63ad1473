// Package safestop drives every output low after an agent has died.
package safestop

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bayward/agent/config"
	"bayward/agent/usage"
	"bayward/sensors"
	"bayward/sensors/wiring"
)

// Opener opens the hardware of a configuration.
type Opener = func(*config.Config) (sensors.Hardware, error)

// Drive drives two sets of lines low: those that the service's last agent has
// driven, and those of the configuration at path. It writes their number to out.
// From a refused configuration it takes whatever can still be read; if the agent
// left no list either, the error is the user's. A line that cannot be driven is
// named in the error and does not stop the others.
func Drive(path string, out, complaints io.Writer, open Opener) error {
	held, heldErr := heldLines()
	cfg, refused := config.Load(path)
	switch {
	case refused != nil && len(held) == 0:
		return usage.Error(errors.Join(guess(path, refused, open), heldErr))
	case refused != nil:
		_, _ = fmt.Fprintf(complaints, "bayward: the configuration is refused; the lines of the agent that ran last are driven; bayward check --config %s says why\n", path)
		cfg = wiredTo(held)
	case cfg.Sensors == "wired":
		cfg = wiredTo(merged(held, cfg.Bays))
	case len(held) > 0: // the configuration is simulated now but was wired when the agent started
		heldErr = errors.Join(heldErr, safe(out, wiredTo(held), open))
	}
	return errors.Join(safe(out, cfg, open), heldErr)
}

// guess drives the lines that can be read from a refused configuration. There may be
// more, so it always returns an error.
func guess(path string, refused error, open Opener) error {
	bays := config.RelayLines(path)
	if len(bays) == 0 {
		return fmt.Errorf("no line was driven, for none is known: %w", refused)
	}
	var out strings.Builder
	if err := safe(&out, wiredTo(bays), open); err != nil {
		return errors.Join(refused, err)
	}
	return fmt.Errorf("%w\nLines that could be read all the same; there may be more. %s", refused, strings.TrimSpace(out.String()))
}

func wiredTo(bays []config.Bay) *config.Config { return &config.Config{Sensors: "wired", Bays: bays} }

// merged adds the configured bays whose lines are not in the list.
func merged(held, configured []config.Bay) []config.Bay {
	all := slices.Clone(held)
	for i := range configured {
		same := func(h config.Bay) bool {
			a, b := h.Wiring.Relay, configured[i].Wiring.Relay
			return b == nil || a.Pin == b.Pin && a.Heartbeat == b.Heartbeat
		}
		if !slices.ContainsFunc(held, same) {
			all = append(all, configured[i])
		}
	}
	return all
}

// safe drives the lines of a configuration low and prints how many.
func safe(w io.Writer, cfg *config.Config, open Opener) error {
	hw, err := open(cfg)
	if err != nil {
		return err
	}
	if err := sensors.OutputsSafe(cfg, hw); err != nil {
		return fmt.Errorf("not all outputs are safe: %w", err)
	}
	relays, hearts := 0, 0
	for i := range cfg.Bays {
		relays++
		if r := cfg.Bays[i].Wiring.Relay; r != nil && r.Heartbeat != "" {
			hearts++
		}
	}
	_, err = fmt.Fprintf(w, "Driven low: relays %d, heartbeats %d.\n", relays, hearts)
	return err
}

// heldLine is the entry that an agent writes for one bay before it drives a line.
type heldLine struct {
	Bay       string `json:"bay"`
	Relay     string `json:"relay"`
	Heartbeat string `json:"heartbeat,omitempty"`
}

// runtimeFolder is in memory: a restart of the machine removes it, and also releases
// the lines.
const runtimeFolder = "/run/bayward"

// linesFile returns where the service keeps the list. systemd passes the folder to
// the agent and to its stop action.
func linesFile() string {
	folder, _, _ := strings.Cut(os.Getenv("RUNTIME_DIRECTORY"), ":")
	return filepath.Join(cmp.Or(folder, runtimeFolder), "outputs")
}

// NoteLines records which lines this agent is about to drive, in case the stop
// action finds a different configuration. Only a service records them: an agent
// started by hand must not overwrite the service's list.
func NoteLines(cfg *config.Config, log *slog.Logger) {
	if os.Getenv("RUNTIME_DIRECTORY") == "" {
		return
	}
	var lines []heldLine
	for i := range cfg.Bays {
		if r := cfg.Bays[i].Wiring.Relay; r != nil {
			lines = append(lines, heldLine{cfg.Bays[i].Name, r.Pin, r.Heartbeat})
		}
	}
	if err := replaceFile(linesFile(), lines); err != nil {
		log.Warn("the list of lines cannot be written; after a crash, a changed configuration could hide one", "err", err)
	}
}

// replaceFile writes a new file and renames it, so a reader never sees half of it.
// The folder is in memory, so there is nothing to sync.
func replaceFile(path string, lines []heldLine) error {
	data, err := json.Marshal(lines)
	if err != nil {
		return err
	}
	if err := os.WriteFile(path+".new", append(data, '\n'), 0o644); err != nil { //nolint:gosec // no secret, and read by whoever opens relays by hand
		return err
	}
	return os.Rename(path+".new", path)
}

// maxLinesFile bounds the size of the list; eight bays need a tenth of it.
const maxLinesFile = 16 << 10

// heldLines returns the lines of the service's last agent, or none if there was
// none.
func heldLines() ([]config.Bay, error) {
	f, err := os.Open(linesFile())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the agent's list of lines: %w", err)
	}
	defer f.Close() //nolint:errcheck // only read from
	var lines []heldLine
	if err := json.NewDecoder(io.LimitReader(f, maxLinesFile)).Decode(&lines); err != nil {
		return nil, fmt.Errorf("read the agent's list of lines: %s: %w", f.Name(), err)
	}
	var bays []config.Bay
	for _, l := range lines {
		bays = append(bays, config.Bay{Name: l.Bay, Wiring: wiring.Parts{Relay: &wiring.Relay{Pin: l.Relay, Heartbeat: l.Heartbeat}}})
	}
	return bays, nil
}
