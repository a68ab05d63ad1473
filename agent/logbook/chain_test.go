package logbook

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// mustHold checks that the chain holds and has links links.
func mustHold(t *testing.T, r *Reader, links int) Chain {
	t.Helper()
	c, err := r.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, c.Break)
	require.Equal(t, links, c.Rows)
	return c
}

// chained creates a closed file with links: charge, visit, import, charge, visit.
func chained(t *testing.T) (path string) {
	t.Helper()
	path = filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	old := someVisit(-500)
	old.Origin = ByImport
	for _, r := range []Rows{
		{Charges: []Charge{someCharge(1)}},
		{Visits: []Visit{someVisit(20)}},
		{Visits: []Visit{old}},
		{Charges: []Charge{someCharge(40)}},
		{Visits: []Visit{someVisit(60)}},
	} {
		writeRows(t, b, r)
	}
	open := someCharge(80)
	open.End = Stamp{}
	writeRows(t, b, Rows{Charges: []Charge{open}})
	mustHold(t, b.Reader, 5)
	closeBook(t, b)
	return path
}

// sealed is chained with a sixth link: a signed commissioning record. An unsigned
// one is in no link.
func sealed(t *testing.T) (path string) {
	t.Helper()
	path = chained(t)
	b := openBook(t, path)
	for _, signed := range []bool{false, true} {
		require.NoError(t, b.SaveCommissioning(t.Context(), Commissioning{Bay: "bay-1", ID: "a", Begun: stampAt(1), Signed: signed, Body: []byte(`{"by":"张"}`)}))
		require.NoError(t, b.SaveCommissioning(t.Context(), Commissioning{Bay: "bay-1", ID: "b", Begun: stampAt(2), Body: []byte(`{}`)}))
	}
	c := mustHold(t, b.Reader, 6)
	require.Equal(t, "5 charges and visits, 1 signed commissioning records", c.Covers())
	closeBook(t, b)
	return path
}

// unsealed removes what protects a signed record from being changed by mistake.
const unsealed = "DROP TRIGGER commissioning_signed; DROP TRIGGER commissioning_kept; " +
	"DROP TRIGGER IF EXISTS correction_kept; DROP TRIGGER IF EXISTS correction_stays; "

// copied puts the bytes of a closed logbook into a file of its own.
func copied(t *testing.T, data []byte) (path string) {
	t.Helper()
	path = filepath.Join(inMemory(t), "l.db")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

// brokenAt returns where the chain of a file breaks.
func brokenAt(t *testing.T, path string) *Break {
	t.Helper()
	r, err := OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	c, err := r.Verify(t.Context())
	require.NoError(t, err)
	return c.Break
}

// columns returns those of a table of a closed logbook, by its own schema.
func columns(t *testing.T, path, table string) (names []string) {
	t.Helper()
	db, err := handle(path, "mode=ro")
	require.NoError(t, err)
	defer db.Close()
	found, err := db.QueryContext(t.Context(), `SELECT name FROM pragma_table_info(?)`, table)
	require.NoError(t, err)
	defer found.Close()
	for found.Next() {
		var name string
		require.NoError(t, found.Scan(&name))
		names = append(names, name)
	}
	require.NoError(t, found.Err())
	require.NotEmpty(t, names)
	return names
}

// Another program changes each column of each chained row, one at a time: every
// change must be found, and at its row.
func TestChainSeesEveryColumn(t *testing.T) {
	source := sealed(t)
	b := openBook(t, source)
	writeRows(t, b, Rows{Corrections: []Correction{{
		Bay: "bay-1", Visit: 3, Cell: 1, Field: CellML, New: Known(15), Reason: "a slip", By: "Ann", At: minute(90),
	}}})
	require.Equal(t, "5 charges and visits, 1 corrections, 1 signed commissioning records", new(mustHold(t, b.Reader, 7)).Covers())
	closeBook(t, b)
	good, changes := fileBytes(t, source), map[string][]string{}
	for _, table := range []string{"charge", "visit", "visit_cell", "commissioning", "correction"} {
		changes[table] = columns(t, source, table)
	}
	rows := map[string]string{"charge": "id = 2", "visit": "id = 3", "visit_cell": "visit_id = 3 AND cell = 12", "commissioning": "id = 1", "correction": "id = 1"}
	for table, cols := range changes {
		for _, col := range cols {
			t.Run(table+"."+col, func(t *testing.T) {
				path := copied(t, good)
				raw(t, path, unsealed+"INSERT INTO bay (name) VALUES ('bay-9'); INSERT INTO pack (name) VALUES ('pack-9')")
				to := " = CASE typeof(" + col + ") WHEN 'text' THEN " + col + " || 'x' WHEN 'real' THEN " + col + " + 0.001 WHEN 'null' THEN 1 ELSE " + col + " + 100 END"
				if table == "visit_cell" && col != "cell" {
					raw(t, path, "UPDATE visit_cell SET "+col+" = 2 WHERE visit_id = 3 AND cell = 12 AND "+col+" IS NULL")
				}
				raw(t, path, "UPDATE "+table+" SET "+col+to+" WHERE "+rows[table])
				got := brokenAt(t, path)
				require.NotNil(t, got, "%s.%s was changed undetected", table, col)
				want := map[string]int{"charge": 4, "visit": 5, "visit_cell": 5, "commissioning": 6, "correction": 7}[table]
				require.Equal(t, want, got.No, got)
			})
		}
	}
}

func TestChainSeesWhatWasDone(t *testing.T) {
	good := fileBytes(t, chained(t))
	for name, c := range map[string]struct{ do, want string }{
		"a charge deleted":                 {"DELETE FROM charge WHERE id = 1", "link 1 (charge 1): the row is missing."},
		"a charge deleted with its link":   {"DELETE FROM charge WHERE id = 1; DELETE FROM chain WHERE no = 1", "link 1: it is missing; the next one is 2."},
		"the last deleted with its link":   {"DELETE FROM visit_cell WHERE visit_id = 3; DELETE FROM visit WHERE id = 3; DELETE FROM chain WHERE no = 5", "link 4: the chain ends here, but its recorded end is link 5."},
		"all deleted":                      {"DELETE FROM visit_cell; DELETE FROM visit; DELETE FROM charge; DELETE FROM chain", "link 0: the chain ends here, but its recorded end is link 5."},
		"a closed charge opened again":     {"DELETE FROM charge WHERE id = 3; UPDATE charge SET end_wall_ms = NULL WHERE id = 2", "link 4 (charge 2): the row, its place or the link before it was changed."},
		"a cell deleted":                   {"DELETE FROM visit_cell WHERE visit_id = 1 AND cell = 2", "link 2 (visit 1): the row, its place or the link before it was changed."},
		"a cell inserted":                  {"INSERT INTO visit_cell (visit_id, cell, ml) VALUES (1, 3, 100)", "link 2 (visit 1): the row, its place or the link before it was changed."},
		"a charge inserted":                {insertCharge, "charge 9: it is closed and not in the chain: it was added by another program."},
		"the open charge closed":           {"UPDATE charge SET end_wall_ms = 1 WHERE id = 3", "charge 3: it is closed and not in the chain: it was added by another program."},
		"two rows exchanged":               {"UPDATE charge SET id = 99 WHERE id = 1; UPDATE charge SET id = 1 WHERE id = 2; UPDATE charge SET id = 2 WHERE id = 99", "link 1 (charge 1): the row, its place or the link before it was changed."},
		"two links exchanged":              {"UPDATE chain SET no = 99 WHERE no = 1; UPDATE chain SET no = 1 WHERE no = 2; UPDATE chain SET no = 2 WHERE no = 99", "link 1 (visit 1): the row, its place or the link before it was changed."},
		"a hash changed":                   {"UPDATE chain SET hash = zeroblob(32) WHERE no = 3", "link 3 (visit 2): the row, its place or the link before it was changed."},
		"the last hash and its record":     {"UPDATE chain SET hash = zeroblob(32) WHERE no = 5; UPDATE chain_head SET hash = zeroblob(32)", "link 5 (visit 3): the row, its place or the link before it was changed."},
		"the record of the end":            {"UPDATE chain_head SET no = 4", "link 5: the chain ends here, but its recorded end is link 4."},
		"the record of the end gone":       {"DELETE FROM chain_head", "link 5: the record of the chain's end is missing."},
		"an unknown kind":                  {"UPDATE chain SET kind = 'finding' WHERE no = 2", `link 2 (finding 1): the row cannot be read: there is no kind "finding".`},
		"an unknown encoding":              {"UPDATE chain SET v = 7 WHERE no = 2", "link 2 (visit 1): its encoding is version 7; this program knows 2."},
		"a pack given another name":        {"UPDATE pack SET name = 'other'", "link 1 (charge 1): the row, its place or the link before it was changed."},
		"a bay given another name":         {"UPDATE bay SET name = 'other' WHERE name = 'bay-1'", "link 1 (charge 1): the row, its place or the link before it was changed."},
		"a known number made unknown":      {"UPDATE charge SET in_ah = NULL WHERE id = 2", "link 4 (charge 2): the row, its place or the link before it was changed."},
		"text moved from field to field":   {"UPDATE visit SET opened_by = opened_by || closed_by, closed_by = '' WHERE id = 1", "link 2 (visit 1): the row, its place or the link before it was changed."},
		"water moved from cell to cell":    {"UPDATE visit_cell SET ml = 310 - ml WHERE visit_id = 1 AND cell <> 2", "link 2 (visit 1): the row, its place or the link before it was changed."},
		"nothing chained (open charge)":    {"UPDATE charge SET in_ah = 1 WHERE id = 3", ""},
		"nothing chained (another's pack)": {"INSERT INTO pack (name) VALUES ('other')", ""},
	} {
		t.Run(name, func(t *testing.T) {
			path := copied(t, good)
			raw(t, path, c.do)
			got := brokenAt(t, path)
			if c.want == "" {
				require.Nil(t, got)
				return
			}
			require.NotNil(t, got)
			require.Equal(t, c.want, got.String())
		})
	}
}

// A signed commissioning record removed, or inserted by another program.
func TestChainSeesSignedRecords(t *testing.T) {
	good := fileBytes(t, sealed(t))
	const another = "INSERT INTO commissioning SELECT 9, bay_id, 'c', wall_ms, trusted, boot_id, mono_ns, signed, late, body FROM commissioning WHERE id = 1"
	for do, want := range map[string]string{
		unsealed + "DELETE FROM commissioning WHERE id = 1":           "link 6 (commissioning 1): the row is missing.",
		unsealed + "UPDATE commissioning SET signed = 0 WHERE id = 1": "link 6 (commissioning 1): the row, its place or the link before it was changed.",
		unsealed + "UPDATE commissioning SET signed = 1 WHERE id = 2": "commissioning 2: it is signed and not in the chain: it was added by another program.",
		another: "commissioning 9: it is signed and not in the chain: it was added by another program.",
		another + "; UPDATE commissioning SET body = '[]' WHERE id = 2": "commissioning 9: it is signed and not in the chain: it was added by another program.",
	} {
		path := copied(t, good)
		raw(t, path, do)
		got := brokenAt(t, path)
		require.NotNil(t, got, do)
		require.Equal(t, want, got.String())
	}
}

var insertCharge = "INSERT INTO charge SELECT 9, " + strings.Join(append([]string{"bay_id", "pack_id"}, chargeTable.cols...), ", ") + " FROM charge WHERE id = 1"

// The chain continues across restarts.
func TestChainGoesOn(t *testing.T) {
	path := chained(t)
	b := openBook(t, path)
	before := mustHold(t, b.Reader, 5)
	writeRows(t, b, Rows{Charges: []Charge{someCharge(80)}})
	after := mustHold(t, b.Reader, 6)
	require.Len(t, after.Head, 64)
	require.NotEqual(t, before.Head, after.Head)
}

// A program written from the description alone comes to the same hashes: python's
// sqlite3, hashlib and struct.
func TestChainIsWhatTheDescriptionSays(t *testing.T) {
	path := sealed(t)
	r, err := OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	c := mustHold(t, r, 6)
	require.Equal(t, fmt.Sprintf("%d %s\n", c.Rows, c.Head), byDescription(t, path))
}

// byDescription returns what that program prints about a closed logbook.
func byDescription(t *testing.T, path string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "python3", "testdata/verify.py", path).CombinedOutput()
	if err != nil && os.Getenv("BAYWARD_REQUIRE_TOOLS") == "" && errors.Is(err, exec.ErrNotFound) {
		t.Skip("needs python3")
	}
	require.NoError(t, err, string(out))
	return string(out)
}
