// Command bayward looks after the vented lead-acid battery on a charging bay:
// it blocks the charge while the plates may be bare, follows the charge to
// proven full, enforces the cool-down, reports when and how much water each cell
// needs, and keeps the record.
//
// It is not a certified safety device. Local codes, the battery's own
// instructions and licensed practice come first.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"bayward/agent/usage"
)

// cli is the command line.
type cli struct {
	Version kong.VersionFlag `help:"Print the version and exit."`

	Run     runCmd     `cmd:"" help:"Look after the bays of this machine until stopped."`
	Demo    demoCmd    `cmd:"" help:"Show the whole round on simulated bays, with no configuration, broker or hardware."`
	Check   checkCmd   `cmd:"" help:"Read a configuration and report what is wrong with it."`
	PIN     pinCmd     `cmd:"" name:"pin" help:"Read a PIN from standard input and print its hash for the configuration."`
	Replay  replayCmd  `cmd:"" help:"Send a recorded trace through the core and print what it decides."`
	Airflow airflowCmd `cmd:"" help:"Print the hydrogen and the ventilation that the bays of a configuration need."`
	Wiring  wiringCmd  `cmd:"" help:"Walk through a bay's wiring: prove each sensor and the relay, calibrate, sign."`
	Records recordsCmd `cmd:"" help:"List, show, export, verify and back up the record; see bayward records --help."`

	Lines      linesCmd      `cmd:"" help:"Write the list of lines that bayward-keeper, which drives the relays, is started with."`
	WiringHold wiringHoldCmd `cmd:"" hidden:"" help:"A part of wiring: the process that is killed while it holds the relay."`

	Manual     manualCmd     `cmd:"" hidden:"" help:"Print the manual page."`
	Completion completionCmd `cmd:"" hidden:"" help:"Print the completion for bash."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), endings()...)
	code := execute(ctx, os.Args[1:], &program{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// endings are the signals that end the program in good order, with the relays open. A
// terminal that closes is one of them, unless nohup has ignored it; so is its quit
// key, after which a line could otherwise stay driven.
func endings() []os.Signal {
	all := []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT}
	if !signal.Ignored(syscall.SIGHUP) {
		all = append(all, syscall.SIGHUP)
	}
	return all
}

// execute is the whole program, so that tests can run it.
func execute(ctx context.Context, args []string, p *program) int {
	exit := -1
	parser, err := kong.New(&cli{}, kong.Name("bayward"), kong.Description(about), kong.UsageOnError(),
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
