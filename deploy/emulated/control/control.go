// Package control is what the bench and the guest's init say to each other:
// JSON values, one after the other, over one TCP connection that the guest
// opens. It travels beside the I²C adapters and is no part of what is tested.
package control

// Do names an order.
type Do string

// The orders of the bench.
const (
	// Start writes Config and starts the agent under supervision. It is
	// answered when the process runs.
	Start Do = "start"
	// Stop ends the agent with SIGTERM and then runs the stop action.
	Stop Do = "stop"
	// Signal sends Signal to the agent, which supervision does not prevent.
	Signal Do = "signal"
	// Supervise sets whether an agent that ended is followed by the stop
	// action and started again.
	Supervise Do = "supervise"
	// Hang stops the agent with SIGSTOP and the init with it: nobody serves
	// the kernel's watchdog any more.
	Hang Do = "hang"
	// Clock sets the wall clock to Unix, and whether the kernel takes it for
	// set by a source.
	Clock Do = "clock"
	// Run runs the packaged program with Args and answers with its output.
	Run Do = "run"
	// HTTP asks the agent's page from inside and answers with status and body.
	HTTP Do = "http"
	// Pull takes the adapter of the converters' bus off the machine's USB, Plug
	// puts it back.
	Pull Do = "pull"
	Plug Do = "plug"
	// Read answers with a file's text.
	Read Do = "read"
	// Install has dpkg install the package Path of the stick and answers with its
	// output. Only where systemd runs the board.
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

// Kind names what the guest tells.
type Kind string

// What the guest tells.
const (
	Up            Kind = "up"            // devices are there; Text is the boot's id
	Reply         Kind = "reply"         // to the order ID
	AgentStarted  Kind = "agent-started" // the process runs
	AgentReady    Kind = "agent-ready"   // it said READY=1
	AgentHung     Kind = "agent-hung"    // WATCHDOG=1 did not come in time; it is killed now
	AgentEnded    Kind = "agent-ended"   // Text tells how
	StopActionRan Kind = "stop-action"   // Text tells how it ended
	Trouble       Kind = "trouble"       // the init itself cannot go on
)

// Event is one thing that the guest tells.
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
	PageAddr   = "127.0.0.1:8080" // as deploy/emulated/bayward.yaml has it
	// RelayPort is where the init hands the page on, for the bench's host.
	RelayPort = 8081
)
