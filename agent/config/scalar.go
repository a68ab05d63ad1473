package config

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"bayward/agent/words"
)

func (d *decoder) scalar(field string, node ast.Node, v reflect.Value) {
	d.texts[field] = written(node)
	var want words.Sentence
	var ok bool
	switch v.Kind() {
	case reflect.String:
		want, ok = say("must-be-text"), storeText(node, v)
	case reflect.Bool:
		want, ok = say("must-be-true-or-false"), storeBool(node, v)
	case reflect.Float64:
		want, ok = say("must-be-a-number-without-quotes-and"), storeNumber(node, v)
	default:
		want, ok = say("must-be-a-whole-number-without-quotes"), storeWhole(node, v)
	}
	if !ok {
		d.complain(lineOf(node), field, d.texts[field], want)
	}
}

// storeText accepts whole numbers too: bus 1 and pack 36 are names.
func storeText(node ast.Node, v reflect.Value) bool {
	switch n := node.(type) {
	case *ast.StringNode:
		v.SetString(n.Value)
	case *ast.LiteralNode:
		v.SetString(strings.TrimSpace(n.Value.Value))
	case *ast.IntegerNode:
		v.SetString(n.Token.Value)
	default:
		return false
	}
	return true
}

func storeBool(node ast.Node, v reflect.Value) bool {
	n, ok := node.(*ast.BoolNode)
	if ok {
		v.SetBool(n.Value)
	}
	return ok
}

func storeNumber(node ast.Node, v reflect.Value) bool {
	switch n := node.(type) {
	case *ast.FloatNode:
		v.SetFloat(n.Value)
	case *ast.IntegerNode:
		if octal(n) {
			return false
		}
		f, err := strconv.ParseFloat(fmt.Sprint(n.Value), 64)
		if err != nil {
			return false
		}
		v.SetFloat(f)
	default:
		return false // includes .nan and .inf
	}
	return true
}

// octal detects numbers with a leading zero, which YAML versions read differently.
func octal(n *ast.IntegerNode) bool {
	digits := strings.TrimLeft(n.Token.Value, "+-")
	return len(digits) > 1 && digits[0] == '0' && digits[1] != 'x'
}

func storeWhole(node ast.Node, v reflect.Value) bool {
	n, ok := node.(*ast.IntegerNode)
	if !ok || octal(n) {
		return false
	}
	i, err := strconv.ParseInt(fmt.Sprint(n.Value), 10, 64)
	if err != nil {
		return false
	}
	if v.Kind() == reflect.Uint16 {
		fits := i >= 0 && i <= math.MaxUint16
		if fits {
			v.SetUint(uint64(i))
		}
		return fits
	}
	fits := !v.OverflowInt(i)
	if fits {
		v.SetInt(i)
	}
	return fits
}
