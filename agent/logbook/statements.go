package logbook

import (
	"context"
	"database/sql"
)

// statements is a transaction that keeps its statements prepared. The same few run
// for each row, and parsing one costs more than running it.
type statements struct {
	tx   *sql.Tx
	kept map[string]*sql.Stmt
}

func keeping(tx *sql.Tx) *statements { return &statements{tx, map[string]*sql.Stmt{}} }

// prepared returns a statement, which ends with the transaction.
func (s *statements) prepared(ctx context.Context, query string) (*sql.Stmt, error) {
	if have := s.kept[query]; have != nil {
		return have, nil
	}
	made, err := s.tx.PrepareContext(ctx, query)
	if err == nil {
		s.kept[query] = made
	}
	return made, err
}

// QueryContext runs a query in the transaction.
func (s *statements) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	p, err := s.prepared(ctx, query) //nolint:sqlclosecheck // it ends with the transaction
	if err != nil {
		return nil, err
	}
	return p.QueryContext(ctx, args...)
}

// QueryRowContext runs a query for one row in the transaction.
func (s *statements) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	p, err := s.prepared(ctx, query) //nolint:sqlclosecheck // it ends with the transaction
	if err != nil {
		return s.tx.QueryRowContext(ctx, query, args...) // which gives the same error
	}
	return p.QueryRowContext(ctx, args...)
}

// ExecContext runs a statement in the transaction.
func (s *statements) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	p, err := s.prepared(ctx, query) //nolint:sqlclosecheck // it ends with the transaction
	if err != nil {
		return nil, err
	}
	return p.ExecContext(ctx, args...)
}

var _ querier = &statements{}
