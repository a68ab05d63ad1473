package config

import (
	"fmt"
	"reflect"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// into stores a node in a value of one of the types in Config.
func (d *decoder) into(field string, node ast.Node, v reflect.Value) {
	switch node.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		d.complain(lineOf(node), field, "", say("anchors-aliases-and-tags-are-not-accepted"))
		return
	case *ast.NullNode:
		d.null(field, node, v)
		return
	}
	if p, ok := v.Addr().Interface().(*Piece); ok {
		*p = d.piece(field, node)
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		d.into(field, node, v.Elem())
	case reflect.Struct:
		d.mapping(field, node, v)
	case reflect.Slice:
		d.sequence(field, node, v)
	case reflect.Map:
		d.numbers(field, node, v)
	default:
		d.scalar(field, node, v)
	}
}

// null handles a key without a value. A part whose content is commented out counts
// as absent; an empty number or word is a slip.
func (d *decoder) null(field string, node ast.Node, v reflect.Value) {
	kind := v.Kind()
	if kind == reflect.Pointer {
		kind = v.Type().Elem().Kind()
	}
	if kind != reflect.Struct && kind != reflect.Slice && kind != reflect.Map {
		d.complain(lineOf(node), field, "", say("has-no-value-give-it-one-or"))
	}
	delete(d.lines, field)
}

func (d *decoder) mapping(field string, node ast.Node, v reflect.Value) {
	places := map[string]reflect.Value{}
	d.pairs(field, node, keysOf(v, places), places)
}

// keyed is a map with a fixed set of keys.
type keyed interface{ Keys() []string }

// numbers fills a map of numbers and leaves out the invalid ones.
func (d *decoder) numbers(field string, node ast.Node, v reflect.Value) {
	of, ok := v.Interface().(keyed)
	if !ok {
		panic("bug: " + v.Type().String() + " has no fixed keys")
	}
	keys, places := of.Keys(), map[string]reflect.Value{}
	for _, key := range keys {
		places[key] = reflect.New(v.Type().Elem()).Elem()
	}
	d.pairs(field, node, keys, places)
	v.Set(reflect.MakeMap(v.Type()))
	for _, key := range keys {
		if at := field + "." + key; d.lines[at] > 0 && !d.bad[at] {
			v.SetMapIndex(reflect.ValueOf(key), places[key])
		}
	}
}

func (d *decoder) pairs(field string, node ast.Node, keys []string, places map[string]reflect.Value) {
	pairs, ok := node.(ast.MapNode)
	if !ok {
		d.complain(lineOf(node), field, written(node), say("must-be-keys-with-values-one-each"))
		return
	}
	for it := pairs.MapRange(); it.Next(); {
		d.pair(field, it.Key(), it.Value(), keys, places)
	}
}

func (d *decoder) pair(parent string, key, value ast.Node, keys []string, places map[string]reflect.Value) {
	name := ""
	if token := key.GetToken(); token != nil {
		name = token.Value
	}
	field := strings.TrimPrefix(parent+"."+printable(name), ".")
	place, ok := places[name]
	switch {
	case !ok:
		meant, hint := suggest(name, keys)
		d.complain(lineOf(key), field, "", hint)
		d.bad[strings.TrimPrefix(parent+"."+meant, ".")] = true // report one slip only once
		return
	case d.lines[field] > 0:
		d.complain(lineOf(key), field, "", say("is-given-twice-first-in-line", d.lines[field]))
		return
	}
	d.lines[field] = lineOf(key)
	d.into(field, value, place)
}

// keysOf lists the keys of a struct in order and records their places.
func keysOf(v reflect.Value, places map[string]reflect.Value) []string {
	var keys []string
	for i := range v.NumField() {
		name, option, _ := strings.Cut(v.Type().Field(i).Tag.Get("yaml"), ",")
		if option == "inline" {
			keys = append(keys, keysOf(v.Field(i), places)...)
			continue
		}
		keys = append(keys, name)
		places[name] = v.Field(i)
	}
	return keys
}

func (d *decoder) sequence(field string, node ast.Node, v reflect.Value) {
	list, ok := node.(*ast.SequenceNode)
	if !ok {
		d.complain(lineOf(node), field, written(node), say("must-be-a-list-each-entry-on"))
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(list.Values), len(list.Values)))
	for i, entry := range list.Values {
		name := fmt.Sprintf("%s[%d]", field, i)
		d.lines[name] = lineOf(entry)
		d.into(name, entry, v.Index(i))
		if _, empty := entry.(*ast.NullNode); empty {
			d.complain(lineOf(entry), name, "", say("has-no-value-give-it-one-or-2"))
		}
	}
}
