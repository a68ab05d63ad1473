// Command picture draws a board with data from a running Prometheus.
//
// It is not Grafana: layout, titles, queries, legends, words and colours come from
// the board's JSON; everything else (axes, fonts, spacing) is its own and simpler.
// It is for the README, and to see in a review what a change does.
//
//	go test ./dashboards -run TestDays -keep FOLDER        # in the repository's root
//	prometheus --config.file=... --storage.tsdb.path=FOLDER/data --storage.tsdb.retention.time=50y
//	cd dashboards/tools && go run ./picture -board ../grafana/yard.json -at 1772582400 -out ../pictures/yard.svg
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"time"
)

// board is the part of the JSON that a picture uses.
type board struct {
	Title, Description string
	Panels             []panel
}

type panel struct {
	Type, Title string
	GridPos     struct{ X, Y, W, H float64 }
	Targets     []struct {
		Expr, LegendFormat string
		Range              bool
	}
	FieldConfig struct {
		Defaults struct {
			Unit, NoValue string
			Decimals      *int
			Mappings      []mapping
			Thresholds    struct{ Steps []threshold }
		}
		Overrides []struct {
			Matcher    struct{ Options any }
			Properties []property
		}
	}
	Transformations []struct {
		ID      string
		Options struct {
			RenameByName  map[string]string
			IndexByName   map[string]int
			ExcludeByName map[string]bool
		}
	}
	Options struct {
		Content string
		SortBy  []struct{ Desc bool }
	}
}

// mapping gives words and a colour for values, or for none.
type mapping struct {
	Options map[string]result
	None    *result
}

type result struct{ Text, Color string }

// UnmarshalJSON reads a mapping of values, or one of what is not there.
func (m *mapping) UnmarshalJSON(text []byte) error {
	var in struct {
		Type    string
		Options json.RawMessage
	}
	if err := json.Unmarshal(text, &in); err != nil {
		return err
	}
	switch in.Type {
	case "value":
		return json.Unmarshal(in.Options, &m.Options)
	case "special":
		var none struct{ Result result }
		err := json.Unmarshal(in.Options, &none)
		m.None = &none.Result
		return err
	}
	return fmt.Errorf("a mapping of type %s cannot be drawn", in.Type)
}

type threshold struct {
	Value *float64
	Color string
}

type property struct {
	ID    string
	Value any
}

func main() {
	if err := run(); err != nil {
		_, _ = fmt.Fprintln(os.Stderr, "picture:", err)
		os.Exit(1)
	}
}

func run() error {
	file := flag.String("board", "", "the board's JSON")
	out := flag.String("out", "", "the SVG to write")
	server := flag.String("prometheus", "http://127.0.0.1:9090", "the server that answers the queries")
	at := flag.Int64("at", 0, "the end of the time shown, in Unix seconds")
	span := flag.Duration("span", 24*time.Hour, "the time shown")
	set := flag.String("set", "", "values of variables, such as site=quarry-road,agent=shed-2; all others match everything")
	flag.Parse()
	if *file == "" || *out == "" || *at == 0 {
		return errors.New("-board, -out and -at are required; see -help")
	}
	text, err := os.ReadFile(*file)
	if err != nil {
		return err
	}
	var b board
	if err := json.Unmarshal(text, &b); err != nil {
		return fmt.Errorf("%s: %w", *file, err)
	}
	s := source{server: *server, at: *at, span: *span, fill: filler(*set, *span)}
	svg, err := draw(b, s)
	if err != nil {
		return err
	}
	return os.WriteFile(*out, []byte(svg), 0o644)
}

// filler replaces the board's variables with their values, as Grafana would.
func filler(set string, span time.Duration) *strings.Replacer {
	values := map[string]string{"$site": ".*", "$agent": ".*", "$pack": ".*", "$bay": ".*"}
	for pair := range strings.SplitSeq(set, ",") {
		if name, value, ok := strings.Cut(pair, "="); ok {
			values["$"+name] = value
		}
	}
	// The recorded days are scraped every two minutes.
	pairs := []string{"$__rate_interval", "8m", "$__range", fmt.Sprintf("%ds", int(span.Seconds()))}
	for name, value := range values {
		pairs = append(pairs, name, value)
	}
	return strings.NewReplacer(pairs...)
}
