package ownfile

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// TestWatch plays what a disk may answer. "." is a good look, "x" one on a disk that
// is not there, "?" another error, "-" one that never ends.
func TestWatch(t *testing.T) {
	for name, row := range map[string]struct {
		looks string // the last one goes on
		gone  bool
		after time.Duration
	}{
		"a good disk":           {looks: "."},
		"pulled":                {looks: "..x", gone: true, after: 3500 * time.Millisecond},
		"one bad read":          {looks: ".x."},
		"bad now and then":      {looks: "x.x.x."},
		"an error of another":   {looks: "?"},
		"hangs":                 {looks: ".-"},
		"gone from the start":   {looks: "x", gone: true, after: 1500 * time.Millisecond},
		"another error between": {looks: "x?x", gone: true, after: 3 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
				defer cancel()
				begin, n := time.Now(), 0
				err := watch(ctx, func() error {
					at := row.looks[min(n, len(row.looks)-1)]
					n++
					switch at {
					case 'x':
						return unix.ENODEV
					case '?':
						return errors.New("out of memory")
					case '-':
						<-t.Context().Done()
					}
					return nil
				})
				took := time.Since(begin)
				require.Equal(t, row.gone, err != nil)
				if row.gone {
					require.ErrorIs(t, err, unix.ENODEV)
					require.Equal(t, row.after, took)
					return
				}
				require.Equal(t, time.Minute, took, "it ends with its context alone")
			})
		})
	}
}

// TestOwnProgram: the disk that this test runs from is there, or is none.
func TestOwnProgram(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, Watch(ctx, slog.New(slog.DiscardHandler)))
}
