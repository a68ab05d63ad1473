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
// []Sentence for a list.
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

// Word writes a sentence.
func (v Voice) Word(s Sentence) string {
	values := make([]any, len(s.Values))
	for i, value := range s.Values {
		switch value := value.(type) {
		case Sentence:
			values[i] = v.Word(value)
		case []Sentence:
			values[i] = v.list(value)
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
