// Command bayward-keeper owns the lines of the relays and of their heartbeats. It
// closes a relay only while an agent renews a lease for it, and opens it by its own
// clock. The rules are in agent/lease/keeper.go, the frames in agent/lease/protocol.go.
//
// It locks its memory and reads and writes no file after its start, so that a dead
// disk cannot stop it. See serve.go for its loop.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"

	"bayward/agent/lease"
)

const manual = `bayward-keeper [-socket PATH] FILE
bayward-keeper low FILE

Keeps the charge-enable relays of this machine. It drives every line of FILE low,
then closes a relay only while the agent asks for it again and again: each request
counts for 3 s at most. Whatever happens to the agent, its relays open.

"low" drives every line of FILE low and exits. It is for ExecStopPost in the systemd
unit, because the kernel may keep an output driven after its program is gone.

FILE is written by: bayward lines --config FILE --to FILE. It has one entry a line:
  user 998              who may connect besides root, by number
  bay-1 GPIO17 GPIO27   a bay, its relay's line, its heartbeat's line or -
  old bay-2 GPIO16 -    lines that were used before: driven low once, then returned

-socket PATH   where the agent connects, by default ` + socketPath + `

In a systemd unit it needs LimitMEMLOCK=infinity, and PrivateUsers= must stay off: it
would hide who connects. It supports Type=notify and WatchdogSec=.

Exit codes: 0 stopped by a signal, 1 failed, 2 wrong use or a wrong FILE. After each
of them the relays are open, unless a line is named that could not be driven. A line
that is busy is held by another program: gpioinfo names it.
`

const (
	socketPath = "/run/bayward-keeper/socket"
	name       = "bayward-keeper: "

	exitDone, exitFailed, exitUsage = 0, 1, 2
)

func main() {
	os.Exit(execute(os.Args[1:], kernelLine, os.Stdout, os.Stderr))
}

// execute is the whole program, so that tests can run it on other lines.
func execute(args []string, find finder, out, complaints io.Writer) int {
	flags := flag.NewFlagSet("bayward-keeper", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	socket := flags.String("socket", socketPath, "")
	onlyLow := len(args) > 0 && args[0] == "low"
	if onlyLow {
		args = args[1:]
	}
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		_, _ = io.WriteString(out, manual)
		return exitDone
	case err != nil || flags.NArg() != 1:
		_, _ = fmt.Fprintln(complaints, name+"needs the name of one file; see bayward-keeper --help")
		return exitUsage
	}
	file := flags.Arg(0)
	text, err := os.ReadFile(file)
	if err != nil {
		return complain(complaints, err, exitUsage)
	}
	list, wrong := lease.ParseList(file, text)
	if wrong != nil || onlyLow { // as many as are known
		_, old, failed := takeLow(list, find)
		err = errors.Join(failed, old)
	} else {
		err = keep(list, find, *socket, complaints)
	}
	if wrong != nil {
		return complain(complaints, errors.Join(wrong, err), exitUsage)
	}
	return complain(complaints, err, exitFailed)
}

func complain(w io.Writer, err error, code int) int {
	if err == nil {
		return exitDone
	}
	_, _ = fmt.Fprintf(w, name+"%v\n", err)
	return code
}

// keep runs until a signal comes. However it ends, the relays are open.
func keep(list lease.List, find finder, socket string, complaints io.Writer) (err error) {
	k, old, err := takeLow(list, find)
	if err != nil {
		return err
	}
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("bug: %v\n%s", r, debug.Stack())
		}
		err = errors.Join(k.Release(), err)
	}()
	runtime.LockOSThread()
	runtime.GOMAXPROCS(1)
	// The loop allocates nothing, so the collector has no work. What messages need in
	// years is collected at this limit.
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(16 << 20)
	s := server{keeper: k, user: list.User, log: newMessages(complaints), peer: none}
	if err := errors.Join(old, lockMemory()); err != nil {
		s.log.say(bootTime(), starting, "warning: %v", err)
	}
	if err := s.listen(socket); err != nil {
		return err
	}
	s.manager = newManager()
	return s.run()
}
