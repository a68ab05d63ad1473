package replay_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/replay"
)

// TestManyInOrder: whichever ends first, and however much each writes, the output
// is that of one after another.
func TestManyInOrder(t *testing.T) {
	for _, workers := range []int{1, 2, 5} {
		var want bytes.Buffer
		var jobs []func(io.Writer) error
		wantErr := make([]error, 40)
		for i := range wantErr {
			line := strings.Repeat(fmt.Sprintf("%d ", i), 1000) + "\n"
			lines := []int{1, 900, 0, 30}[i%4] // up to 3.5 MB, more than may wait
			for range lines {
				want.WriteString(line)
			}
			if i%7 == 3 {
				wantErr[i] = fmt.Errorf("trace %d", i)
			}
			jobs = append(jobs, func(w io.Writer) error {
				for range lines {
					if _, err := io.WriteString(w, line); err != nil {
						return err
					}
				}
				return wantErr[i]
			})
		}
		var got bytes.Buffer
		require.Equal(t, wantErr, replay.Many(&got, workers, jobs))
		require.True(t, bytes.Equal(want.Bytes(), got.Bytes()), "%d workers", workers)
	}
}

// TestManyGoOn: neither a panic nor a closed output keeps the others from
// finishing.
func TestManyGoOn(t *testing.T) {
	say := func(w io.Writer) error { _, err := io.WriteString(w, "x"); return err }
	fall := func(io.Writer) error { panic("deep") }
	var out bytes.Buffer
	errs := replay.Many(&out, 2, []func(io.Writer) error{say, fall, say})
	require.Equal(t, "xx", out.String())
	require.NoError(t, errs[0])
	require.ErrorContains(t, errs[1], "panicked: deep")
	require.NoError(t, errs[2])

	gone := errors.New("no reader")
	errs = replay.Many(failingWriter{gone}, 2, []func(io.Writer) error{say, say, say})
	for _, err := range errs {
		require.ErrorIs(t, err, gone)
	}
}

type failingWriter struct{ err error }

func (w failingWriter) Write([]byte) (int, error) { return 0, w.err }

// TestLabel: with several traces each line names its trace.
func TestLabel(t *testing.T) {
	tr, err := replay.Open("t.csv", strings.NewReader(small))
	require.NoError(t, err)
	tr.Label = "north.csv"
	s := pack(12, 225, 1.277)
	require.NoError(t, tr.Fit(&s))
	var out bytes.Buffer
	_, err = replay.Run(tr, s, &out, replay.Options{})
	require.NoError(t, err)
	for line := range strings.Lines(out.String()) {
		require.True(t, strings.HasPrefix(line, `{"trace":"north.csv","`), line)
	}
}
