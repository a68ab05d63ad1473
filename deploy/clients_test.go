package deploy_test

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestGeneratedClients does what mqtt/examples says, in a copy of the folders that it needs: clients for Go,
// generated from both contracts, compile and read a running agent and its broker.
func TestGeneratedClients(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles two generators and a program")
	}
	root := t.TempDir()
	for _, folder := range []string{"mqtt/examples/clients", "mqtt/schemas"} {
		require.NoError(t, os.CopyFS(filepath.Join(root, folder), os.DirFS(filepath.Join("..", folder))))
	}
	contract, err := os.ReadFile("../agent/web/openapi.yaml")
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(filepath.Join(root, "agent/web"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(root, "agent/web/openapi.yaml"), contract, 0o600))
	module := filepath.Join(root, "mqtt/examples/clients")
	for _, old := range []string{"bays", "messages"} { // of a developer who has tried it
		require.NoError(t, os.RemoveAll(filepath.Join(module, old, "generated.go")))
	}
	for _, args := range [][]string{{"generate", "./..."}, {"vet", "./..."}, {"build", "-o", "reader", "."}} {
		cmd := exec.CommandContext(t.Context(), "go", args...)
		cmd.Dir = module
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=-mod=readonly", "GOWORK=off")
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "go %v: %s", args, out)
	}

	page, broker := startDemo(t)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute) // as long as the demo runs
	reader := exec.CommandContext(ctx, filepath.Join(module, "reader"), page, broker, "bay-1", "A. Person")
	out, err := reader.StdoutPipe()
	require.NoError(t, err)
	reader.Stderr = reader.Stdout
	require.NoError(t, reader.Start())
	defer func() { cancel(); _ = reader.Wait() }()
	missing := []string{"page bay-1 ", "page bay-3 ", "hold bay-1 ", "status online ", "state bay-1 ", "state bay-3 ", "event bay-1 ", "notice "}
	printed := ""
	for lines := bufio.NewScanner(out); len(missing) > 0 && lines.Scan(); {
		printed += lines.Text() + "\n"
		require.NotContains(t, lines.Text(), "contract", "a payload does not fit")
		missing = slices.DeleteFunc(missing, func(begins string) bool { return strings.HasPrefix(lines.Text(), begins) })
	}
	require.Empty(t, missing, "not printed:\n%s", printed)
}
