// Package walktest plays the person at the terminal of a walk in tests.
package walktest

import (
	"bytes"
	"strings"
	"sync"
	"testing"
)

// Person is the person at the walk's terminal. A question gets the answer of the
// first row whose text it contains, or else Enter.
type Person struct {
	Lines chan string // the answers
	t     *testing.T
	rows  [][2]string

	mu   sync.Mutex // guards what follows
	text strings.Builder
	from int // start of the text that is not answered yet
}

// usual returns truthful answers to everything.
func usual() [][2]string {
	return [][2]string{
		{"Your name", "A. Person"}, {`"charger locked off"`, "charger locked off"}, {`"charger off"`, "charger off"},
		{"to sign", "A. Person"}, {`Type "again"`, "next"},
		{"clamp meter, amperes", "METER"}, {"Clamp meter now", "METER"}, {"Hand meter, volts", "METER"}, {"The meter across", "METER"},
		{"Reference thermometer", "METER"}, {"Level rod", "METER"}, {"Hydrogen in the test gas", "1.0"},
		{"Why is it left out", "no instrument here"},
	}
}

// NewPerson returns a person who answers everything truthfully, except for the given
// rows: a piece of the question, and its answer.
func NewPerson(t *testing.T, first ...[2]string) *Person {
	return &Person{t: t, rows: append(first, usual()...), Lines: make(chan string, 64)}
}

// Write takes the terminal's output.
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

// Said returns everything that the terminal has shown, with single spaces.
func (p *Person) Said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(strings.Fields(p.text.String()), " ")
}

// Types returns what the person types in response to more text.
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

// Shown returns everything that the terminal has shown, with its line ends.
func (p *Person) Shown() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}
