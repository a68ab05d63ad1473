package demo

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"time"

	"bayward/agent/bay"
	"bayward/agent/loop"
	"bayward/agent/terminal"
	"bayward/agent/words"
)

// printer writes a line for each event, for a user at a terminal.
type printer struct {
	w      io.Writer
	colour bool
	voice  words.Voice
}

// newPrinter uses colours if w is a terminal; it respects NO_COLOR.
func newPrinter(w io.Writer, v words.Voice) *printer {
	return &printer{w: w, colour: terminal.Is(w) && os.Getenv("NO_COLOR") == "", voice: v}
}

// Name implements loop.Output.
func (*printer) Name() string { return "terminal" }

// Take implements loop.Output.
func (p *printer) Take(_ context.Context, n *loop.News) {
	for i := range n.Events {
		if line := p.line(n, i); line != "" {
			_, _ = fmt.Fprintln(p.w, line) // a closed terminal is no reason to stop
		}
	}
}

// line returns "" for an event that another line of the same tick already
// reports.
func (p *printer) line(n *loop.News, i int) string {
	e := &n.Events[i]
	var what, code string
	switch e.Kind {
	case bay.PermitGranted:
		what, code = "charging allowed", "32"
	case bay.PermitBlocked:
		what, code = "charging blocked", "31"
	case bay.FindingRaised:
		if reported(n.Events, bay.PermitBlocked, e) {
			return ""
		}
		what, code = "finding", "33"
	case bay.StageChanged:
		what = e.Stage.String()
	case bay.ChargeFull:
		what, code = "proven full", "32"
	case bay.VisitOpened, bay.VisitClosed, bay.OrderRefused, bay.MemoryDoubted, bay.ChargeEnded:
		what = e.Kind.String()
	default:
		return ""
	}
	label := fmt.Sprintf("%-16s", what)
	if p.colour && code != "" {
		label = "\x1b[" + code + "m" + label + "\x1b[0m"
	}
	return fmt.Sprintf("%s  %-7s %s %s", clock(e.At), n.Bay, label, p.voice.Event(e))
}

func reported(events []bay.Event, kind bay.EventKind, as *bay.Event) bool {
	for i := range events {
		if events[i].Kind == kind && events[i].Code == as.Code {
			return true
		}
	}
	return false
}

// clock formats the simulated time since the start: day, hours, minutes.
func clock(t time.Duration) string {
	const day = 24 * time.Hour
	return fmt.Sprintf("day %d %02d:%02d", t/day+1, t%day/time.Hour, t%time.Hour/time.Minute)
}

func port(addr string) string {
	_, p, err := net.SplitHostPort(addr)
	if err != nil {
		return ""
	}
	return p
}
