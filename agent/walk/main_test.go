package walk

import (
	"context"
	"fmt"
	"os"
	"testing"

	"go.uber.org/goleak"

	"bayward/agent/config"
)

// TestMain turns the test binary into the process that holds the relay if it is
// started with that command.
func TestMain(m *testing.M) {
	if len(os.Args) == 8 && os.Args[1] == "wiring-hold" { // --config FILE --bay NAME --keeper PATH
		cfg, err := config.Load(os.Args[3])
		if err == nil {
			err = Hold(context.Background(), cfg, os.Args[5], os.Args[7], os.Stdin, os.Stdout)
		}
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}
