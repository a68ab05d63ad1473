package commission

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"bayward/agent/terminal"
	"bayward/agent/words"
)

// ErrEnded reports that no more answers can be read: the input has ended, or the
// output cannot be written.
var ErrEnded = errors.New("no more answers can be read")

// ErrQuit reports that the person ended the walk.
var ErrQuit = errors.New("ended by the person")

// Console is the person at the terminal.
type Console struct {
	Voice words.Voice // the person's language
	Out   io.Writer
	Lines <-chan string // typed lines without line ends; closed when the input ends
	lost  error
}

// say prints a paragraph, wrapped: a text of agent/words with its values.
func (c *Console) say(key string, values ...any) { c.put("", words.Of(key, values...)) }

// item prints an indented paragraph.
func (c *Console) item(s words.Sentence) { c.put("  ", s) }

// gap prints an empty line.
func (c *Console) gap() { c.write("\n") }

func (c *Console) put(indent string, s words.Sentence) {
	c.write(terminal.Wrap(indent, indent, c.Voice.Word(s)) + "\n")
}

// write records a failed write; the next question returns it.
func (c *Console) write(text string) {
	if _, err := io.WriteString(c.Out, text); err != nil && c.lost == nil {
		c.lost = err
	}
}

// ask prints a question and waits for a line. Every question accepts "quit".
func (c *Console) ask(ctx context.Context, key string, values ...any) (string, error) {
	c.write(terminal.Wrap("", "", c.Voice.Word(words.Of(key, values...))+" >") + " ")
	if c.lost != nil {
		return "", fmt.Errorf("%w: %w", ErrEnded, c.lost)
	}
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case line, ok := <-c.Lines:
		if !ok {
			return "", ErrEnded
		}
		return c.unlessQuit(line)
	}
}

func (c *Console) unlessQuit(line string) (string, error) {
	line = strings.TrimSpace(line)
	if c.is(line, typedQuit) {
		return "", ErrQuit
	}
	return line, nil
}

// The words that a person types, as keys of agent/words.
const (
	typedSkip  = "walk.type.skip"
	typedQuit  = "walk.type.quit"
	typedAgain = "walk.type.again"
	typedNext  = "walk.type.next"
)

// is reports whether a line is a word of the person's language.
func (c *Console) is(line, key string) bool { return strings.EqualFold(line, c.Voice.Say(key)) }

// typed returns a line that has been typed meanwhile, without waiting.
func (c *Console) typed() (line string, ok bool, err error) {
	if c.lost != nil {
		return "", false, fmt.Errorf("%w: %w", ErrEnded, c.lost)
	}
	select {
	case line, open := <-c.Lines:
		if !open {
			return "", false, ErrEnded
		}
		line, err = c.unlessQuit(line)
		return line, err == nil, err
	default:
		return "", false, nil
	}
}

// confirm requires one phrase, word for word, so it cannot be given by pressing a
// key out of habit. Any other answer is a no, but an empty line is none: who pressed Enter
// once more while the readings ran past is asked again.
func (c *Console) confirm(ctx context.Context, phrase string) (bool, error) {
	for {
		answer, err := c.ask(ctx, "walk.ask.confirm", words.Of(phrase))
		if err != nil || answer != "" {
			return c.is(strings.Join(strings.Fields(answer), " "), phrase), err
		}
	}
}

// figure is a number that a person typed: its value and one step of its last digit.
// A meter reading cannot be more accurate than that step.
type figure struct{ value, digit float64 }

// number asks until it gets a number between two bounds; skipped reports that the
// answer was "skip".
func (c *Console) number(ctx context.Context, key string, low, high float64) (f figure, skipped bool, err error) {
	for {
		answer, err := c.ask(ctx, key)
		if err != nil {
			return figure{}, false, err
		}
		if c.is(answer, typedSkip) {
			return figure{}, true, nil
		}
		f, ok := parseFigure(answer)
		switch {
		case !ok:
			c.say("walk.number.bad", answer)
		case f.value < low || f.value > high:
			c.say("walk.number.range", answer, low, high)
		default:
			return f, false, nil
		}
	}
}

// parseFigure accepts a decimal point or a decimal comma.
func parseFigure(s string) (figure, bool) {
	s = strings.Replace(strings.TrimSpace(s), ",", ".", 1)
	if strings.ContainsAny(s, "eExXpP_nN") { // ParseFloat accepts these; no meter shows them
		return figure{}, false
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return figure{}, false
	}
	_, decimals, _ := strings.Cut(s, ".")
	return figure{v, math.Pow(10, -float64(len(decimals)))}, true
}

// short rounds a number to four significant digits.
func short(v float64) float64 {
	out, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	return out
}
