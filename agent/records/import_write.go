package records

import (
	"context"
	"errors"
	"log/slog"

	"bayward/agent/logbook"
	"bayward/agent/usage"
)

// Importable returns those rows of a file that are not in the record yet. A row that
// contradicts the record is the user's error.
func Importable(ctx context.Context, r *logbook.Reader, file string, rows logbook.Rows) (logbook.Rows, Known, error) {
	rows, known, err := Fresh(ctx, r, rows)
	if n := len(known.Differs); err == nil && n > 0 {
		err = usage.Error(says("differs", file, n, known.Differs[0]).Err())
	}
	return rows, known, err
}

// WriteImport writes those rows of a file that are not in the record yet to the
// logbook at path: all of them, or none.
func WriteImport(ctx context.Context, path, file string, rows logbook.Rows) (err error) {
	b, err := logbook.Open(ctx, path, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.Close()) }()
	if b.SetAside() != "" {
		return says("damaged", path, b.SetAside()).Err()
	}
	if rows, _, err = Importable(ctx, b.Reader, file, rows); err != nil || rows.Empty() { // an agent may have written since
		return err
	}
	return b.Write(ctx, logbook.Entry{Bay: firstBay(rows), Rows: rows})
}

func firstBay(rows logbook.Rows) string {
	if len(rows.Charges) > 0 {
		return rows.Charges[0].Bay
	}
	return rows.Visits[0].Bay
}
