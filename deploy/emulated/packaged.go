package main

import (
	"context"
	"errors"
	"strings"
	"time"

	"bayward/deploy/emulated/control"
)

// These scenarios run on the board with a Debian root: dpkg and systemd are the
// real ones, and the units are the shipped ones with their hardening.

func installed(s *scene) {
	before := s.look()
	text := s.installs("old.deb")
	s.step("it was not started, and prints what to do", func(context.Context) error {
		if !strings.Contains(text, "not started; every relay stays open") {
			return errors.New(text)
		}
		return nil
	})
	s.step("no line had an edge", func(context.Context) error {
		if now := s.look(); now != before {
			return errors.New("a line had an edge")
		}
		return nil
	})
	s.pins("the relay's line is not driven", false, false)
	s.begin(fresh(10))
	s.granted()
}

// dpkgPatience is the limit for dpkg, and for a boot of Debian, on an emulated
// processor.
const dpkgPatience = 10 * time.Minute

// installs has dpkg install a package of the stick.
func (s *scene) installs(name string) string {
	e := s.gives("dpkg installs "+name, control.Order{Do: control.Install, Path: name})
	if !s.failed() && e.Exit != 0 {
		s.fail("dpkg ended with %d: %s", e.Exit, e.Text)
	}
	return e.Text
}

func upgraded(s *scene) {
	s.begin(fresh(10))
	s.shows("on charge", func(p *picture) bool { return p.Stage == "charging" })
	s.keeps(3)
	was := s.gives("the configuration", control.Order{Do: control.Read, Path: control.ConfigPath}).Text
	before, mark := s.look(), s.guest.mark()
	s.installs("new.deb")
	s.hears(control.Keeper, control.Ready, mark)
	s.hears(control.Agent, control.Ended, mark)
	s.hears(control.Agent, control.Ready, mark)
	s.step("the relay has opened", func(context.Context) error {
		if now := s.look(); now.drops == before.drops {
			return errors.New("it did not open")
		}
		return nil
	})
	s.granted()
	s.step("the configuration is unchanged", func(ctx context.Context) error {
		e, err := s.guest.order(ctx, control.Order{Do: control.Read, Path: control.ConfigPath})
		if err == nil && e.Text != was {
			err = errors.New(e.Text)
		}
		return err
	})
	s.shows("on charge", func(p *picture) bool { return p.Stage == "charging" })
	s.inOrder()
}
