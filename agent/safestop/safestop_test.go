package safestop

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"

	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/usage"
	"bayward/sensors"
	"bayward/sensors/wiring"
)

// board is a machine with all its lines driven high, as a crashed agent may leave
// them.
type board map[string]*gpiotest.Pin

func newBoard(names ...string) board {
	b := board{}
	for _, name := range names {
		b[name] = &gpiotest.Pin{N: name, L: gpio.High}
	}
	return b
}

func (b board) open(*config.Config) (sensors.Hardware, error) {
	return sensors.Hardware{Pin: func(name string) (gpio.PinIO, error) {
		if pin := b[name]; pin != nil {
			return pin, nil
		}
		return nil, errors.New("no such line")
	}}, nil
}

// low lists the lines that were driven low, in order.
func (b board) low() string {
	var names []string
	for name, pin := range b {
		if pin.L == gpio.Low {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return strings.Join(names, " ")
}

// example is the shipped configuration.
const example = "../../deploy/bayward.yaml"

// fault names who is responsible for an error.
type fault string

const (
	none   fault = "none"
	users  fault = "the user's"
	failed fault = "the machine's"
)

func faultOf(err error) fault {
	switch {
	case err == nil:
		return none
	case usage.Is(err):
		return users
	}
	return failed
}

// TestDriveFindsItsLines: whatever happened to the configuration, the lines of the
// last agent are driven low. A line that no relay can use never is: GPIO23 is the
// feedback contact of the example.
func TestDriveFindsItsLines(t *testing.T) {
	shipped, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	wired := string(shipped)
	change := func(old, with string) string {
		if !strings.Contains(wired, old) {
			t.Fatalf("the example has no %q", old)
		}
		return strings.Replace(wired, old, with, 1)
	}
	torn, _, found := strings.Cut(wired, "      # airflow:")
	if !found {
		t.Fatal("the example has no such line to be torn at")
	}
	for name, row := range map[string]struct {
		held   string // the list that the agent wrote before; "" for none
		config string
		low    string
		fault  fault
		says   string // on standard output or in the error
	}{
		"a good configuration":                     {"", wired, "GPIO17 GPIO27", none, "Driven low: relays 1, heartbeats 1."},
		"the same, and the list":                   {`[{"bay":"bay-1","relay":"GPIO17","heartbeat":"GPIO27"}]`, wired, "GPIO17 GPIO27", none, "Driven low: relays 1, heartbeats 1."},
		"rewired in the file while the agent ran":  {`[{"bay":"bay-1","relay":"GPIO16"}]`, wired, "GPIO16 GPIO17 GPIO27", none, "relays 2, heartbeats 1"},
		"no file any more, but the list":           {`[{"bay":"bay-1","relay":"GPIO16","heartbeat":"GPIO12"}]`, "", "GPIO12 GPIO16", none, "refused"},
		"a fault, but the list":                    {`[{"bay":"bay-1","relay":"GPIO16"}]`, change("cells: 12", "cells: 0"), "GPIO16", none, "bayward check"},
		"made simulated while the agent ran":       {`[{"bay":"bay-1","relay":"GPIO16"}]`, configtest.OneBay(t, "pack: lift-a", "pack: lift-a\n    wiring: {i2c: a, voltage: {adc: 0x48, channel: 0, ratio: 11}, temperature: {pack: 28-0316a2795bff}, level: {kind: 4-20ma, adc: 0x48, channel: 2, shunt_ohm: 100, low_mm: -20, high_mm: 30}, relay: {pin: GPIO12}}"), "GPIO12 GPIO16", none, "Driven low"},
		"a fault in another place":                 {"", change("cells: 12", "cells: 0"), "GPIO17 GPIO27", users, "cells"},
		"an unknown key":                           {"", change("site:", "sight: x\nsite:"), "GPIO17 GPIO27", users, "sight"},
		"no YAML before the relay":                 {"", change("bays:\n", "bays: ]]\n"), "GPIO17 GPIO27", users, "YAML"},
		"no YAML after the relay":                  {"", change("packs:\n", "packs: ]]\n"), "GPIO17 GPIO27", users, "YAML"},
		"torn by a power cut":                      {"", torn, "GPIO17 GPIO27", users, "packs"},
		"a relay on a line that none may have":     {"", change("pin: GPIO17", "pin: GPIO2"), "GPIO27", users, "GPIO2"},
		"no file and no list":                      {"", "", "", users, "none is known"},
		"bytes":                                    {"", "\x00\xff\x00", "", users, "none is known"},
		"the example as it is installed":           {"", change("sensors: wired", "sensors: not-yet"), "", users, "none is known"},
		"a list that is torn, a good config":       {`[{"bay":"bay-1","rel`, wired, "GPIO17 GPIO27", failed, "list of lines"},
		"a list with a line that is not there":     {`[{"bay":"x","relay":"GPIO9"},{"bay":"y","relay":"GPIO16"}]`, wired, "GPIO16 GPIO17 GPIO27", failed, "GPIO9"},
		"a list with a line, and simulated faults": {"", configtest.OneBay(t, "cells: 12", "cells: 0"), "", users, "none is known"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			t.Setenv("RUNTIME_DIRECTORY", dir)
			if row.held != "" {
				if err := os.WriteFile(filepath.Join(dir, "outputs"), []byte(row.held), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			path := filepath.Join(dir, "none.yaml")
			if row.config != "" {
				path = configtest.File(t, "bayward.yaml", row.config)
			}
			b := newBoard("GPIO2", "GPIO12", "GPIO16", "GPIO17", "GPIO23", "GPIO27")
			var said strings.Builder
			err := Drive(path, &said, &said, b.open)
			_, _ = fmt.Fprint(&said, err)
			if got := b.low(); got != row.low || faultOf(err) != row.fault || !strings.Contains(said.String(), row.says) {
				t.Errorf("low: %q, want %q; fault %q, want %q; said, wanted %q:\n%s", got, row.low, faultOf(err), row.fault, row.says, said.String())
			}
		})
	}
}

// TestNotedLinesAreFound: outputs-safe reads the lines that run writes down, and
// only a service writes them.
func TestNotedLinesAreFound(t *testing.T) {
	cfg, err := config.Load(example)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	t.Setenv("RUNTIME_DIRECTORY", dir+":/elsewhere")
	log := slog.New(slog.DiscardHandler)
	NoteLines(cfg, log)
	bays, err := heldLines()
	if err != nil || len(bays) != 1 || bays[0].Name != "bay-1" || *bays[0].Wiring.Relay != (wiring.Relay{Pin: "GPIO17", Heartbeat: "GPIO27"}) {
		t.Errorf("got %+v, %v", bays, err)
	}
	t.Setenv("RUNTIME_DIRECTORY", "")
	if err := os.RemoveAll(dir + "/outputs"); err != nil {
		t.Fatal(err)
	}
	NoteLines(cfg, log)
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 0 {
		t.Errorf("without a service: %v, %v", entries, err)
	}
}
