package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

const watchHelp = `Type, then Enter:
  pour MM | leak MM        raise or lower the level of every cell
  break FAULT | fix FAULT  one of: %s
  unplug | plug            the pack
  kill | freeze | start    the agent: kill -9, SIGSTOP, start again
  keeper kill | freeze     the keeper
  cable in | cable out     the site's network
  power                    cut the power for a moment
  help | quit
The page: http://127.0.0.1:%d/   The broker: mosquitto_sub -p %d -t 'bayward/#' -v
`

// show starts the agent and follows the board until ctx ends.
func (b *bench) show(ctx context.Context, r *rig, site *site) error {
	s := &scene{rig: r, site: site, ctx: ctx, name: "watch", log: b.log}
	s.begin(fresh(10))
	if s.err != nil {
		return s.err
	}
	b.help(site)
	lines := make(chan string)
	go func() {
		for in := bufio.NewScanner(os.Stdin); in.Scan(); {
			lines <- in.Text()
		}
	}()
	t := time.NewTicker(2 * time.Second)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case line := <-lines:
			if strings.TrimSpace(line) == "quit" {
				return nil
			}
			if err := b.obey(s, strings.Fields(line)); err != nil {
				fmt.Fprintln(b.out, "  ", err)
			}
		case <-t.C:
			b.line(r, site)
		}
	}
}

func (b *bench) help(site *site) {
	names := make([]string, 0, len(sim.FaultKinds()))
	for _, kind := range sim.FaultKinds() {
		names = append(names, kind.String())
	}
	fmt.Fprintf(b.out, watchHelp, strings.Join(names, " "), b.page, site.port)
}

// line logs the true state of the bay, then what the agent reports.
func (b *bench) line(r *rig, site *site) {
	var t sim.Truth
	_ = r.with(func(y *sim.Stand) error { t = y.Truth(); return nil }) // returns none
	now := r.look()
	site.mu.Lock()
	p := last(site.all)
	site.mu.Unlock()
	report := "nothing yet"
	if p != nil {
		report = fmt.Sprintf("%s, %s %v", p.Stage, p.Permit, p.Findings)
	}
	b.log("line %-4s beats %-5d contactor %-6s level %5.1f mm  %5.2f V  %5.1f A  %4.1f °C  | %s",
		map[bool]string{true: "HIGH", false: "low"}[now.relay], now.beats,
		map[bool]string{true: "CLOSED", false: "open"}[t.ContactorClosed], t.Cells[0].LevelMM, t.PackV, t.CurrentA, t.PackC, report)
}

func (s *scene) setFault(name string, on bool) error {
	for _, kind := range sim.FaultKinds() {
		if kind.String() == name {
			s.fault(kind, on)
			return nil
		}
	}
	return fmt.Errorf("there is no fault %q", name)
}

var signalOf = map[string]syscall.Signal{"kill": syscall.SIGKILL, "freeze": syscall.SIGSTOP}

func (b *bench) obey(s *scene, words []string) error {
	if len(words) == 0 {
		return nil
	}
	argument := ""
	if len(words) > 1 {
		argument = words[1]
	}
	s.err = nil
	switch words[0] {
	case "pour", "leak":
		mm, err := strconv.ParseFloat(argument, 64)
		if err != nil {
			return fmt.Errorf("%s: how many millimetres?", words[0])
		}
		if words[0] == "pour" {
			return s.pour(mm)
		}
		return s.leak(mm)
	case "break", "fix":
		return s.setFault(argument, words[0] == "break")
	case "unplug", "plug":
		return s.with(func(y *sim.Stand) error {
			if words[0] == "plug" {
				y.Connect()
			} else {
				y.Unplug()
			}
			return nil
		})
	case "kill", "freeze":
		s.signals(control.Agent, signalOf[words[0]])
	case "keeper":
		sig, ok := signalOf[argument]
		if !ok {
			return errors.New("keeper: kill or freeze?")
		}
		s.signals(control.Keeper, sig)
	case "start":
		s.start()
	case "cable":
		return s.machine.Cable(argument == "in")
	case "power":
		return s.machine.PowerCut()
	default:
		b.help(s.site)
	}
	return s.err
}
