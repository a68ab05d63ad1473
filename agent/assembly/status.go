package assembly

import (
	"context"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/loop"
	"bayward/agent/systemd"
)

// statusOutput is the output for "systemctl status": one phrase for each bay.
type statusOutput struct {
	to      *systemd.Manager
	phrases map[string]string
	bays    []string
	last    string
}

func newStatusOutput(to *systemd.Manager) *statusOutput {
	return &statusOutput{to: to, phrases: map[string]string{}}
}

// Name implements loop.Output.
func (*statusOutput) Name() string { return "systemd" }

// Take implements loop.Output.
func (l *statusOutput) Take(_ context.Context, n *loop.News) {
	if _, seen := l.phrases[n.Bay]; !seen {
		l.bays = append(l.bays, n.Bay)
	}
	l.phrases[n.Bay] = phrase(n.Picture)
	all := make([]string, len(l.bays))
	for i, name := range l.bays {
		all[i] = name + " " + l.phrases[name]
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
