// Package manual describes the command line from its own model.
//
// So it cannot describe a flag that does not exist.
package manual

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// manualEnd is what the model does not know: files, environment, signals.
//
//go:embed manual.mdoc
var manualEnd string

// WritePage prints the page in mdoc, the language of BSD manuals, which man reads
// too. About is what the program is, and the page bears the day's date.
func WritePage(out io.Writer, root *kong.Node, about string, day time.Time) error {
	w := bufio.NewWriter(out)
	m := mdoc{w}
	m.line(".Dd " + day.Format("January 2, 2006"))
	m.line(".Dt BAYWARD 1\n.Os\n.Sh NAME\n.Nm bayward\n.Nd guard of the lead-acid battery on a charging bay")
	m.line(".Sh SYNOPSIS\n.Nm\n.Ar command\n.Op Ar option ...\n.Sh DESCRIPTION")
	m.text(about)
	m.line(".Sh COMMANDS\n.Bl -tag -width Ds")
	m.commands(root)
	m.line(".El")
	m.line(strings.TrimSpace(manualEnd))
	return w.Flush()
}

// mdoc writes a manual page.
type mdoc struct{ w io.Writer }

func (m mdoc) line(s string) { _, _ = fmt.Fprintln(m.w, s) }

// commands lists every command that is not hidden, those of groups too.
func (m mdoc) commands(n *kong.Node) {
	for _, c := range n.Children {
		switch {
		case c.Hidden:
		case c.Leaf():
			m.command(c)
		default:
			m.commands(c)
		}
	}
}

func (m mdoc) command(n *kong.Node) {
	m.line(".It Xo")
	m.line(".Nm\n.Cm " + n.Path())
	flags := shownFlags(n)
	for _, f := range flags {
		if f.Required {
			m.line(".Fl -" + f.Name + value(f))
		} else {
			m.line(".Op Fl -" + f.Name + value(f))
		}
	}
	for _, a := range n.Positional {
		if a.Required {
			m.line(".Ar " + a.Name)
		} else {
			m.line(".Op Ar " + a.Name)
		}
	}
	m.line(".Xc")
	m.text(n.Help)
	if n.Detail != "" {
		m.line(".Pp")
		m.text(n.Detail)
	}
	if len(flags)+len(n.Positional) == 0 {
		return
	}
	m.line(".Bl -tag -width Ds")
	for _, f := range flags {
		m.line(".It Fl -" + f.Name + value(f))
		m.text(f.Help)
	}
	for _, a := range n.Positional {
		m.line(".It Ar " + a.Name)
		m.text(a.Help)
	}
	m.line(".El")
}

// shownFlags are a command's own; --help is everybody's.
func shownFlags(n *kong.Node) []*kong.Flag {
	var flags []*kong.Flag
	for _, f := range n.Flags {
		if !f.Hidden && f.Name != "help" {
			flags = append(flags, f)
		}
	}
	return flags
}

// value is what follows a flag.
func value(f *kong.Flag) string {
	if f.IsBool() {
		return ""
	}
	return " Ar " + strings.Trim(f.FormatPlaceHolder(), `"`)
}

var sentenceEnd = regexp.MustCompile(`([.!?]) ([A-Z])`)

// text writes prose: paragraphs apart, each sentence on a line of its own, as
// the language asks.
func (m mdoc) text(s string) {
	for i, paragraph := range strings.Split(strings.TrimSpace(s), "\n\n") {
		if i > 0 {
			m.line(".Pp")
		}
		joined := strings.Join(strings.Fields(paragraph), " ")
		for sentence := range strings.Lines(sentenceEnd.ReplaceAllString(joined, "$1\n$2")) {
			m.wrapped(strings.TrimSpace(sentence))
		}
	}
}

// wrapped breaks a sentence into lines of less than 80 characters.
func (m mdoc) wrapped(sentence string) {
	line := ""
	for _, word := range strings.Fields(sentence) {
		if line != "" && len(line)+len(word) > 74 {
			m.line(plain(line))
			line = ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	m.line(plain(line))
}

// plain keeps the typesetter from taking text for an order.
func plain(line string) string {
	line = strings.ReplaceAll(line, `\`, `\e`)
	if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
		line = `\&` + line
	}
	return line
}
