package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
)

//go:embed *.json
var files embed.FS

// English is the first language: the one that is used where nobody asked for
// another, and always on MQTT.
const English = "en"

// Languages are the names of all languages, English first: one for each file.
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

// catalogue is one language: the text of each key.
type catalogue struct {
	name  string
	texts map[string]string
}

// catalogues are read when the first sentence of a language is wanted: a start
// should not wait for one that nobody reads.
var catalogues = func() map[string]func() *catalogue {
	all := map[string]func() *catalogue{}
	for _, name := range Languages() {
		all[name] = sync.OnceValue(func() *catalogue { return readCatalogue(name) })
	}
	return all
}()

// readCatalogue reads an embedded file; a fault in one shows in every test.
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

// IsLanguage tells whether there is a language of this name.
func IsLanguage(name string) bool { return slices.Contains(Languages(), name) }

// say gives the text of a key. A key that is missing shows itself.
func (c *catalogue) say(key string, args ...any) string {
	text, ok := c.texts[key]
	if !ok {
		return "⟦" + key + "⟧"
	}
	if len(args) == 0 || !strings.Contains(text, "%") {
		return text
	}
	return fmt.Sprintf(text, args...)
}
