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
)

// ErrEnded reports that no answer can come any more: the input has ended, or the
// output cannot be written.
var ErrEnded = errors.New("nobody answers any more")

// ErrQuit reports that the person ended the walk.
var ErrQuit = errors.New("ended by the person")

// Console is the person at the terminal.
type Console struct {
	Out   io.Writer
	Lines <-chan string // typed lines without line ends; closed when the input ends
	lost  error
}

// say prints a paragraph, wrapped.
func (c *Console) say(format string, args ...any) { c.put("", fmt.Sprintf(format, args...)) }

// item prints an indented paragraph.
func (c *Console) item(format string, args ...any) { c.put("  ", fmt.Sprintf(format, args...)) }

// gap prints an empty line.
func (c *Console) gap() { c.write("\n") }

func (c *Console) put(indent, text string) { c.write(terminal.Wrap(indent, indent, text) + "\n") }

// write records a failed write; the next question returns it.
func (c *Console) write(text string) {
	if _, err := io.WriteString(c.Out, text); err != nil && c.lost == nil {
		c.lost = err
	}
}

// ask prints a question and waits for a line. Every question accepts "quit".
func (c *Console) ask(ctx context.Context, question string) (string, error) {
	c.write(terminal.Wrap("", "", question+" >") + " ")
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
		line = strings.TrimSpace(line)
		if strings.EqualFold(line, "quit") {
			return "", ErrQuit
		}
		return line, nil
	}
}

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
		line = strings.TrimSpace(line)
		if strings.EqualFold(line, "quit") {
			return "", false, ErrQuit
		}
		return line, true, nil
	default:
		return "", false, nil
	}
}

// confirm requires one phrase, word for word, so it cannot be given by pressing a
// key out of habit. Any other answer is a no.
func (c *Console) confirm(ctx context.Context, phrase string) (bool, error) {
	answer, err := c.ask(ctx, "Type "+strconv.Quote(phrase)+" if that is so")
	return strings.EqualFold(strings.Join(strings.Fields(answer), " "), phrase), err
}

// figure is a number that a person typed: its value and one step of its last digit.
// A meter reading cannot be more accurate than that step.
type figure struct{ value, digit float64 }

// number asks until it gets a number between two bounds; skipped reports that the
// answer was "skip".
func (c *Console) number(ctx context.Context, question string, low, high float64) (f figure, skipped bool, err error) {
	for {
		answer, err := c.ask(ctx, question)
		if err != nil {
			return figure{}, false, err
		}
		if strings.EqualFold(answer, "skip") {
			return figure{}, true, nil
		}
		f, ok := parseFigure(answer)
		switch {
		case !ok:
			c.say("%q is no number. Type it as the meter shows it, such as 24.6, without a unit, or \"skip\".", answer)
		case f.value < low || f.value > high:
			c.say("%s is not between %s and %s. Look again, at the unit and at the sign too.", answer, short(low), short(high))
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

// short formats a number with at most four significant digits.
func short(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
