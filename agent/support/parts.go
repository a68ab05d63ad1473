package support

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"runtime/debug"
	"strings"

	"bayward/agent/check"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/words"
)

// Version is the part with the program and the machine it runs on.
func Version(version string) Part {
	return Part{"version.txt", func(_ context.Context, w io.Writer) error {
		build := "unknown"
		if info, ok := debug.ReadBuildInfo(); ok {
			build = info.GoVersion
		}
		_, _ = fmt.Fprintf(w, "bayward %s, %s, %s/%s\n", version, build, runtime.GOOS, runtime.GOARCH)
		var err error
		for _, path := range []string{"/etc/os-release", "/proc/version", "/proc/uptime", "/proc/device-tree/model"} {
			text, readErr := os.ReadFile(path)
			if readErr != nil && !errors.Is(readErr, os.ErrNotExist) {
				err = errors.Join(err, readErr)
			}
			_, _ = fmt.Fprintf(w, "\n%s\n%s\n", path, strings.Trim(string(text), "\x00\n"))
		}
		return err
	}}
}

// Configuration is the part with the checked configuration and its warnings.
func Configuration(cfg *config.Config) Part {
	return Part{"configuration.json", func(_ context.Context, w io.Writer) error {
		return check.WriteJSON(w, cfg, cfg.Warnings(words.EnglishSI()))
	}}
}

// Refused is the part that stands for a configuration that was refused: where, not what. A
// key that was misspelt may have a secret.
func Refused(faults *config.Error) Part {
	return Part{"configuration-refused.txt", func(_ context.Context, w io.Writer) error {
		for _, p := range faults.Problems {
			if _, err := fmt.Fprintf(w, "line %d: field %s: %s\n", p.Line, p.Field, p.Accepted); err != nil {
				return err
			}
		}
		return nil
	}}
}

// Record are the parts with the tables of the record in a time, and what its chain says.
func Record(path string, q logbook.Query) (parts []Part) {
	reading := func(do func(context.Context, io.Writer, *logbook.Reader) error) func(context.Context, io.Writer) error {
		return func(ctx context.Context, w io.Writer) error {
			r, err := logbook.OpenReadOnly(ctx, path)
			if err != nil {
				return err
			}
			return errors.Join(do(ctx, w, r), r.Close())
		}
	}
	for _, t := range records.Tables() {
		parts = append(parts, Part{"record/" + t.Name + ".csv", reading(func(ctx context.Context, w io.Writer, r *logbook.Reader) error {
			return t.WriteCSV(ctx, w, r, q)
		})})
	}
	return append(parts, Part{"record/chain.txt", reading(func(ctx context.Context, w io.Writer, r *logbook.Reader) error {
		chain, err := r.Verify(ctx)
		if err != nil {
			return err
		}
		damaged, err := r.DamagedMemories(ctx)
		return errors.Join(err, records.WriteVerdict(w, words.EnglishSI(), chain, damaged, false))
	})})
}

// units are those of the package.
var units = []string{"bayward.service", "bayward-keeper.service"}

// Machine are the parts that other programs tell: the journal of the units, their state, and
// what runs beside them.
func Machine() []Part {
	journal := []string{"journalctl", "--no-pager", "--output=short-iso-precise", "--lines=20000"}
	for _, u := range units {
		journal = append(journal, "--unit="+u)
	}
	return []Part{
		said("journal.txt", journal...),
		said("units.txt", append([]string{"systemctl", "--no-pager", "show"}, units...)...),
		said("failed-units.txt", "systemctl", "--no-pager", "--plain", "list-units", "--state=failed"),
		said("disk.txt", "df", "-k"),
	}
}

// said is a part that a program prints.
func said(name string, program ...string) Part {
	return Part{name, func(ctx context.Context, w io.Writer) error {
		cmd := exec.CommandContext(ctx, program[0], program[1:]...) //nolint:gosec // from the list in Machine
		cmd.Stdout, cmd.Stderr = w, w
		cmd.Env = append(os.Environ(), "LC_ALL=C")
		return cmd.Run()
	}}
}
