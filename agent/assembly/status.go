package assembly

import (
	"context"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/loop"
	"bayward/agent/systemd"
)

// statusLine is the output behind "systemctl status": one phrase for each bay.
type statusLine struct {
	to   *systemd.Manager
	says map[string]string
	bays []string
	last string
}

func newStatusLine(to *systemd.Manager) *statusLine {
	return &statusLine{to: to, says: map[string]string{}}
}

// Name implements loop.Output.
func (*statusLine) Name() string { return "systemd" }

// Take implements loop.Output.
func (l *statusLine) Take(_ context.Context, n *loop.News) {
	if _, seen := l.says[n.Bay]; !seen {
		l.bays = append(l.bays, n.Bay)
	}
	l.says[n.Bay] = phrase(n.Picture)
	all := make([]string, len(l.bays))
	for i, name := range l.bays {
		all[i] = name + " " + l.says[name]
	}
	line := strings.Join(all, "; ")
	if line == l.last {
		return
	}
	l.last = line
	l.to.Status(line)
}

func phrase(p *bay.Picture) string {
	text := p.Stage.String() + ", charge " + p.Permit.String()
	if codes := p.Codes(); len(codes) > 0 {
		text += " (" + strings.Join(codes, ", ") + ")"
	}
	return text
}
