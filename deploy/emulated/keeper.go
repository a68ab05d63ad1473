package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"syscall"
	"time"

	"bayward/deploy/emulated/control"
	"bayward/sensors/sim"
)

// opensBefore does something to the agent, after which the relay must open before the
// guest reports an event about it. The event comes seconds after the lease's end.
func (s *scene) opensBefore(what string, kind control.Kind, do func(context.Context) error) {
	s.step(fmt.Sprintf("%s: the relay opens before the guest reports %s", what, kind), func(ctx context.Context) error {
		from, mark := s.beginning(), s.guest.mark()
		if !from.relay {
			return errors.New("it was not closed before")
		}
		ctx, cancel := context.WithCancelCause(ctx)
		go func() {
			if e, err := s.guest.await(ctx, control.Agent, kind, mark); err == nil {
				cancel(fmt.Errorf("it is still closed when the guest reports %s %s", e.Kind, e.Text))
			}
		}()
		began := time.Now()
		err := do(ctx)
		if err == nil {
			_, err = s.await(ctx, func(n seen) bool { return n.drops > from.drops })
		}
		if err != nil {
			err = errors.Join(err, context.Cause(ctx))
		} else {
			s.log("figure: %s %s: the relay opens after %.2f s", s.name, what, time.Since(began).Seconds())
		}
		cancel(nil)
		return err
	})
}

// signalling returns a function for opensBefore.
func (s *scene) signalling(unit control.Unit, sig syscall.Signal) func(context.Context) error {
	return func(ctx context.Context) error {
		_, err := s.guest.order(ctx, control.Order{Do: control.Signal, Unit: unit, Signal: int(sig)})
		return err
	}
}

// silent waits until the timer relay beside the board has dropped for want of a
// heartbeat.
func (s *scene) silent() {
	s.step("the contactor drops out without a heartbeat", func(ctx context.Context) error {
		return s.until(ctx, func(t sim.Truth) bool { return !t.ContactorClosed })
	})
}

// stopAction checks that the keeper's unit drove the lines low.
func (s *scene) stopAction(mark int) {
	e := s.hears(control.Keeper, control.StopActionRan, mark)
	if !s.failed() && (e.Exit != 0 || e.Error != "") {
		s.fail("the stop action ended with %d %s: %s", e.Exit, e.Error, e.Text)
	}
	s.pins("the line is low", true, false)
}

// kept checks that the program of a unit has not ended since a mark.
func (s *scene) kept(unit control.Unit, mark int) {
	s.step("still the same program: "+string(unit), func(context.Context) error {
		s.guest.mu.Lock()
		defer s.guest.mu.Unlock()
		for _, e := range s.guest.events[mark:] {
			if e.Unit == unit && e.Kind == control.Ended {
				return fmt.Errorf("it ended: %s", e.Text)
			}
		}
		return nil
	})
}

// killed: the kernel tells the keeper that its peer is gone.
func killed(s *scene) {
	s.charging()
	mark, told := s.guest.mark(), s.site.count()
	s.opensBefore("the agent is killed", control.Started, s.signalling(control.Agent, syscall.SIGKILL))
	s.pins("the keeper drives the line low", true, false)
	s.isOffline(told)
	s.hears(control.Agent, control.Ready, mark)
	s.stays(4)
	s.granted()
}

// frozen: an agent that is stopped keeps its connection, so the lease must end.
func frozen(s *scene) {
	s.charging()
	mark, told := s.guest.mark(), s.site.count()
	s.opensBefore("the agent is stopped", control.Hung, s.signalling(control.Agent, syscall.SIGSTOP))
	s.pins("the keeper drives the line low", true, false)
	if s.short {
		return
	}
	s.hears(control.Agent, control.Hung, mark)
	s.isOffline(told)
	s.hears(control.Agent, control.Ready, mark)
	s.stays(4)
	s.granted()
}

// isOffline waits for the message that the broker sends when the agent is gone, after
// the first messages of this run.
func (s *scene) isOffline(first int) {
	s.step("the broker reports the agent offline", func(ctx context.Context) error {
		return s.site.await(ctx, func(all []message) bool { return slices.ContainsFunc(all[first:], offline) })
	})
}

// keeperKilled: only the keeper's unit and the timer relay are left.
func keeperKilled(s *scene) {
	s.begin(fresh(10))
	s.granted()
	mark := s.guest.mark()
	s.gives("no one looks after the keeper", control.Order{Do: control.Supervise, Unit: control.Keeper})
	s.signals(control.Keeper, syscall.SIGKILL)
	s.hears(control.Keeper, control.Ended, mark)
	s.silent()
	s.pins("the kernel leaves the line driven high", true, true)
	s.finds("agent-unready")
	s.gives("the stop action by hand", control.Order{Do: control.StopAction})
	s.pins("the line is low", true, false)
	s.kept(control.Agent, mark)
	if !s.short {
		keeperRestarted(s)
	}
}

// keeperRestarted: the agent finds the next keeper by itself.
func keeperRestarted(s *scene) {
	s.begin(fresh(10))
	s.granted()
	mark := s.guest.mark()
	s.signals(control.Keeper, syscall.SIGKILL)
	s.stopAction(mark)
	s.hears(control.Keeper, control.Ready, mark)
	s.granted()
	s.kept(control.Agent, mark)
}

// keeperFrozen: a keeper that is stopped leaves its lines as they are. The timer relay
// opens the contactor, and the keeper's unit opens the relay.
func keeperFrozen(s *scene) {
	s.begin(fresh(10))
	s.granted()
	mark := s.guest.mark()
	s.signals(control.Keeper, syscall.SIGSTOP)
	s.hears(control.Keeper, control.Hung, mark)
	s.stopAction(mark)
	s.hears(control.Keeper, control.Ready, mark)
	s.granted()
	s.kept(control.Agent, mark)

	mark = s.guest.mark()
	s.gives("no one looks after the keeper", control.Order{Do: control.Supervise, Unit: control.Keeper, StopAction: true})
	s.signals(control.Keeper, syscall.SIGSTOP)
	s.silent()
	s.pins("the line is as it was", true, true)
	s.finds("agent-unready")
	s.signals(control.Keeper, syscall.SIGKILL)
	s.stopAction(mark)
	s.kept(control.Agent, mark)
}

// diskFrozen: the card answers no more, and later answers again.
func diskFrozen(s *scene) {
	s.charging()
	mark := s.guest.mark()
	s.gives("the record's file system is frozen", control.Order{Do: control.Freeze})
	s.keeps(12) // longer than the manager's watchdog waits
	s.finds("record-failing")
	s.drops("the jar leaks", dropTicks, func(context.Context) error { return s.leak(16) })
	s.finds("plates-bare")
	s.gives("the disk answers again", control.Order{Do: control.Thaw})
	s.kept(control.Agent, mark)
	if s.short {
		return
	}
	s.step("water covers the plates", func(context.Context) error { return s.pour(16) })
	s.granted()
	s.shows("the record is written again", func(p *picture) bool { return !p.has("record-failing") })
	s.inOrder()
}

// diskGone: the record's disk is pulled out, and the programs are elsewhere.
func diskGone(s *scene) {
	s.begin(fresh(10))
	s.granted()
	mark := s.guest.mark()
	s.gives("the disk is pulled", control.Order{Do: control.Eject})
	s.finds("record-failing")
	s.keeps(12)
	s.drops("the jar leaks", dropTicks, func(context.Context) error { return s.leak(16) })
	s.finds("plates-bare")
	s.kept(control.Agent, mark)
	s.cutPower() // a reset brings the disk back
	s.start()
	s.stays(12) // bare plates
}

// cardPulled: on a Pi the programs are on the card too. The keeper's are in memory.
func cardPulled(s *scene) {
	s.stop()
	mark := s.guest.mark()
	s.gives("the programs are on the card", control.Order{Do: control.Card})
	s.signals(control.Keeper, syscall.SIGTERM)
	s.hears(control.Keeper, control.Ready, mark)
	s.begin(fresh(10))
	s.granted()
	mark = s.guest.mark()
	told := s.site.count()
	s.gives("an agent without a card cannot be started again", control.Order{Do: control.Supervise, Unit: control.Agent})
	s.opensBefore("the card is pulled", control.Hung, func(ctx context.Context) error {
		_, err := s.guest.order(ctx, control.Order{Do: control.Eject})
		return err
	})
	s.isOffline(told)
	s.hears(control.Agent, control.Ended, mark)
	s.kept(control.Keeper, mark)
	s.pins("the keeper drives the line low", true, false)
	if s.short {
		return
	}
	s.cutPower() // a reset brings the card back
	s.resume()
}
