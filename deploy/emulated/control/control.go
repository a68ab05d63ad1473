// Package control defines the messages between the bench and the guest's init:
// JSON values, one after the other, over one TCP connection that the guest opens.
// The connection is separate from the I²C adapters and not part of what is tested.
package control

// Do names an order.
type Do string

// The orders of the bench.
const (
	// Start writes Config and starts the agent under supervision. The reply
	// comes when the process runs.
	Start Do = "start"
	// Stop ends the agent with SIGTERM and then runs the stop action.
	Stop Do = "stop"
	// Signal sends Signal to the agent; supervision stays on.
	Signal Do = "signal"
	// Supervise sets whether the stop action runs when the agent ends, and
	// whether the agent is started again.
	Supervise Do = "supervise"
	// Hang stops the agent with SIGSTOP, and the init too: nothing serves the
	// kernel's watchdog any more.
	Hang Do = "hang"
	// Clock sets the wall clock to Unix, and whether the kernel treats it as
	// synchronized.
	Clock Do = "clock"
	// Run runs the packaged program with Args and returns its output.
	Run Do = "run"
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
	Config     string   `json:",omitempty"` // Start
	Signal     int      `json:",omitempty"` // Signal
	StopAction bool     `json:",omitempty"` // Supervise
	Restart    bool     `json:",omitempty"` // Supervise
	Unix       int64    `json:",omitempty"` // Clock, s
	Trusted    bool     `json:",omitempty"` // Clock
	Args       []string `json:",omitempty"` // Run
	Method     string   `json:",omitempty"` // HTTP
	Path       string   `json:",omitempty"` // HTTP, Read and Install
	Body       string   `json:",omitempty"` // HTTP
}

// Kind names an event of the guest.
type Kind string

// The events of the guest.
const (
	Up            Kind = "up"            // the devices are present; Text is the boot's id
	Reply         Kind = "reply"         // to the order ID
	AgentStarted  Kind = "agent-started" // the process runs
	AgentReady    Kind = "agent-ready"   // it sent READY=1
	AgentHung     Kind = "agent-hung"    // WATCHDOG=1 did not come in time; it is being killed
	AgentEnded    Kind = "agent-ended"   // Text is how
	StopActionRan Kind = "stop-action"   // Text is how it ended
	Trouble       Kind = "trouble"       // the init itself cannot continue
)

// Event is one event of the guest.
type Event struct {
	Kind  Kind
	ID    int    `json:",omitempty"`
	Text  string `json:",omitempty"`
	Error string `json:",omitempty"`
	Exit  int    `json:",omitempty"` // Run: exit code
}

// Where things are in the guest. The binary is the packaged one.
const (
	Binary     = "/usr/bin/bayward"
	ConfigPath = "/etc/bayward/bayward.yaml"
	UnitPath   = "/usr/lib/systemd/system/bayward.service"
	StateDir   = "/var/lib/bayward"
	PageAddr   = "127.0.0.1:8080" // as in deploy/emulated/bayward.yaml
	// RelayPort is where the init forwards the page, for the bench's host.
	RelayPort = 8081
)
