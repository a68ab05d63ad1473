package words

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"bayward/agent/reading"
)

// Sentence is a text as data: its key and the values in it. It can be stored, and
// worded later in any language. A value is a string, a float64, a Sentence, or a
// []Sentence for a list; in one that is not stored also an error or what a format takes.
type Sentence struct {
	Key    string `json:"key"`
	Values []any  `json:"values,omitempty"`
}

// Of makes a sentence.
func Of(key string, values ...any) Sentence { return Sentence{key, values} }

// OfFault is why a reading cannot be used, for use after a colon.
func OfFault(f reading.Fault) Sentence {
	if f == reading.None || f == reading.Missing || slices.Contains(reading.Faults(), f) {
		return Of("fault." + f.String())
	}
	return Of("fault.unknown")
}

// Err is the sentence as an error, which can be worded in any language. Errors among its
// values are worded too, and errors.Is and errors.As find them.
func (s Sentence) Err() error { return &sentenceError{s} }

// Fail makes a sentence that is an error.
func Fail(key string, values ...any) error { return Of(key, values...).Err() }

type sentenceError struct{ says Sentence }

func (e *sentenceError) Error() string     { return e.In(EnglishSI()) }
func (e *sentenceError) In(v Voice) string { return v.Word(e.says) }

func (e *sentenceError) Unwrap() (all []error) {
	for _, value := range e.says.Values {
		if err, ok := value.(error); ok {
			all = append(all, err)
		}
	}
	return all
}

// Word writes a sentence.
func (v Voice) Word(s Sentence) string {
	values := make([]any, len(s.Values))
	for i, value := range s.Values {
		switch value := value.(type) {
		case Sentence:
			values[i] = v.Word(value)
		case []Sentence:
			values[i] = v.list(value)
		case error:
			values[i] = v.Error(value)
		default:
			values[i] = value
		}
	}
	return v.Say(s.Key, values...)
}

func (v Voice) list(all []Sentence) string {
	parts := make([]string, len(all))
	for i, s := range all {
		parts[i] = v.Word(s)
	}
	return strings.Join(parts, "; ")
}

// UnmarshalJSON reads a stored sentence.
func (s *Sentence) UnmarshalJSON(data []byte) error {
	var raw struct {
		Key    string
		Values []json.RawMessage
	}
	if err := json.Unmarshal(data, &raw); err != nil {
		return err
	}
	*s = Sentence{Key: raw.Key}
	for i, text := range raw.Values {
		value, err := readValue(text)
		if err != nil {
			return fmt.Errorf("value %d of sentence %q: %w", i+1, raw.Key, err)
		}
		s.Values = append(s.Values, value)
	}
	return nil
}

func readValue(text json.RawMessage) (any, error) {
	switch text[0] {
	case '"':
		return read[string](text)
	case '{':
		return read[Sentence](text)
	case '[':
		return read[[]Sentence](text)
	}
	return read[float64](text)
}

func read[T any](text json.RawMessage) (any, error) {
	var value T
	err := json.Unmarshal(text, &value)
	return value, err
}

// WordOr writes a stored sentence, or the English text stored with it if a newer
// program wrote a sentence that this one does not have.
func (v Voice) WordOr(s Sentence, english string) string {
	if text := v.Word(s); !strings.Contains(text, missing) {
		return text
	}
	return english
}

// Worded is an error that can be worded in any language; Error gives it in English.
type Worded interface {
	error
	// In is the error in the language of a voice.
	In(v Voice) string
}

// Error words an error for a person: each part of it in the language that has one.
func (v Voice) Error(err error) string {
	text := err.Error()
	switch err := err.(type) { //nolint:errorlint // what wraps it is taken apart here
	case Worded:
		return err.In(v)
	case interface{ Unwrap() error }:
		if inner := err.Unwrap(); inner != nil {
			return strings.Replace(text, inner.Error(), v.Error(inner), 1)
		}
	case interface{ Unwrap() []error }:
		return v.joined(text, err.Unwrap())
	}
	return text
}

// joined words each of several errors where it stands in a text, in their order.
func (v Voice) joined(text string, all []error) string {
	var done strings.Builder
	for _, err := range all {
		if before, after, there := strings.Cut(text, err.Error()); there {
			done.WriteString(before + v.Error(err))
			text = after
		}
	}
	return done.String() + text
}
