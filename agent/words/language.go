package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed *.json
var files embed.FS

// English is the default language: it is used where no other was chosen, and
// always on MQTT.
const English = "en"

// Languages returns the names of all languages, English first: one for each file.
func Languages() []string {
	entries, err := files.ReadDir(".")
	if err != nil {
		panic("bug: " + err.Error())
	}
	names := []string{English}
	for _, e := range entries {
		if name := strings.TrimSuffix(e.Name(), ".json"); name != English {
			names = append(names, name)
		}
	}
	return names
}

// catalogue is one language: the text for each key.
type catalogue struct {
	name  string
	texts map[string]string
}

// catalogues are read when the first sentence of a language is needed: a start
// should not wait for a language that is not read.
var catalogues = func() map[string]func() *catalogue {
	all := map[string]func() *catalogue{}
	for _, name := range Languages() {
		all[name] = sync.OnceValue(func() *catalogue { return readCatalogue(name) })
	}
	return all
}()

// readCatalogue reads an embedded file; a fault in one fails every test.
func readCatalogue(name string) *catalogue {
	data, err := files.ReadFile(name + ".json")
	if err != nil {
		panic("bug: " + err.Error())
	}
	c := &catalogue{name: name}
	if err := json.Unmarshal(data, &c.texts); err != nil {
		panic("bug: words of " + name + ": " + err.Error())
	}
	return c
}

// IsLanguage reports whether there is a language of this name.
func IsLanguage(name string) bool { return slices.Contains(Languages(), name) }

// missing marks a key without a text.
const missing = "⟦"

// say returns the text of a key. A missing key shows in the text.
func (c *catalogue) say(key string, args ...any) string {
	text, ok := c.texts[key]
	if !ok {
		return missing + key + "⟧"
	}
	if len(args) == 0 || !strings.Contains(text, "%") {
		return text
	}
	return fmt.Sprintf(text, c.numbers(args)...)
}

// numbers makes fractions use the decimal point of the language.
func (c *catalogue) numbers(args []any) []any {
	all := make([]any, len(args))
	for i, arg := range args {
		all[i] = arg
		if x, ok := arg.(float64); ok {
			all[i] = fraction{x, c}
		}
	}
	return all
}

// point changes a number's decimal point to that of the language.
func (c *catalogue) point(number string) string {
	return strings.Replace(number, ".", c.texts["lang.point"], 1)
}

// fraction is a number that a sentence formats.
type fraction struct {
	x     float64
	words *catalogue
}

// Format writes the number as its verb requires; "v" gives all its digits. A number
// that rounds to zero is 0, never -0.
func (f fraction) Format(state fmt.State, verb rune) {
	text := strconv.FormatFloat(f.x, 'f', -1, 64)
	if verb != 'v' {
		text = fmt.Sprintf(fmt.FormatString(state, verb), f.x)
	}
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	_, _ = io.WriteString(state, f.words.point(text))
}
