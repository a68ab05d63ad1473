package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// schema is the oldest version with everything we use. A newer Grafana migrates it;
// an older one does not understand a newer schema.
const schema = 37

func main() {
	if len(os.Args) != 2 {
		_, _ = fmt.Fprintln(os.Stderr, "usage: go run . FOLDER\n\nWrites the boards yard.json, bay.json and agent.json into the folder.")
		os.Exit(2)
	}
	if err := write(os.Args[1]); err != nil {
		_, _ = fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// board is a file name without its extension, and the function that builds the
// board.
type board struct {
	name  string
	build func() *dashboard.DashboardBuilder
}

func boards() []board {
	return []board{{"yard", yard}, {"bay", bay}, {"agent", agent}}
}

func write(folder string) error {
	for _, b := range boards() {
		text, err := render(b)
		if err != nil {
			return fmt.Errorf("board %s: %w", b.name, err)
		}
		if err := os.WriteFile(filepath.Join(folder, b.name+".json"), text, 0o644); err != nil { //nolint:gosec // the boards are for all to read
			return err
		}
	}
	return nil
}

// render returns the same bytes each time.
func render(b board) ([]byte, error) {
	built, err := b.build().Build()
	if err != nil {
		return nil, err
	}
	built.SchemaVersion = schema
	var text bytes.Buffer
	out := json.NewEncoder(&text)
	out.SetEscapeHTML(false) // queries are full of < and >
	out.SetIndent("", "  ")
	err = out.Encode(built)
	return text.Bytes(), err
}
