package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/crc32"
	"time"
)

// Stored is a memory as it was saved last.
type Stored struct {
	State  []byte // JSON of bay.Memory or bay.PackMemory
	Bay    string // whose core saved it
	Stamp  Stamp
	Newest uint64 // number of the bay's newest event when it was saved; 0 for a pack's
	Whole  bool   // the checksum of the row is right
	Copied bool   // it came with a backup, and was not saved since
}

// LoadMemory returns the memory of a bay, nil for a bay without one.
func (b *Book) LoadMemory(ctx context.Context, bayName string) (*Stored, error) {
	m, err := b.loadStored(ctx, memoryTable, bayName)
	if err != nil {
		return nil, fmt.Errorf("logbook: read the memory of %s: %w", bayName, err)
	}
	return m, nil
}

// LoadPackMemory returns the memory of a pack, nil for a pack without one.
func (b *Book) LoadPackMemory(ctx context.Context, pack string) (*Stored, error) {
	m, err := b.loadStored(ctx, packMemoryTable, pack)
	if err != nil {
		return nil, fmt.Errorf("logbook: read the memory of pack %s: %w", pack, err)
	}
	return m, nil
}

// The tables of memories.
const (
	memoryTable     = "memory"
	packMemoryTable = "pack_memory"
)

// storedOf selects the rows of a table of memories.
var storedOf = map[string]string{
	memoryTable: `SELECT bay.name AS named, bay.name, newest, wall_ms, trusted, boot_id, mono_ns, state, crc, copied
		FROM memory JOIN bay ON bay.id = bay_id`,
	packMemoryTable: `SELECT pack.name, bay.name, 0, wall_ms, trusted, boot_id, mono_ns, state, crc, 0
		FROM pack_memory JOIN bay ON bay.id = bay_id JOIN pack ON pack.id = pack_id`,
}

var storedName = map[string]string{memoryTable: "bay.name", packMemoryTable: "pack.name"}

// summed is a memory in the form that its checksum is over.
type summed struct {
	table, name, bay string
	newest           int64
	wallMS           int64
	trusted          bool
	bootID           string
	monoNS           int64
	state            []byte
}

// sum returns the checksum of a memory: CRC-32C over its table, the name of the bay
// or pack, the name of the bay, and the columns up to state, each with a line feed,
// and state without one.
func (m *summed) sum() int64 {
	trusted := 0
	if m.trusted {
		trusted = 1
	}
	head := fmt.Sprintf("%s\n%s\n%s\n%d\n%d\n%d\n%s\n%d\n", m.table, m.name, m.bay, m.newest, m.wallMS, trusted, m.bootID, m.monoNS)
	return int64(crc32.Update(crc32.Checksum([]byte(head), castagnoli), castagnoli, m.state))
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// row is a row of the database or the next one of several.
type row interface{ Scan(places ...any) error }

// scan reads a row that storedOf selects.
func (m *summed) scan(from row) (crc int64, copied bool, err error) {
	err = from.Scan(&m.name, &m.bay, &m.newest, &m.wallMS, &m.trusted, &m.bootID, &m.monoNS, &m.state, &crc, &copied)
	return crc, copied, err
}

func (b *Book) loadStored(ctx context.Context, table, name string) (*Stored, error) {
	m := summed{table: table}
	crc, copied, err := m.scan(b.db.QueryRowContext(ctx, storedOf[table]+` WHERE `+storedName[table]+` = ?`, name))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	s := &Stored{State: m.state, Bay: m.bay, Newest: uint64(m.newest), Whole: crc == m.sum(), Copied: copied}
	s.Stamp = Stamp{Wall: time.UnixMilli(m.wallMS).UTC(), Trusted: m.trusted, BootID: m.bootID, Mono: time.Duration(m.monoNS)}
	return s, nil
}

func (w *writer) memories(ctx context.Context, e *Entry, bayID int64, pack sql.NullInt64) error {
	if e.Memory != nil {
		if err := w.memory(ctx, e, bayID); err != nil {
			return err
		}
	}
	if e.PackMemory == nil {
		return nil
	}
	if !pack.Valid {
		return errors.New("a pack's memory needs the name of the pack")
	}
	return w.packMemory(ctx, e, bayID, pack)
}

func summedOf(table, name string, e *Entry, state []byte) summed {
	s := &e.Stamp
	return summed{
		table: table, name: name, bay: e.Bay, wallMS: s.Wall.UnixMilli(), trusted: s.Trusted, bootID: s.BootID,
		monoNS: int64(s.Mono), state: state,
	}
}

func (w *writer) memory(ctx context.Context, e *Entry, bayID int64) error {
	m := summedOf(memoryTable, e.Bay, e, e.Memory)
	if err := w.tx.QueryRowContext(ctx, `SELECT last_seq FROM bay WHERE id = ?`, bayID).Scan(&m.newest); err != nil {
		return err
	}
	_, err := w.tx.ExecContext(ctx, `INSERT INTO memory (bay_id, wall_ms, trusted, boot_id, mono_ns, state, newest, crc, copied)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0)
		ON CONFLICT DO UPDATE SET wall_ms = excluded.wall_ms, trusted = excluded.trusted, boot_id = excluded.boot_id,
		mono_ns = excluded.mono_ns, state = excluded.state, newest = excluded.newest, crc = excluded.crc, copied = 0`,
		bayID, m.wallMS, m.trusted, m.bootID, m.monoNS, m.state, m.newest, m.sum())
	return err
}

func (w *writer) packMemory(ctx context.Context, e *Entry, bayID int64, pack sql.NullInt64) error {
	m := summedOf(packMemoryTable, e.Pack, e, e.PackMemory)
	_, err := w.tx.ExecContext(ctx, `INSERT INTO pack_memory (pack_id, bay_id, wall_ms, trusted, boot_id, mono_ns, state, crc)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET wall_ms = excluded.wall_ms, trusted = excluded.trusted, boot_id = excluded.boot_id,
		mono_ns = excluded.mono_ns, state = excluded.state, bay_id = excluded.bay_id, crc = excluded.crc`,
		pack, bayID, m.wallMS, m.trusted, m.bootID, m.monoNS, m.state, m.sum())
	return err
}

// DamagedMemories returns the names of the bays and packs whose memory does not match
// its checksum.
func (r *Reader) DamagedMemories(ctx context.Context) ([]string, error) {
	var bad []string
	for _, table := range []string{memoryTable, packMemoryTable} {
		err := eachSummed(ctx, r.db, table, func(m *summed, crc int64) {
			if crc != m.sum() {
				bad = append(bad, m.name)
			}
		})
		if err != nil {
			return nil, fmt.Errorf("logbook: check the memories: %w", err)
		}
	}
	return bad, nil
}

func eachSummed(ctx context.Context, db querier, table string, do func(m *summed, crc int64)) (err error) {
	found, err := db.QueryContext(ctx, storedOf[table]+` ORDER BY 1`)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, found.Close()) }()
	for found.Next() {
		m := summed{table: table}
		crc, _, err := m.scan(found)
		if err != nil {
			return err
		}
		do(&m, crc)
	}
	return found.Err()
}

// sumAll gives the memories of an earlier schema their checksums.
func (w *writer) sumAll(ctx context.Context) error {
	if _, err := w.tx.ExecContext(ctx, `UPDATE memory SET newest = (SELECT last_seq FROM bay WHERE bay.id = bay_id)`); err != nil {
		return err
	}
	for table, place := range map[string]string{memoryTable: "bay_id = (SELECT id FROM bay WHERE name = ?)", packMemoryTable: "pack_id = (SELECT id FROM pack WHERE name = ?)"} {
		var all []summed
		if err := eachSummed(ctx, w.tx, table, func(m *summed, _ int64) { all = append(all, *m) }); err != nil {
			return err
		}
		for i := range all {
			if _, err := w.tx.ExecContext(ctx, `UPDATE `+table+` SET crc = ? WHERE `+place, all[i].sum(), all[i].name); err != nil {
				return err
			}
		}
	}
	return nil
}
