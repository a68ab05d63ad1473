package logbook

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
)

//go:embed schema/*.sql
var schemas embed.FS

// newest is the number of files in the schema folder.
const newest = 8

// applicationID marks the file as a logbook, so that another program's database is
// rejected and not written to: "bayw" in ASCII.
const applicationID = 0x62617977

// ErrNewer is returned for a logbook of a newer program. It is left alone.
var ErrNewer = errors.New("a newer bayward wrote it")

// ErrForeign is returned for a database of another program.
var ErrForeign = errors.New("it is a database of another program")

// migrate brings the file to this program's schema in one transaction: a new file, or
// one that was copied here, must not pass for another after a power cut, see
// originate.
func migrate(ctx context.Context, db *sql.DB, before traces) error {
	have, err := version(ctx, db)
	if err != nil || have == newest {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for n := have + 1; n <= newest; n++ {
		if err := step(ctx, tx, n, have, before); err != nil {
			return fmt.Errorf("change to schema version %d: %w", n, err)
		}
	}
	return tx.Commit()
}

// version returns the schema's version, 0 for an empty file, and rejects a foreign
// or newer file.
func version(ctx context.Context, db *sql.DB) (int, error) {
	var app, have, tables int
	err := db.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`).Scan(&app, &have, &tables)
	if err != nil {
		return 0, fmt.Errorf("read the schema's version: %w", err)
	}
	if app != applicationID && (app != 0 || have != 0 || tables != 0) {
		return 0, fmt.Errorf("%w: name another file for the logbook", ErrForeign)
	}
	if have > newest {
		return 0, fmt.Errorf("%w: its schema is version %d, this program knows up to %d: "+
			"install the newer program again, or move the file away", ErrNewer, have, newest)
	}
	return have, nil
}

// step applies one file of the schema folder to a file that was of schema have.
func step(ctx context.Context, tx *sql.Tx, n, have int, before traces) error {
	text, err := schemas.ReadFile(fmt.Sprintf("schema/%04d.sql", n))
	if err != nil {
		return err
	}
	finish, err := besides(ctx, tx, n, have, before)
	if err != nil {
		return err
	}
	mark := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, n)
	for _, s := range []string{string(text), mark} {
		if _, err := tx.ExecContext(ctx, s); err != nil {
			return err
		}
	}
	return finish(&writer{tx: keeping(tx)})
}

// besides does the parts of a step that SQL cannot, because it has no hashes: at
// once what needs the file as it was, and in finish what follows the step's file.
func besides(ctx context.Context, tx *sql.Tx, n, have int, before traces) (finish func(*writer) error, err error) {
	switch n {
	case chainsSigned:
		return func(w *writer) error { return w.chainLate(ctx) }, nil
	case renames:
		old, err := oldChain(ctx, tx)
		return func(w *writer) error { return w.rename(ctx, old) }, err
	case originates:
		return func(w *writer) error { return w.originate(ctx, have, before) }, nil
	}
	return func(*writer) error { return nil }, nil
}
