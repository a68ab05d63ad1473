package logbook

import (
	"context"
	"fmt"
)

// Epoch returns which record the events are numbered in from now on: a random word that
// is made with the logbook, and again when it may be an older state of it. Each event
// keeps the epoch in which it was numbered.
func (b *Book) Epoch() string { return *b.epoch.Load() }

// RenewEpoch begins an epoch, because events may have been published that this logbook
// does not have, with the numbers that it gives next.
func (b *Book) RenewEpoch(ctx context.Context) error {
	if err := b.takeTurn(ctx); err != nil {
		return err
	}
	defer b.giveTurn()
	return b.beginEpoch(ctx, `UPDATE origin SET renew = 0`)
}

// beginEpoch adds one, and does a statement in the same commit.
func (b *Book) beginEpoch(ctx context.Context, also string) error {
	tx, err := b.durable.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("begin an epoch: %w", err)
	}
	defer tx.Rollback()
	for _, s := range []string{`INSERT INTO epoch (id) VALUES (lower(hex(randomblob(8))))`, also} {
		if _, err := tx.ExecContext(ctx, s); err != nil {
			return fmt.Errorf("begin an epoch: %w", err)
		}
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("begin an epoch: %w", err)
	}
	return b.loadEpoch(ctx)
}

// startEpoch reads the present epoch, and begins one in a backup, and in a file that has
// lost where it comes from.
func (b *Book) startEpoch(ctx context.Context) error {
	var renew bool
	if err := b.durable.QueryRowContext(ctx, `SELECT renew FROM origin`).Scan(&renew); err != nil {
		b.log.Error("it cannot be read where the logbook comes from", "err", err)
		return b.beginEpoch(ctx, `SELECT 1`)
	}
	if renew {
		return b.beginEpoch(ctx, `UPDATE origin SET renew = 0`)
	}
	return b.loadEpoch(ctx)
}

func (b *Book) loadEpoch(ctx context.Context) error {
	var id string
	if err := b.durable.QueryRowContext(ctx, `SELECT id FROM epoch ORDER BY n DESC LIMIT 1`).Scan(&id); err != nil {
		return fmt.Errorf("read the epoch: %w", err)
	}
	b.epoch.Store(&id)
	return nil
}
