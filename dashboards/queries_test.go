package dashboards_test

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// boardQuery is one query of a board, read from the JSON as Grafana reads it.
type boardQuery struct {
	board, title, expr string
}

func boardQueries(t *testing.T) []boardQuery {
	t.Helper()
	files, err := filepath.Glob("grafana/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no boards: %v", err)
	}
	var all []boardQuery
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var board struct {
			Panels []struct {
				Title   string
				Targets []struct{ Expr string }
			}
			Annotations struct{ List []struct{ Name, Expr string } }
		}
		if err := json.Unmarshal(text, &board); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		name := strings.TrimSuffix(filepath.Base(file), ".json")
		for _, p := range board.Panels {
			for _, q := range p.Targets {
				all = append(all, boardQuery{name, p.Title, q.Expr})
			}
		}
		for _, a := range board.Annotations.List {
			all = append(all, boardQuery{name, "annotation " + a.Name, a.Expr})
		}
	}
	return all
}

// ready reports whether Prometheus serves queries.
func ready(address string) bool {
	answer, err := http.Get(address + "/-/ready")
	if err != nil {
		return false
	}
	defer answer.Body.Close()
	return answer.StatusCode == http.StatusOK
}
