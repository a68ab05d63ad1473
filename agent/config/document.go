package config

import (
	"cmp"
	"slices"
	"strconv"

	"github.com/goccy/go-yaml/ast"
)

// Document is a YAML file of another shape than a configuration, such as the file of a
// whole fleet, that is read by the rules of one: every key is known, and every complaint
// names its line.
type Document struct{ check *checker }

// Decode reads a file of at most so many bytes into a struct with yaml tags; complaints
// use name as the file name. It returns nil, and an *Error, for what is no YAML at all.
// Everything else that is wrong is in the document's Err.
func Decode(name string, data []byte, most int, into any) (*Document, error) {
	d := newDecoder(name)
	doc := &Document{&checker{decoder: d, claims: map[string]claim{}}}
	if !d.decodeInto(data, most, into) {
		return nil, doc.Err()
	}
	return doc, nil
}

// Line returns the line of a field, or of the part that lacks it.
func (d *Document) Line(field string) int { return d.check.line(field) }

// Present reports whether the file sets the field.
func (d *Document) Present(field string) bool { return d.check.present(field) }

// Usable reports whether nobody has complained about any of the fields.
func (d *Document) Usable(fields ...string) bool { return d.check.usable(fields...) }

// Fields checks the keys of a part, a pointer to its struct, that have a rule in their
// tags, and fills in defaults.
func (d *Document) Fields(field string, part any) { d.check.fields(field, part) }

// Name checks a name as that of a site or of an agent.
func (d *Document) Name(field, value string) { d.check.name(field, value) }

// Reject complains about a field once, with what is accepted instead, in English.
func (d *Document) Reject(field, accepted string) { d.check.reject(field, say("plain", accepted)) }

// Require complains about a field that the file does not set, with what is accepted. It
// returns false for one that is not set or that somebody has complained about.
func (d *Document) Require(field, accepted string) bool {
	return !d.check.missing(field, say("plain", accepted)) && d.Usable(field)
}

// Adopt takes over the complaints about a configuration that was made from this file.
// The function tells from which of its fields a field of the configuration came.
func (d *Document) Adopt(e *Error, from func(field string) string) {
	for _, p := range e.Problems {
		p.File, p.Field = d.check.file, from(p.Field)
		p.Line = d.Line(p.Field)
		if !slices.ContainsFunc(d.check.problems, func(q Problem) bool { return p.String() == q.String() }) {
			d.check.problems = append(d.check.problems, p)
			d.check.bad[p.Field] = true
		}
	}
}

// Err returns nil, or an *Error with every complaint in the order of the lines.
func (d *Document) Err() error {
	all := d.check.problems
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b Problem) int { return cmp.Compare(a.Line, b.Line) })
	return &Error{all}
}

// Piece is a value of a document that is taken as written, to become part of a
// configuration. It is one of a mapping, a list or a scalar.
type Piece struct {
	Keys  []Key   // of a mapping, in the order of the file
	Items []Piece // of a list
	Text  string  // a scalar as YAML reads it; text is quoted
	List  bool    // also for an empty list
}

// Key is one key of a mapping with its value.
type Key struct {
	Name  string
	Value Piece
}

// Get returns the value of a key, nil for one that is not there.
func (p *Piece) Get(name string) *Piece {
	for i := range p.Keys {
		if p.Keys[i].Name == name {
			return &p.Keys[i].Value
		}
	}
	return nil
}

// piece copies a node and notes the line of every field in it.
func (d *decoder) piece(field string, node ast.Node) (p Piece) {
	switch n := node.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		d.complain(lineOf(node), field, "", say("anchors-aliases-and-tags-are-not-accepted"))
	case ast.MapNode:
		for it := n.MapRange(); it.Next(); {
			d.pieceKey(field, &p, it.Key(), it.Value())
		}
	case *ast.SequenceNode:
		p.List = true
		for i, entry := range n.Values {
			at := field + "[" + strconv.Itoa(i) + "]"
			d.lines[at] = lineOf(entry)
			p.Items = append(p.Items, d.piece(at, entry))
		}
	case *ast.StringNode:
		p.Text = strconv.Quote(n.Value)
	case *ast.LiteralNode:
		p.Text = strconv.Quote(n.Value.Value)
	case *ast.NullNode:
		p.Text = "null"
	default:
		if token := node.GetToken(); token != nil {
			p.Text = token.Value
		}
	}
	return p
}

func (d *decoder) pieceKey(parent string, p *Piece, key, value ast.Node) {
	name := ""
	if token := key.GetToken(); token != nil {
		name = token.Value
	}
	field := parent + "." + printable(name)
	if first := d.lines[field]; first > 0 {
		d.complain(lineOf(key), field, "", say("is-given-twice-first-in-line", first))
		return
	}
	d.lines[field] = lineOf(key)
	p.Keys = append(p.Keys, Key{name, d.piece(field, value)})
}
