package config

import (
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"bayward/agent/words"
)

// written returns a scalar as a complaint shows it.
func written(node ast.Node) string {
	switch n := node.(type) {
	case *ast.StringNode:
		return printable(strconv.Quote(n.Value))
	case *ast.LiteralNode:
		return printable(strconv.Quote(n.Value.Value))
	case ast.MapNode:
		return someKeys
	case *ast.SequenceNode:
		return someList
	}
	if token := node.GetToken(); token != nil {
		return printable(strings.TrimSpace(token.Value))
	}
	return unreadably
}

// quoted returns a text as a complaint shows it.
func quoted(s string) string { return printable(strconv.Quote(s)) }

// printable shortens a text to one readable line.
func printable(s string) string {
	const most = 60
	runes := []rune(oneLine(s))
	if len(runes) > most {
		return string(runes[:most]) + "…"
	}
	return string(runes)
}

// oneLine removes characters that would break a terminal or a log.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if strconv.IsPrint(r) {
			return r
		}
		return '?'
	}, s)
}

// suggest finds the key that was probably meant and a hint that names it, "" for
// none.
func suggest(name string, keys []string) (meant string, hint words.Sentence) {
	best := slices.MinFunc(keys, func(a, b string) int { return distance(name, a) - distance(name, b) })
	if distance(name, best) <= max(1, len(best)/3) {
		return best, say("unknown-key-did-you-mean", best)
	}
	for _, key := range keys {
		if len(name) > 2 && (strings.HasPrefix(key, name+"_") || strings.HasSuffix(key, "_"+name)) {
			return key, say("unknown-key-did-you-mean", key)
		}
	}
	return "", say("unknown-key-known-here-are", strings.Join(keys, ", "))
}

// distance is the number of single-letter changes between two words.
func distance(a, b string) int {
	if len(a) > 64 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
