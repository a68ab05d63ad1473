package config

import (
	"errors"
	"fmt"
	"reflect"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"bayward/agent/words"
)

// decoder fills a Config from the syntax tree of the YAML library. The library's own
// strict decoding stops at the first fault, turns 1.5 into the whole number 1 and
// loses the position of a value. The decoder keeps every fault with its line for the
// checks that follow.
type decoder struct {
	file     string
	lines    map[string]int    // field to line, for every field that is set
	texts    map[string]string // field to value as written
	bad      map[string]bool   // fields already complained about
	problems []Problem
}

func newDecoder(file string) *decoder {
	return &decoder{file: file, lines: map[string]int{}, texts: map[string]string{}, bad: map[string]bool{}}
}

func (d *decoder) complain(line int, field, value string, accepted words.Sentence) {
	if field != "" {
		d.bad[field] = true
	}
	d.problems = append(d.problems, problem(d.file, line, field, value, accepted))
}

// decode returns nil if nothing is left to check.
func (d *decoder) decode(data []byte) *Config {
	var c Config
	if !d.decodeInto(data, maxBytes, &c) {
		return nil
	}
	return &c
}

// decodeInto fills a struct, to which into points. It returns false if nothing is left to
// check.
func (d *decoder) decodeInto(data []byte, most int, into any) bool {
	if why := foreign(data, most); why.Key != "" {
		return d.useless(why)
	}
	if tooDeep(data) {
		return d.useless(say("too-many-brackets-are-open-at-once"))
	}
	file, err := parse(data)
	if err != nil {
		d.syntax(err)
		return false
	}
	body := d.onlyDocument(file)
	if body == nil {
		return false
	}
	if _, ok := body.(ast.MapNode); !ok {
		d.complain(lineOf(body), "", written(body), say("must-be-keys-with-values-such-as"))
		return false
	}
	d.into("", body, reflect.ValueOf(into).Elem())
	return true
}

// useless complains about the file as a whole.
func (d *decoder) useless(why words.Sentence) bool {
	d.complain(0, "", "", why)
	return false
}

// parse recovers from a panic of the parser, which reads untrusted bytes.
func parse(data []byte) (file *ast.File, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the YAML parser gave up: %v", r)
		}
	}()
	return parser.ParseBytes(data, 0)
}

// maxDepth bounds nested brackets and indents, because the parser recurses.
const maxDepth = 64

// tooDeep overcounts: it includes brackets in text and comments. No real
// configuration reaches the limit.
func tooDeep(data []byte) bool {
	depth, deepest, dashes := 0, 0, 0
	for _, b := range data {
		switch b {
		case '[', '{':
			depth++
		case ']', '}':
			depth = max(0, depth-1)
		case '\n':
			dashes = 0
		case '-', '?', ':':
			dashes++ // "- - - -" nests without brackets
		}
		deepest = max(deepest, depth, dashes-128)
	}
	return deepest > maxDepth
}

func (d *decoder) syntax(err error) {
	line, message := 0, err.Error()
	var located yaml.Error
	if errors.As(err, &located) {
		message = located.GetMessage()
		if token := located.GetToken(); token != nil && token.Position != nil {
			line = token.Position.Line
		}
	}
	message = strings.ReplaceAll(message, "\t", "TAB")
	d.complain(line, "", "", say("not-well-formed-yaml", strings.Join(strings.Fields(message), " ")))
}

// onlyDocument returns the single document of a configuration.
func (d *decoder) onlyDocument(file *ast.File) ast.Node {
	var bodies []ast.Node
	for _, doc := range file.Docs {
		if doc == nil || doc.Body == nil {
			continue
		}
		switch doc.Body.(type) {
		case *ast.CommentGroupNode, *ast.NullNode, *ast.DirectiveNode:
			continue
		}
		bodies = append(bodies, doc.Body)
	}
	switch len(bodies) {
	case 0:
		d.complain(0, "", "", say("the-file-is-empty-deploy-bayward-yaml"))
		return nil
	case 1:
		return bodies[0]
	}
	d.complain(lineOf(bodies[1]), "", "", say("a-second-yaml-document-begins-here-a"))
	return nil
}

func lineOf(node ast.Node) int {
	if token := node.GetToken(); token != nil && token.Position != nil {
		return token.Position.Line
	}
	return 0
}
