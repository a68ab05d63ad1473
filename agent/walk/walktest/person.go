// Package walktest sits at the terminal of a walk in tests.
package walktest

import (
	"bytes"
	"strings"
	"sync"
	"testing"
)

// Person sits at the walk's terminal: a question is answered by the first row whose
// text is in it, and by Enter otherwise.
type Person struct {
	Lines chan string // the answers
	t     *testing.T
	rows  [][2]string

	mu   sync.Mutex // guards what follows
	text strings.Builder
	from int // where the text begins that is not answered yet
}

// usual answers everything truthfully.
func usual() [][2]string {
	return [][2]string{
		{"Your name", "A. Person"}, {`"charger locked off"`, "charger locked off"}, {`"charger off"`, "charger off"},
		{"to sign", "A. Person"}, {`Type "again"`, "next"},
		{"clamp meter, amperes", "METER"}, {"Clamp meter now", "METER"}, {"Hand meter, volts", "METER"}, {"The meter across", "METER"},
		{"Reference thermometer", "METER"}, {"Level rod", "METER"}, {"Hydrogen in the test gas", "1.0"},
		{"Why is it left out", "no instrument here"},
	}
}

// NewPerson answers everything truthfully, but what the rows say otherwise: a piece
// of the question, and the answer to it.
func NewPerson(t *testing.T, first ...[2]string) *Person {
	return &Person{t: t, rows: append(first, usual()...), Lines: make(chan string, 64)}
}

// Write is the terminal.
func (p *Person) Write(text []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.text.Write(text)
	if !bytes.HasSuffix(text, []byte(" > ")) {
		return len(text), nil
	}
	asked := p.text.String()[p.from:]
	p.from = p.text.Len()
	question := strings.Join(strings.Fields(asked), " ")
	p.Lines <- p.answer(question)
	return len(text), nil
}

func (p *Person) answer(asked string) string {
	at := max(strings.LastIndex(asked, "Simulator: "), 0)
	for _, row := range p.rows {
		if !strings.Contains(asked, row[0]) {
			continue
		}
		if row[1] != "METER" {
			return row[1]
		}
		_, shown, ok := strings.Cut(asked[at:], " shows ")
		if !ok {
			p.t.Errorf("no simulated meter before: %s", asked)
			return "skip"
		}
		shown, _, _ = strings.Cut(shown, " ")
		return strings.TrimSuffix(shown, ".")
	}
	return ""
}

// Said is all that the terminal has shown, with single spaces.
func (p *Person) Said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(strings.Fields(p.text.String()), " ")
}

// Types is what the person types after some more text.
func (p *Person) Types(text []byte) string {
	if _, err := p.Write(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))); err != nil {
		return ""
	}
	select {
	case line := <-p.Lines:
		return line + "\n"
	default:
		return ""
	}
}

// Shown is all that the terminal has shown, with its line ends.
func (p *Person) Shown() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}
