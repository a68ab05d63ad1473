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

	"bayward/agent/words"
)

// cli is the command line.
type cli struct {
	Version kong.VersionFlag

	Run     runCmd     `cmd:""`
	Demo    demoCmd    `cmd:""`
	Check   checkCmd   `cmd:""`
	PIN     pinCmd     `cmd:"" name:"pin"`
	Replay  replayCmd  `cmd:""`
	Airflow airflowCmd `cmd:""`
	Wiring  wiringCmd  `cmd:""`
	Records recordsCmd `cmd:""`
	Support supportCmd `cmd:""`

	Lines      linesCmd      `cmd:""`
	WiringHold wiringHoldCmd `cmd:"" hidden:""`

	Manual     manualCmd     `cmd:"" hidden:""`
	Completion completionCmd `cmd:"" hidden:""`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), endings()...)
	code := execute(ctx, os.Args[1:], &program{os.Stdin, os.Stdout, os.Stderr, voiceOfTerminal(os.Getenv)})
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
	if len(args) == 0 {
		args = []string{"--help"}
	}
	if isForFiles(args) {
		p.voice = words.EnglishSI()
	}
	parser, err := kong.New(&cli{}, kong.Name("bayward"), kong.Description(p.voice.Say("cli.about")), kong.UsageOnError(),
		kong.Writers(p.stdout, p.stderr), kong.Exit(func(code int) { exit = code }),
		kong.Vars{"version": version()}, kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}))
	if err != nil {
		panic("bug: the command line is not well formed: " + err.Error())
	}
	describe(parser.Model.Node, "", p.voice)
	k, err := parser.Parse(args)
	if exit >= 0 {
		return exit // help or version was printed
	}
	if err != nil {
		return p.complain(wrong("see-help", err))
	}
	k.BindTo(ctx, (*context.Context)(nil))
	k.Bind(p)
	return p.complain(k.Run())
}
