package main

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"go.uber.org/goleak"

	"bayward/agent/words"
)

// asProgram makes the test binary behave as bayward, so that tests can start
// it as a process of its own, with the race detector if they have it.
const asProgram = "BAYWARD_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	goleak.VerifyTestMain(m)
}

// bayward runs a command as the user would, in this process.
func bayward(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, complaints bytes.Buffer
	code = execute(t.Context(), args, &program{strings.NewReader(stdin), &out, &complaints, words.EnglishSI()})
	return code, out.String(), complaints.String()
}
