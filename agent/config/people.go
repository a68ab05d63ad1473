package config

import (
	"fmt"
	"strings"
	"unicode"

	"golang.org/x/crypto/bcrypt"
)

// Person may sign in on the page and over the interface.
type Person struct {
	Name string `yaml:"name" required:"yes"` // 1 to 60 printable characters, unique
	// Role is "look" (read and hold), "visit" (also open, work and close visits, and
	// remove one's own hold) or "release" (also release what latched, and remove
	// another person's lock).
	Role string `yaml:"role" accept:"look, visit or release"`
	// PINHash is the PIN's bcrypt hash, printed by "bayward pin". The PIN itself is
	// never stored.
	PINHash string `yaml:"pin_hash" required:"yes"`
	// MQTTKeyFile is a file with the public key (Ed25519, PEM) that verifies the
	// person's signed orders. It is not secret.
	MQTTKeyFile string `yaml:"mqtt_key_file"`
}

const (
	maxPeople    = 200
	maxNameRunes = 60
	leastCost    = 10 // of a bcrypt hash: below, guessing is cheap
	mostCost     = 14 // above, a small computer takes many seconds for a right PIN
)

// peopleCheck checks who may sign in.
type peopleCheck struct{ *checker }

func (c peopleCheck) people(all []Person) {
	if len(all) > maxPeople {
		c.reject("people", say("must-be-at-most", maxPeople))
		return
	}
	lines := map[string]int{}
	for i := range all {
		p, at := &all[i], fmt.Sprintf("people[%d].", i)
		c.personName(at+"name", p.Name, lines)
		c.fields(fmt.Sprintf("people[%d]", i), p)
		c.pinHash(at+"pin_hash", p.PINHash)
		c.nonEmpty(at+"mqtt_key_file", p.MQTTKeyFile)
	}
}

func (c peopleCheck) personName(field, name string, lines map[string]int) {
	rule := say("must-be-the-person-s-name-1")
	if c.missing(field, rule) || c.bad[field] {
		return
	}
	unfit := name == "" || name != strings.TrimSpace(name) || len([]rune(name)) > maxNameRunes || strings.Contains(name, ":")
	if unfit || strings.IndexFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) >= 0 {
		c.reject(field, say("must-be-the-person-s-name-1-2"))
		return
	}
	if line := lines[name]; line > 0 {
		c.reject(field, say("is-taken-by-the-person-in-line", line))
		return
	}
	lines[name] = c.line(field)
}

func (c peopleCheck) pinHash(field, hash string) {
	rule := say("must-be-a-bcrypt-hash-with-a")
	if c.missing(field, rule) || c.bad[field] {
		return
	}
	cost, err := bcrypt.Cost([]byte(hash))
	if err != nil || cost < leastCost || cost > mostCost {
		c.texts[field] = "" // the text may be the PIN itself
		c.reject(field, rule)
	}
}
