package deploy_test

import (
	"slices"
	"strings"
	"testing"
)

// room lists which packages of this repository the packages of a folder may import. Imports point
// inward, so that a decision never depends on a technology and an edge can be removed.
type room struct {
	folder string
	deep   bool // the rule also applies to the folders below
	may    []string
	why    string
}

// core lists the packages that decide.
var core = []string{
	"agent/bay", "agent/alive", "agent/interlock", "agent/charge", "agent/cooldown", "agent/water",
	"agent/ammeter", "agent/cellcount", "agent/reading", "agent/electrolyte", "agent/order",
}

// said is for the edges that address people or programs: the core, the words for it, and the one
// shape in which programs read it.
var said = append([]string{"agent/words", "agent/view"}, core...)

// rooms is read from the top: the first row that matches a folder is its rule. A folder without a
// row fails the test, so that every new package is placed deliberately.
var rooms = []room{
	{"agent/reading", false, nil, "the innermost package: everything else builds on it"},
	{"agent/electrolyte", false, nil, "numbers and formulas without state"},
	{"agent/alive", false, inner, rule},
	{"agent/ammeter", false, inner, rule},
	{"agent/cellcount", false, inner, rule},
	{"agent/interlock", false, inner, rule},
	{"agent/charge", false, inner, rule},
	{"agent/cooldown", false, inner, rule},
	{"agent/water", false, inner, rule},
	{"agent/order", false, []string{"agent/water"}, "what people may ask, as rows; takes the greatest number of cells from where cells are"},
	{"agent/bay", false, core, "composes the rules and depends on no edge"},
	{"agent/bootclock", false, nil, ground},
	{"agent/footprint", false, nil, ground},
	{"agent/logwriter", false, nil, ground},
	{"agent/ownfile", false, nil, ground},
	{"agent/systemd", false, nil, ground},
	{"agent/terminal", false, nil, ground},
	{"agent/lease", true, []string{"agent/lease"}, "the one room that may close a relay: built into the keeper's own program, so it needs nothing of ours"},
	{"agent/keeper", false, []string{"agent/lease"}, "the program that owns the relays' lines, small enough to be read in one sitting"},
	{"agent/usage", false, nil, "marks an error as wrong use; every command and what it calls may set it"},
	{"agent/words", false, core, "puts the core's results into words in each language; reads its pictures and codes, and decides nothing"},
	{"agent/view", false, append([]string{"agent/words"}, core...), "shapes a picture for programs, the same on every edge"},
	{"agent/airflow", false, []string{"agent/electrolyte", "agent/words"}, "calculates figures for people, in their language; no decision depends on them"},
	{"agent/config", true, append([]string{"sensors/converter", "sensors/families", "sensors/level", "sensors/wiring"}, said...), "edges never import each other; the words list the languages and units, the pure package that reads a level probe lists its settings, and the table of families what each converter accepts"},
	{"agent/commission", true, append([]string{"agent/config", "agent/terminal", "sensors/level", "sensors/wiring"}, said...), "walks through the configured parts, with the core as its guard; reaches hardware and person through its own small interfaces"},
	{"agent/logbook", true, core, edge},
	{"agent/lockout", false, nil, "a witness beside the logbook: it knows neither the logbook nor the core, so no fault of theirs reaches it"},
	{"agent/loop", true, append([]string{"agent/lease"}, core...), "asks for leases; reaches sensors and outputs through its own small interfaces, so that it runs in tests with neither"},
	{"agent/metrics", true, core, edge},
	{"agent/notify", true, said, edge},
	{"agent/records", true, append([]string{"agent/records", "agent/logbook", "agent/usage"}, said...), "makes reports and tables from the logbook; reads it only through its reader, and writes only what is imported"},
	{"agent/replay", true, said, edge},
	{"agent/yard", false, said, "keeps what other agents publish, for the page; nothing that decides may import it"},
	{"agent/web", true, append([]string{"agent/yard"}, said...), edge + ", and the page lists what other agents publish"},
	{"agent/campaign", false, nil, "tests only: joins loop, drivers and the simulated bay and breaks each of them"},
	{"agent/opinion", false, nil, "tests only: judges the core by the truth of a yard of its own; its tests import no rule: TestTheOpinionIsItsOwn"},
	{"agent/certs", false, []string{"agent/config"}, "reads the certificates that a configuration names, for the metrics and the check of it"},
	{"agent/check", false, append([]string{"agent/certs", "agent/config", "agent/hardware", "agent/terminal", "sensors"}, said...), "builds what an agent would build, and reports it"},
	{"agent/support", false, append([]string{"agent/check", "agent/config", "agent/logbook", "agent/records"}, said...), "gathers for a supporter what others show, without secrets"},
	{"agent/manual", false, nil, "knows only the command line"},
	{"agent/hardware", false, []string{"agent/bootclock", "agent/config", "agent/lease", "sensors"}, "joins the drivers, the simulator and the configuration that names them"},
	{"agent/restore", false, append([]string{"agent/commission", "agent/lockout", "agent/logbook"}, core...), "hands what the logbook kept to the core, for whoever builds one; compares the logbook with its witness, and finds the walk that lets a new bay go"},
	{"agent/assembly", false, append([]string{"agent/hardware", "agent/restore", "agent/systemd", "deploy"}, joined...), "joins the edges; what a command adds comes as parts; hands the wiring guide to the page"},
	{"agent/demo", false, append([]string{"agent/assembly", "agent/hardware", "agent/logwriter", "agent/terminal"}, joined...), "an assembled agent whose clock and bays are invented"},
	{"agent/walk", false, append([]string{"agent/bootclock", "agent/commission", "agent/config", "agent/hardware", "agent/lease", "agent/logbook", "agent/restore", "agent/usage", "sensors"}, said...), "puts hardware, record and person under the commissioning walk"},
	{"agent/lines", false, []string{"agent/config", "agent/lease", "agent/usage"}, "runs before the keeper opens relays, so it needs as little as possible: no core, no record"},
	{"agent", false, []string{"agent", "sensors", "mqtt"}, "main joins all parts"},
	{"sensors/wiring", false, []string{"agent/reading", "sensors/converter", "sensors/families", "sensors/level"}, "only words, with the names of the sensors and the rows of the converters: configuration, drivers, walk and simulator say the same of one part"},
	{"sensors/sim", true, []string{"sensors/sim", "sensors/converter", "sensors/max31865/chip", "sensors/wiring", "sensors/level"}, "its physics comes from other models than the core's: if it used the core's, agreement would mean nothing. From sensors/level it takes the names of kinds and settings, but no circuit: TestOwnCircuits; from a converter's row its simulated chip, but no driver"},
	{"sensors", false, append([]string{"sensors", "agent/config"}, core...), "opens the configured hardware; turns what drivers return into readings"},
	{"sensors/converter", false, nil, "what drivers of converters share: it knows none of them"},
	{"sensors/families", false, []string{"sensors"}, "the table of the converters' drivers and simulated chips"},
	{"sensors", true, []string{"sensors/converter"}, "a driver knows its part's data sheet and nothing about batteries"},
	{"mqtt/broker", true, nil, "an embedded broker is only a broker"},
	{"mqtt", true, append([]string{"mqtt"}, said...), edge},
	{"dashboards", true, append([]string{"dashboards"}, core...), "describes metrics from the outside"},
	{"deploy/emulated", true, []string{"deploy/emulated", "sensors/sim", "sensors/wiring", "sensors/level"}, "plays the hardware from outside with the simulator's physics, and must not use the code that it judges"},
	{"deploy/fleet", false, []string{"agent/check", "agent/config", "agent/words", "dashboards/rules", "deploy"}, "makes the configurations of many agents from one file, and checks each as the agent does"},
	{"deploy", true, []string{"deploy"}, "checks and packages the program from the outside"},
}

// joined is what makes an agent: everything that decides, every edge, the hardware.
var joined = append([]string{
	"agent/certs", "agent/config", "agent/logbook", "agent/loop", "agent/metrics", "agent/notify", "agent/records", "agent/web",
	"agent/usage", "agent/yard", "mqtt", "sensors",
}, said...)

var inner = []string{"agent/electrolyte", "agent/reading"}

const (
	rule   = "rules never import each other: bay composes them, and each can be read and tested alone"
	ground = "talks to the machine and knows nothing about batteries"
	edge   = "edges never import each other: main joins them, and each can be replaced alone"
)

func roomOf(folder string) (room, bool) {
	for _, r := range rooms {
		if folder == r.folder || r.deep && within(folder, r.folder) {
			return r, true
		}
	}
	return room{}, false
}

func (r room) allows(from, to string) bool {
	return to == from || to == from+"/chip" || within(to, r.may...) && to != "agent"
}

func TestImportDirection(t *testing.T) {
	_, files := repository(t)
	for _, f := range files {
		if f.test || isFake(f.pkg) {
			continue
		}
		r, ok := roomOf(f.pkg)
		if !ok {
			t.Errorf("%s: folder %q has no row in rooms (deploy/imports_test.go)", f.path, f.pkg)
			continue
		}
		for _, path := range f.imports() {
			if to := local(path); to != "" && !isFake(to) && !r.allows(f.pkg, to) {
				t.Errorf("%s imports %s: %s", f.path, to, r.why)
			}
		}
	}
}

// isFake reports whether a folder holds test doubles shared by several packages.
func isFake(folder string) bool {
	return strings.HasSuffix(folder, "test") && strings.Contains(folder, "/")
}

func TestFakesStayInTests(t *testing.T) {
	_, files := repository(t)
	for _, f := range files {
		for _, path := range f.imports() {
			if isFake(local(path)) && !f.test && !isFake(f.pkg) {
				t.Errorf("%s imports %s: test doubles are never in the shipped program", f.path, path)
			}
		}
	}
}

// foreign lists where a library may be imported. Outside tests, a library without a row is
// allowed at the edges only.
var foreign = []struct {
	prefix string
	homes  []string
	why    string
}{
	{"github.com/stretchr/testify", nil, "for tests"},
	{"pgregory.net/rapid", nil, "for tests"},
	{"go.uber.org/goleak", nil, "for tests"},
	{"github.com/santhosh-tekuri/jsonschema", nil, "for tests"},
	{"github.com/mochi-mqtt/server", []string{"mqtt/broker"}, "the embedded broker is for demo and tests; one place keeps it replaceable"},
	{"github.com/eclipse/paho.mqtt.golang", []string{"mqtt", "deploy/bench"}, "one package knows the client's traps; the bench plays a thousand clients of a broker and is not part of the agent"},
	{"modernc.org/sqlite", []string{"agent/logbook"}, "one package owns the record"},
	{"github.com/prometheus", []string{"agent/metrics", "agent/web", "agent/assembly", "deploy/bench/bare"}, "metrics are made from pictures, in one place; the listener serves them; the bench compares the agent with a program that has nothing else"},
	{"github.com/simonvetter/modbus", []string{"sensors/modbus", "sensors/sim"}, "one package speaks the protocol; the simulator answers with its errors"},
	{"periph.io/x/host", []string{"sensors", "agent/keeper"}, "host drivers are loaded once in a process"},
	{"periph.io/x/conn", []string{"sensors", "agent/lease", "agent/keeper"}, "nothing else talks to hardware"},
	{"github.com/goccy/go-yaml", []string{"agent/config"}, "one package reads the configuration"},
	{"github.com/alecthomas/kong", []string{"agent", "agent/manual"}, "only the command reads the command line, and its manual is made from the same model"},
}

func TestForeignLibraries(t *testing.T) {
	_, files := repository(t)
	for _, f := range files {
		if f.test || isFake(f.pkg) {
			continue
		}
		for _, path := range f.imports() {
			for _, lib := range foreign {
				if within(path, lib.prefix) && !isHome(f.pkg, lib.homes) {
					t.Errorf("%s imports %s: %s", f.path, path, lib.why)
				}
			}
		}
	}
}

// isHome takes "agent" for package main alone and any other home with what is below it.
func isHome(folder string, homes []string) bool {
	return slices.ContainsFunc(homes, func(home string) bool {
		return folder == home || home != "agent" && within(folder, home)
	})
}

// TestDriversAreBare: a chip's folder imports only periph and the standard library.
func TestDriversAreBare(t *testing.T) {
	_, files := repository(t)
	for _, f := range files {
		if f.test || isFake(f.pkg) || !strings.HasPrefix(f.pkg, "sensors/") || within(f.pkg, "sensors/sim", "sensors/wiring", "sensors/families") { // no part of their own
			continue
		}
		for _, path := range f.imports() {
			protocol := f.pkg == "sensors/modbus" && within(path, "github.com/simonvetter/modbus")
			if !isStandard(path) && !strings.HasPrefix(path, "periph.io/x/") && !sharedByDrivers(f.pkg, path) && !protocol {
				t.Errorf("%s imports %s: a driver needs periph and the standard library only", f.path, path)
			}
		}
	}
}

// sharedByDrivers: what converters have in common; and a family's row has its simulated chip.
func sharedByDrivers(driver, path string) bool {
	to := local(path)
	return to == "sensors/converter" || to == driver+"/chip"
}

// isStandard reports whether an import is of the standard library: no dot in its first part.
func isStandard(path string) bool {
	first, _, _ := strings.Cut(path, "/")
	return !strings.Contains(first, ".") && first != module
}
