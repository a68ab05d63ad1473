// Package walktest plays the person at the terminal of a walk in tests.
package walktest

import (
	"bytes"
	"strings"
	"sync"
	"testing"

	"bayward/agent/words"
)

// Person is the person at the walk's terminal. A question gets the answer of the
// first row whose text it contains, or else Enter.
type Person struct {
	Lines chan string // the answers
	t     *testing.T
	rows  [][2]string
	shows string // how the simulator introduces the meter's figure

	mu   sync.Mutex // guards what follows
	text strings.Builder
	from int // start of the text that is not answered yet
}

// usual returns truthful answers to everything.
func usual(v words.Voice) [][2]string {
	rows := [][2]string{
		{v.Say("walk.ask.name"), "A. Person"}, {v.Say("walk.ask.sign", "A. Person"), "A. Person"},
		{v.Say("walk.ask.again"), v.Say("walk.type.next")},
		{v.Say("walk.ask.hydrogen"), "1.0"}, {v.Say("walk.ask.why"), "no instrument here"},
	}
	for _, phrase := range []string{"locked", "off", "on"} {
		phrase = v.Say("walk.type." + phrase)
		rows = append(rows, [2]string{v.Say("walk.ask.confirm", phrase), phrase})
	}
	for _, key := range []string{"current", "current.load", "voltage", "voltage.zero", "thermometer", "level", "insulation.plus", "insulation.minus"} {
		rows = append(rows, [2]string{v.Say("walk.ask." + key), "METER"})
	}
	return rows
}

// NewPerson returns a person who reads English and answers everything truthfully,
// except for the given rows: a piece of the question, and its answer.
func NewPerson(t *testing.T, first ...[2]string) *Person {
	return NewPersonIn(t, words.EnglishSI(), first...)
}

// NewPersonIn returns a person who reads a language.
func NewPersonIn(t *testing.T, v words.Voice, first ...[2]string) *Person {
	shows, _, _ := strings.Cut(v.Say("walk.simulator.shows", 0.0), "0")
	return &Person{t: t, shows: shows, rows: append(first, usual(v)...), Lines: make(chan string, 64)}
}

// Write takes the terminal's output.
func (p *Person) Write(text []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.text.Write(text)
	if !bytes.HasSuffix(text, []byte("> ")) {
		return len(text), nil
	}
	asked := p.text.String()[p.from:]
	p.from = p.text.Len()
	question := strings.Join(strings.Fields(asked), " ")
	p.Lines <- p.answer(question)
	return len(text), nil
}

func (p *Person) answer(asked string) string {
	for _, row := range p.rows {
		if !strings.Contains(asked, row[0]) {
			continue
		}
		if row[1] != "METER" {
			return row[1]
		}
		at := strings.LastIndex(asked, p.shows)
		if at < 0 {
			p.t.Errorf("no simulated meter before: %s", asked)
			return ""
		}
		shown, _, _ := strings.Cut(asked[at+len(p.shows):], " ")
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
