package logbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"math"
)

// Verify reads all closed charges and visits and all signed commissioning records,
// and checks whether the chain over them holds. An error is about reading the disk;
// a broken chain is not an error. Links are never changed, so it reads some at a
// time and does not hold up an agent that writes; the last of them, the recorded end
// and what is outside of the chain come from one state of the file.
func (r *Reader) Verify(ctx context.Context) (Chain, error) {
	v := newVerifier(nil, chainVersion)
	for done := false; !done; {
		var err error
		done, err = ask(ctx, r, func(ctx context.Context, _ querier) (bool, error) { return r.verifySome(ctx, v) })
		if err != nil {
			return Chain{}, fmt.Errorf("logbook: verify: %w", err)
		}
		r.pause()
	}
	v.found.Head = fmt.Sprintf("%x", v.hash)
	return v.found, nil
}

// verifySome checks a page of links, and what is beside the chain when it has come
// to the end.
func (r *Reader) verifySome(ctx context.Context, v *verifier) (done bool, err error) {
	tx, err := r.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return false, err
	}
	defer tx.Rollback()
	v.tx = keeping(tx)
	if more, err := v.links(ctx, page); err != nil || more {
		return false, err
	}
	for _, step := range []func(context.Context) error{v.end, v.outside, v.before} {
		if err := step(ctx); err != nil {
			return false, err
		}
	}
	return true, nil
}

type verifier struct {
	tx       *statements
	encoding int // the version that the links should have
	found    Chain
	hash     []byte // of the last link
}

func newVerifier(tx *statements, encoding int) *verifier {
	return &verifier{tx: tx, encoding: encoding, hash: make([]byte, sha256.Size)}
}

// walk checks the whole chain against the rows.
func (v *verifier) walk(ctx context.Context) error {
	if _, err := v.links(ctx, math.MaxInt); err != nil {
		return err
	}
	if err := v.end(ctx); err != nil {
		return err
	}
	return v.outside(ctx)
}

func (v *verifier) broken(no int, kind string, id int64, code string, args ...any) {
	if v.found.Break == nil {
		v.found.Break = &Break{No: no, Kind: kind, ID: id, What: fmt.Sprintf(breakTexts[code], args...), Code: code, Args: args}
	}
}

// links walks the chain for up to most links, from where it came to. It reports
// whether there may be more.
func (v *verifier) links(ctx context.Context, most int) (more bool, err error) {
	for range most {
		if v.found.Break != nil {
			return false, nil
		}
		var no, version int
		var kind string
		var id int64
		var stored []byte
		err := v.tx.QueryRowContext(ctx, `SELECT no, v, kind, ref, hash FROM chain WHERE no > ? ORDER BY no LIMIT 1`, v.found.Rows).
			Scan(&no, &version, &kind, &id, &stored)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return false, nil
		case err != nil:
			return false, err
		case no != v.found.Rows+1:
			v.broken(v.found.Rows+1, "", 0, linkMissing, no)
		case version != v.encoding:
			v.broken(no, kind, id, linkEncoding, version, v.encoding)
		default:
			if err := v.link(ctx, no, kind, id, stored); err != nil {
				return false, err
			}
		}
	}
	return true, nil
}

func (v *verifier) link(ctx context.Context, no int, kind string, id int64, stored []byte) error {
	sum, err := link(ctx, v.tx, v.hash, kind, id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		v.broken(no, kind, id, rowMissing)
	case ctx.Err() != nil:
		return err
	case err != nil:
		v.broken(no, kind, id, rowUnread, err.Error())
	case string(sum) != string(stored):
		v.broken(no, kind, id, rowChanged)
	default:
		v.hash, v.found.Rows = sum, no
		if kind == correctionKind {
			v.found.Corrected++
		}
		if kind == commissioningKind {
			return v.signed(ctx, id)
		}
	}
	return nil
}

func (v *verifier) signed(ctx context.Context, id int64) error {
	var late int
	err := v.tx.QueryRowContext(ctx, `SELECT late FROM commissioning WHERE id = ?`, id).Scan(&late)
	v.found.Signed, v.found.Late = v.found.Signed+1, v.found.Late+late
	return err
}

// end compares the last link with the end that the file has recorded.
func (v *verifier) end(ctx context.Context) error {
	var no int
	var head []byte
	err := v.tx.QueryRowContext(ctx, `SELECT no, hash FROM chain_head`).Scan(&no, &head)
	if errors.Is(err, sql.ErrNoRows) {
		v.broken(v.found.Rows, "", 0, endMissing)
		return nil
	}
	if err == nil && (no != v.found.Rows || string(head) != string(v.hash)) {
		v.broken(v.found.Rows, "", 0, endElsewhere, no)
	}
	return err
}

// outside looks for rows that should be in a link and are not.
func (v *verifier) outside(ctx context.Context) error {
	type closed struct{ kind, is, when string }
	all := []closed{
		{chargeKind, "closed", "end_wall_ms IS NOT NULL"},
		{visitKind, "closed", "end_wall_ms IS NOT NULL"},
		{commissioningKind, "signed", "signed"},
	}
	if v.encoding != firstEncoding { // whose files have no such table
		all = append(all, closed{correctionKind, "made", "1"})
	}
	for _, of := range all {
		var id int64
		err := v.tx.QueryRowContext(ctx, `SELECT id FROM `+of.kind+` WHERE `+of.when+` AND
			NOT EXISTS (SELECT 1 FROM chain WHERE kind = ? AND ref = id) ORDER BY id LIMIT 1`, of.kind).Scan(&id)
		switch {
		case errors.Is(err, sql.ErrNoRows):
		case err != nil:
			return err
		default:
			v.broken(0, of.kind, id, rowOutside, of.is)
		}
	}
	return nil
}
