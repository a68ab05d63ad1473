// Command bayward looks after the vented lead-acid battery on a charging bay:
// it blocks the charge while the plates may be bare, follows the charge to
// proven full, enforces the cool-down, tells when and how much water each cell
// needs, and keeps the record.
//
// It is not a certified safety device. Local codes, the battery's own
// instructions and licensed practice come first.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"bayward/agent/usage"

	"github.com/alecthomas/kong"
)

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2 // wrong use or wrong input
)

// program is what a command may touch of the world.
type program struct {
	stdin          io.Reader
	stdout, stderr io.Writer
}

// service is what a board runs day and night. It is parsed without the other
// commands, whose grammar would take a tenth of the time until the relays are open.
type service struct {
	Run     runCmd           `cmd:"" help:"Look after the bays of this machine until told to stop."`
	Version kong.VersionFlag `help:"Print the version and leave."`
}

type cli struct {
	service
	Demo    demoCmd    `cmd:"" help:"Show the whole round on simulated bays, with no configuration, broker or hardware."`
	Check   checkCmd   `cmd:"" help:"Read a configuration, say what is wrong with it, and leave."`
	PIN     pinCmd     `cmd:"" name:"pin" help:"Read a PIN from standard input and print its hash for the configuration."`
	Replay  replayCmd  `cmd:"" help:"Send a recorded trace through the core and print what it decides."`
	Airflow airflowCmd `cmd:"" help:"Print the hydrogen and the ventilation that the bays of a configuration need."`
	Wiring  wiringCmd  `cmd:"" help:"Walk through a bay's wiring: prove each sensor and the relay, calibrate, sign."`
	Records recordsCmd `cmd:"" help:"List, show, export, verify and back up the record; see bayward records --help."`

	OutputsSafe outputsSafeCmd `cmd:"" help:"Drive every relay and heartbeat low and leave; for ExecStopPost."`
	WiringHold  wiringHoldCmd  `cmd:"" hidden:"" help:"A part of wiring: the process that is killed while it holds the relay."`

	Manual     manualCmd     `cmd:"" hidden:"" help:"Print the manual page."`
	Completion completionCmd `cmd:"" hidden:"" help:"Print the completion for bash."`
}

const about = `bayward looks after the vented lead-acid battery on a charging bay: it blocks the charge while the plates may be bare, ` +
	`follows the charge to proven full, enforces the cool-down, and tells when and how much water each cell needs.

It is not a certified safety device: local codes, the battery's own instructions and licensed practice come first.

Exit codes: 0 done, 1 failed, 2 wrong use or wrong input.`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), endings()...)
	code := run(ctx, os.Args[1:], &program{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// endings are the signals after which the relays are opened in good order. A
// terminal that goes is one of them, unless nohup asked for it not to be; so is
// its quit key, after which a line could otherwise stay driven.
func endings() []os.Signal {
	all := []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT}
	if !signal.Ignored(syscall.SIGHUP) {
		all = append(all, syscall.SIGHUP)
	}
	return all
}

// outliveReaders keeps a program that drives relays from being killed, with a
// relay closed, because the reader of its log has gone.
func outliveReaders() { signal.Ignore(syscall.SIGPIPE) }

// outliveKeys keeps a terminal's stop key (Ctrl-Z) from freezing a program that
// holds a relay closed. Processes that it starts inherit that.
func outliveKeys() { signal.Ignore(syscall.SIGTSTP) }

// run is the whole program, so that tests can start it.
func run(ctx context.Context, args []string, p *program) int {
	var grammar any = &cli{}
	if len(args) > 0 && args[0] == "run" {
		grammar = &service{}
	}
	exit := -1
	parser, err := kong.New(grammar, kong.Name("bayward"), kong.Description(about), kong.UsageOnError(),
		kong.Writers(p.stdout, p.stderr), kong.Exit(func(code int) { exit = code }),
		kong.Vars{"version": version()}, kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}))
	if err != nil {
		panic("bug: the command line is not well formed: " + err.Error())
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if exit >= 0 {
		return exit // help or version was printed
	}
	if err != nil {
		return p.complain(usage.Errorf("%w; see bayward --help", err))
	}
	k.BindTo(ctx, (*context.Context)(nil))
	k.Bind(p)
	return p.complain(k.Run())
}

// complain prints an error for a person and gives the exit code.
func (p *program) complain(err error) int {
	if err == nil {
		return exitDone
	}
	_, _ = fmt.Fprintf(p.stderr, "bayward: %v\n", err)
	if usage.Is(err) {
		return exitUsage
	}
	return exitFailed
}
