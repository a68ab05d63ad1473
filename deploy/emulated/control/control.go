// Package control defines the messages between the bench and the guest's init:
// JSON values, one after the other, over one TCP connection that the guest opens.
// The connection is separate from the I²C adapters and not part of what is tested.
package control

// Do names an order.
type Do string

// The orders of the bench.
const (
	// Start writes Config and starts the agent under supervision, and before it
	// the keeper if that is not running. The reply comes when the agent's process
	// runs.
	Start Do = "start"
	// Stop ends the agent with SIGTERM. The keeper stays.
	Stop Do = "stop"
	// Signal sends Signal to the program of Unit; supervision stays on.
	Signal Do = "signal"
	// Supervise sets whether Unit's stop action runs when its program ends, and
	// whether the program is killed when it hangs and started again.
	Supervise Do = "supervise"
	// Hang stops agent and keeper with SIGSTOP, and the init too: nothing serves the
	// kernel's watchdog any more.
	Hang Do = "hang"
	// Clock sets the wall clock to Unix, and whether the kernel treats it as
	// synchronized.
	Clock Do = "clock"
	// StopAction runs the keeper's stop action and returns its output.
	StopAction Do = "stop-action"
	// Card moves the programs to the record's disk, as on a Pi with one card. It counts
	// for programs that start later, until the next boot.
	Card Do = "card"
	// Freeze freezes the record's file system, as a card that answers no more does;
	// Thaw ends that. Eject removes the disk's device: every access to it fails.
	Freeze Do = "freeze"
	Thaw   Do = "thaw"
	Eject  Do = "eject"
	// HTTP requests the agent's page from inside and returns status and body.
	HTTP Do = "http"
	// Pull removes the adapter of the converters' bus from the machine's USB; Plug
	// puts it back.
	Pull Do = "pull"
	Plug Do = "plug"
	// Read returns a file's text.
	Read Do = "read"
	// Install runs dpkg on the package Path of the stick and returns its output.
	// Only on the board with systemd.
	Install Do = "install"
)

// Order is one order of the bench.
type Order struct {
	ID         int
	Do         Do
	Config     string `json:",omitempty"` // Start
	Unit       Unit   `json:",omitempty"` // Signal and Supervise
	Signal     int    `json:",omitempty"` // Signal
	StopAction bool   `json:",omitempty"` // Supervise
	Restart    bool   `json:",omitempty"` // Supervise
	Unix       int64  `json:",omitempty"` // Clock, s
	Trusted    bool   `json:",omitempty"` // Clock
	Method     string `json:",omitempty"` // HTTP
	Path       string `json:",omitempty"` // HTTP, Read and Install
	Body       string `json:",omitempty"` // HTTP
}

// Unit names one of the two packaged units.
type Unit string

// The packaged units.
const (
	Agent  Unit = "bayward.service"
	Keeper Unit = "bayward-keeper.service"
)

// Kind names an event of the guest.
type Kind string

// The events of the guest.
const (
	Up            Kind = "up"          // the devices are present; Text is the boot's id
	Reply         Kind = "reply"       // to the order ID
	Started       Kind = "started"     // the process of Unit runs
	Ready         Kind = "ready"       // it sent READY=1
	Hung          Kind = "hung"        // WATCHDOG=1 did not come in time; it is being killed
	Ended         Kind = "ended"       // Text is how
	StopActionRan Kind = "stop-action" // Text is how it ended
	Trouble       Kind = "trouble"     // the init itself cannot continue
)

// Event is one event of the guest.
type Event struct {
	Kind  Kind
	Unit  Unit   `json:",omitempty"` // of Started to StopActionRan
	ID    int    `json:",omitempty"`
	Text  string `json:",omitempty"`
	Error string `json:",omitempty"`
	Exit  int    `json:",omitempty"` // exit code of a program
}

// Where things are in the guest. The binaries are the packaged ones.
const (
	Binary       = "/usr/bin/bayward"
	KeeperBinary = "/usr/bin/bayward-keeper"
	ConfigPath   = "/etc/bayward/bayward.yaml"
	UnitFolder   = "/usr/lib/systemd/system/"
	StateDir     = "/var/lib/bayward"
	PageAddr     = "127.0.0.1:8080" // as in deploy/emulated/bayward.yaml
	// RelayPort is where the init forwards the page, for the bench's host.
	RelayPort = 8081
)
