package logbook

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"strings"
)

// renames is the schema step that renamed columns and values.
const renames = 5

// firstEncoding is the version of the chain's encoding up to that step.
const firstEncoding = 1

// oldChain verifies the chain under the old names, which the file itself still has.
func oldChain(ctx context.Context, tx *sql.Tx) (*verifier, error) {
	v := newVerifier(keeping(tx), firstEncoding)
	if err := v.walk(ctx); err != nil {
		return nil, fmt.Errorf("verify the chain under its old names: %w", err)
	}
	return v, nil
}

// rename does what SQL cannot, after the step's file has been applied.
func (w *writer) rename(ctx context.Context, old *verifier) error {
	if err := w.rechain(ctx, old); err != nil {
		return fmt.Errorf("rebuild the chain: %w", err)
	}
	for _, of := range []struct{ table, key string }{{"memory", "bay_id"}, {"pack_memory", "pack_id"}} {
		if err := w.renameMemories(ctx, of.table, of.key); err != nil {
			return fmt.Errorf("rename in %s: %w", of.table, err)
		}
	}
	return nil
}

// rechain gives the links that held their hashes under the new names, and records
// what the chain was. From a break on it touches nothing: those links stay as they
// were found, and a link of the first encoding no longer holds.
func (w *writer) rechain(ctx context.Context, old *verifier) error {
	held, broken := old.found.Rows, ""
	if old.found.Break != nil {
		broken = old.found.Break.String()
	}
	if held == 0 && broken == "" {
		return nil // a new file, or one without any link
	}
	_, err := w.tx.ExecContext(ctx, `INSERT INTO rechained (schema, links, head, broken) VALUES (?, ?, ?, ?)`,
		renames, held, old.hash, broken)
	if err != nil {
		return err
	}
	sum := make([]byte, sha256.Size)
	for no := 1; no <= held; no++ {
		if sum, err = w.relink(ctx, no, sum); err != nil {
			return fmt.Errorf("link %d: %w", no, err)
		}
	}
	// A recorded end that was wrong stays wrong.
	_, err = w.tx.ExecContext(ctx, `UPDATE chain_head SET hash = ? WHERE no = ? AND hash = ?`, sum, held, old.hash)
	return err
}

// relink gives one link its hash under the new names.
func (w *writer) relink(ctx context.Context, no int, before []byte) ([]byte, error) {
	var kind string
	var id int64
	if err := w.tx.QueryRowContext(ctx, `SELECT kind, ref FROM chain WHERE no = ?`, no).Scan(&kind, &id); err != nil {
		return nil, err
	}
	sum, err := link(ctx, w.tx, before, kind, id)
	if err != nil {
		return nil, err
	}
	_, err = w.tx.ExecContext(ctx, `UPDATE chain SET v = ?, hash = ? WHERE no = ?`, chainVersion, sum, no)
	return sum, err
}

// before adds what the chain was before it was rebuilt. A break found then is still
// the first, unless an earlier link has been changed since.
func (v *verifier) before(ctx context.Context) error {
	var links int
	var head []byte
	var broken string
	err := v.tx.QueryRowContext(ctx, `SELECT links, head, broken FROM rechained WHERE schema = ?`, renames).Scan(&links, &head, &broken)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	v.found.Again = &Rechained{Links: links, Head: hex.EncodeToString(head)}
	if broken != "" && (v.found.Break == nil || v.found.Rows >= links) {
		v.found.Break = &Break{What: broken, Before: true}
	}
	return nil
}

// keptMemory is a stored memory.
type keptMemory struct {
	id    int64
	state []byte
}

// renameMemories rewrites the intact memories of one table.
func (w *writer) renameMemories(ctx context.Context, table, key string) error {
	all, err := w.keptMemories(ctx, `SELECT `+key+`, state FROM `+table)
	if err != nil {
		return err
	}
	for _, m := range all {
		state, ok := renamedMemory(m.state)
		if !ok {
			continue
		}
		if _, err := w.tx.ExecContext(ctx, `UPDATE `+table+` SET state = ? WHERE `+key+` = ?`, state, m.id); err != nil {
			return err
		}
	}
	return nil
}

// keptMemories reads all memories before anything is written.
func (w *writer) keptMemories(ctx context.Context, query string) (all []keptMemory, err error) {
	found, err := w.tx.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, found.Close()) }()
	for found.Next() {
		var m keptMemory
		if err := found.Scan(&m.id, &m.state); err != nil {
			return nil, err
		}
		all = append(all, m)
	}
	return all, found.Err()
}

// memoryKeys renames the keys of a memory. A key with its quotes and its colon
// occurs nowhere else in JSON: inside a text a quote has a backslash before it, so
// the one before the colon would not directly follow the name.
var memoryKeys = strings.NewReplacer(
	`"withheld_s":`, `"blocked_s":`,
	`"cover_fill":`, `"only_cover_plates":`,
	`"dip_mm":`, `"level_mm":`,
	`"dip_last":`, `"level_last":`,
	`"cover-unknown":`, `"level-unknown":`,
)

// renamedMemory gives a memory its new keys and a new sum. If its sum does not
// match, ok is false: it is damaged, and a new sum would hide that.
func renamedMemory(state []byte) (renamed []byte, ok bool) {
	head, sum, tail, ok := cutSum(state)
	if !ok || sumOf(head+tail) != sum {
		return nil, false
	}
	head, tail = memoryKeys.Replace(head), memoryKeys.Replace(tail)
	return []byte(head + sumOf(head+tail) + tail), true
}

// cutSum splits a memory around the value of its sum.
func cutSum(state []byte) (head, sum, tail string, ok bool) {
	const mark, digits = `"sum":"`, 8
	at := bytes.Index(state, []byte(mark)) + len(mark)
	if at < len(mark) || len(state) < at+digits {
		return "", "", "", false
	}
	return string(state[:at]), string(state[at : at+digits]), string(state[at+digits:]), true
}

// sumOf returns the sum of a memory over its text with an empty sum.
func sumOf(text string) string { return fmt.Sprintf("%08x", crc32.ChecksumIEEE([]byte(text))) }
