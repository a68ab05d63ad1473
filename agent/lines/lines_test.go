package lines

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/config/configtest"
	"bayward/agent/lease"
	"bayward/agent/usage"
)

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

// namesOf lists the lines of rows, in order.
func namesOf(rows []lease.Row) string {
	var names []string
	for _, r := range rows {
		names = append(names, r.Lines()...)
	}
	slices.Sort(names)
	return strings.Join(slices.Compact(names), " ")
}

// TestEveryLineIsListed: whatever happened to the configuration, the lines of the last
// agent are on the list, and so are driven low. A line that no relay can use never is:
// GPIO23 is the feedback contact of the example. Only the lines of a configuration that
// is accepted, or was, may ever be closed.
func TestEveryLineIsListed(t *testing.T) {
	shipped, err := os.ReadFile(example)
	require.NoError(t, err)
	wired := string(shipped)
	change := func(old, with string) string {
		require.Contains(t, wired, old)
		return strings.Replace(wired, old, with, 1)
	}
	torn, _, found := strings.Cut(wired, "      # airflow:")
	require.True(t, found)
	simulated := configtest.OneBay(t, "pack: lift-a", "pack: lift-a\n    wiring: {i2c: a, voltage: {adc: 0x48, channel: 0, ratio: 11}, temperature: {pack: 28-0316a2795bff}, level: {kind: 4-20ma, adc: 0x48, channel: 2, shunt_ohm: 100, low_mm: -20, high_mm: 30}, relay: {pin: GPIO12}}")
	for name, row := range map[string]struct {
		before string // the list that is replaced; "" for none
		config string
		closes string // lines that a keeper may close
		low    string // all that it drives low
		fault  fault
		says   string
	}{
		"a good configuration":                     {"", wired, "GPIO17 GPIO27", "GPIO17 GPIO27", none, ""},
		"the same, and the list":                   {"user 1\nbay-1 GPIO17 GPIO27\n", wired, "GPIO17 GPIO27", "GPIO17 GPIO27", none, ""},
		"rewired in the file while the agent ran":  {"user 1\nbay-1 GPIO16 -\n", wired, "GPIO17 GPIO27", "GPIO16 GPIO17 GPIO27", none, ""},
		"rewired twice":                            {"user 1\nbay-1 GPIO16 -\nold bay-1 GPIO12 -\nold bay-1 GPIO17 GPIO27\n", wired, "GPIO17 GPIO27", "GPIO12 GPIO16 GPIO17 GPIO27", none, ""},
		"a heartbeat moved to the relay":           {"user 1\nbay-1 GPIO27 GPIO12\n", wired, "GPIO17 GPIO27", "GPIO12 GPIO17 GPIO27", none, ""},
		"no file any more, but the list":           {"user 1\nbay-1 GPIO16 GPIO12\n", "", "GPIO12 GPIO16", "GPIO12 GPIO16", none, "refused"},
		"a fault, but the list":                    {"user 1\nbay-1 GPIO16 -\n", change("cells: 12", "cells: 0"), "GPIO16", "GPIO16", none, "bayward check"},
		"a fault, but a list of old lines":         {"user 1\nold bay-1 GPIO16 -\n", change("cells: 12", "cells: 0"), "", "GPIO16", none, "bayward check"},
		"made simulated while the agent ran":       {"user 1\nbay-1 GPIO16 -\n", simulated, "", "GPIO16", none, ""},
		"simulated":                                {"", simulated, "", "", none, ""},
		"a fault in another place":                 {"", change("cells: 12", "cells: 0"), "", "GPIO17 GPIO27", none, "cells"},
		"a bad name":                               {"", change("name: bay-1", "name: 'bay 1 #'"), "", "GPIO17 GPIO27", none, "bay 1 #"},
		"an unknown key":                           {"", change("site:", "sight: x\nsite:"), "", "GPIO17 GPIO27", none, "sight"},
		"no YAML before the relay":                 {"", change("bays:\n", "bays: ]]\n"), "", "GPIO17 GPIO27", none, "YAML"},
		"no YAML after the relay":                  {"", change("packs:\n", "packs: ]]\n"), "", "GPIO17 GPIO27", none, "YAML"},
		"torn by a power cut":                      {"", torn, "", "GPIO17 GPIO27", none, "packs"},
		"a relay on a line that none may have":     {"", change("pin: GPIO17", "pin: GPIO2"), "", "GPIO27", none, "GPIO2"},
		"no file and no list":                      {"", "", "", "", users, "none is known"},
		"bytes":                                    {"", "\x00\xff\x00", "", "", users, "none is known"},
		"the example as it is installed":           {"", change("sensors: wired", "sensors: not-yet"), "", "", users, "none is known"},
		"a list that is torn, a good config":       {"user 1\nbay-2 GPIO16 -\nbay-1 GPIO1", wired, "GPIO17 GPIO27", "GPIO16 GPIO17 GPIO27", failed, "list of lines"},
		"a list with a line that none may have":    {"user 1\nx GPIO2 -\ny GPIO16 -\n", wired, "GPIO17 GPIO27", "GPIO16 GPIO17 GPIO27", failed, "GPIO2"},
		"a list of bytes, and a fault":             {"\x00\xff\x00", change("cells: 12", "cells: 0"), "", "GPIO17 GPIO27", failed, "list of lines"},
		"a list with a line, and simulated faults": {"", configtest.OneBay(t, "cells: 12", "cells: 0"), "", "", users, "none is known"},
	} {
		t.Run(name, func(t *testing.T) {
			to := filepath.Join(t.TempDir(), "lines")
			if row.before != "" {
				require.NoError(t, os.WriteFile(to, []byte(row.before), 0o600))
			}
			path := filepath.Join(t.TempDir(), "none.yaml")
			if row.config != "" {
				path = configtest.File(t, "bayward.yaml", row.config)
			}
			var said strings.Builder
			err := Write(path, to, 4711, &said, &said)
			_, _ = fmt.Fprint(&said, err)
			require.Equal(t, row.fault, faultOf(err), said.String())
			require.Contains(t, said.String(), row.says)
			require.NoFileExists(t, to+".new")
			if row.fault == users { // nothing is known, so nothing is written
				require.NoFileExists(t, to)
				return
			}
			text, err := os.ReadFile(to)
			require.NoError(t, err)
			list, err := lease.ParseList(to, text)
			require.NoError(t, err, "the keeper accepts it")
			require.Equal(t, 4711, list.User)
			require.Equal(t, row.closes, namesOf(list.Rows))
			require.Equal(t, row.low, namesOf(slices.Concat(list.Rows, list.Old)))
			require.NoError(t, Write(path, to, 4711, &said, &said), "the next start works")
			again, err := os.ReadFile(to)
			require.NoError(t, err)
			require.Equal(t, string(text), string(again), "and changes nothing")
		})
	}
}

// TestStandardOutput: without a file there is no list before.
func TestStandardOutput(t *testing.T) {
	var out, said strings.Builder
	require.NoError(t, Write(example, "", 998, &out, &said))
	require.Equal(t, "user 998\nbay-1 GPIO17 GPIO27\n", out.String())
	require.Empty(t, said.String())
}

// TestFolderIsMissing: an error that is not the user's.
func TestFolderIsMissing(t *testing.T) {
	var said strings.Builder
	err := Write(example, filepath.Join(t.TempDir(), "none", "lines"), 1, &said, &said)
	require.Equal(t, failed, faultOf(err))
}
