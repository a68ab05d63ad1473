package logbook

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
)

// list returns the rows of a query of one column, in a closed logbook of any
// schema.
func list(t *testing.T, path, query string) (out []string) {
	t.Helper()
	db, err := handle(path, "_busy_timeout=5000")
	require.NoError(t, err)
	defer db.Close()
	found, err := db.QueryContext(t.Context(), query)
	require.NoError(t, err, query)
	defer found.Close()
	for found.Next() {
		var v sql.NullString
		require.NoError(t, found.Scan(&v))
		out = append(out, v.String)
	}
	require.NoError(t, found.Err())
	return out
}

// migrated opens a logbook of an earlier schema once.
func migrated(t *testing.T, path string) {
	t.Helper()
	b := openBook(t, path)
	require.Empty(t, b.SetAside())
	closeBook(t, b)
}

// TestRenamesArrive: each old name and value is there under its new one, in the
// same rows, and nothing else has changed.
func TestRenamesArrive(t *testing.T) {
	same := []struct{ table, was, is, key string }{
		{"charge", "low_cover_mm", "low_level_mm", "id"},
		{"charge", "ended", "ended", "id"},
		{"charge", "code", "code", "id"},
		{"visit", "cover_before_mm", "level_before_mm", "id"},
		{"visit", "cover_after_mm", "level_after_mm", "id"},
		{"visit", "kind", "kind", "id"},
		{"visit", "notes", "notes", "id"},
		{"visit_cell", "dip_before_mm", "rod_before_mm", "visit_id, cell"},
		{"visit_cell", "dip_after_mm", "rod_after_mm", "visit_id, cell"},
		{"series", "cover_mm", "level_mm", "id"},
		{"series", "cover_mm_min", "level_mm_min", "id"},
		{"series", "stage", "stage", "id"},
		{"finding", "code", "code", "id"},
		{"finding", "evidence", "evidence", "id"},
		{"refusal", "code", "code", "id"},
		{"refusal", "codes", "codes", "id"},
		{"refusal", "evidence", "evidence", "id"},
		{"event", "kind", "kind", "bay_id, seq"},
		{"event", "stage", "stage", "bay_id, seq"},
		{"event", "from_stage", "from_stage", "bay_id, seq"},
		{"event", "code", "code", "bay_id, seq"},
		{"event", "note", "note", "bay_id, seq"},
		{"commissioning", "body", "body", "id"},
		{"pack_memory", "state", "state", "pack_id"}, // it has no such key
	}
	values := strings.NewReplacer("cover-fill", "cover-plates", "permit-withheld", "permit-blocked", "withheld", "blocked",
		"cover-unknown", "level-unknown", "settling", "checking")
	path := older(t, 4)
	want := make([][]string, len(same))
	var replaced int
	for i, c := range same {
		want[i] = list(t, path, "SELECT "+c.was+" FROM "+c.table+" ORDER BY "+c.key)
		for j, v := range want[i] {
			if strings.Contains(v, " ") && c.was != "codes" {
				continue // a sentence
			}
			if want[i][j] = values.Replace(v); want[i][j] != v {
				replaced++
			}
		}
	}
	require.Greater(t, replaced, 10, "the file must contain what is to be renamed")
	migrated(t, path)
	for i, c := range same {
		require.Equal(t, want[i], list(t, path, "SELECT "+c.is+" FROM "+c.table+" ORDER BY "+c.key), "%s.%s", c.table, c.is)
	}
}

// TestRenamedRowsAreRead: how the program reads an older file.
func TestRenamedRowsAreRead(t *testing.T) {
	b := openBook(t, older(t, 4))
	of := Query{Bay: "bay-3"}
	c := allOf(t, b.Charges(t.Context(), of))
	require.Len(t, c, 1)
	require.Equal(t, [2]string{EndedBlocked, interlock.LevelUnknown.String()}, [2]string{c[0].Ended, c[0].Code})
	require.Equal(t, Known(-3), c[0].LowMM)
	v := allOf(t, b.Visits(t.Context(), of))
	require.Len(t, v, 2)
	require.Equal(t, []any{VisitCoverPlates, Known(-3), Known(1.5)}, []any{v[0].Kind, v[0].BeforeMM, v[0].AfterMM})
	require.Equal(t, VisitCell{Cell: 2, ML: Known(50), BeforeMM: Known(-2), AfterMM: Known(2), Gravity: Known(1.2), AtC: Known(40)}, v[0].Cells[1])
	require.Equal(t, `Cover was low; "dip_mm": withheld`, v[0].Notes)
	require.True(t, v[1].Open())
	r := allOf(t, b.Refusals(t.Context(), of))
	require.Equal(t, []string{"level-unknown", "pack-hot", "plates-bare", "held"}, r[0].Codes)
	s := allOf(t, b.Series(t.Context(), of))
	require.Equal(t, []any{bay.Checking.String(), Known(8), Known(8)}, []any{s[0].Stage, s[0].LevelMM, s[0].LevelMMMin})
	open, err := b.OpenRows(t.Context())
	require.NoError(t, err)
	require.Empty(t, NewFollower("bay-3", open["bay-3"]).out.Findings, "each open finding is known to the program")
}

// TestNoOldNameIsLeft: in no column name, no coded value and no memory.
func TestNoOldNameIsLeft(t *testing.T) {
	path := older(t, 4)
	migrated(t, path)
	oldColumn := regexp.MustCompile(`cover|dip|withheld|settling`)
	oldValue := regexp.MustCompile(`cover-unknown|cover-fill|withheld|settling`)
	sentence := regexp.MustCompile(`^(evidence|notes?|cautions|body)$`)
	for _, table := range list(t, path, "SELECT name FROM sqlite_schema WHERE type = 'table'") {
		for _, col := range columns(t, path, table) {
			require.NotRegexp(t, oldColumn, col, table)
			if sentence.MatchString(col) {
				continue
			}
			for _, v := range list(t, path, "SELECT "+col+" FROM "+table) {
				require.NotRegexp(t, oldValue, v, "%s.%s", table, col)
				require.NotRegexp(t, `"(cover|dip)_`, v, "%s.%s", table, col)
			}
		}
	}
}

// TestChainIsMadeAgain: it held under the old names and holds under the new ones,
// also by the program written from the description.
func TestChainIsMadeAgain(t *testing.T) {
	path := older(t, 4)
	links := list(t, path, "SELECT no || kind || ref FROM chain ORDER BY no")
	before := byDescription(t, path)
	b := openBook(t, path)
	c := mustHold(t, b.Reader, 7)
	require.Equal(t, before, fmt.Sprintf("%d %s\n", c.Again.Links, c.Again.Head))
	require.NotEqual(t, c.Again.Head, c.Head)
	require.Contains(t, c.Covers(), " (rebuilt when the names changed: 7 links held then, last "+c.Again.Head+")")
	closeBook(t, b)
	require.Equal(t, fmt.Sprintf("%d %s\n", c.Rows, c.Head), byDescription(t, path))
	require.Equal(t, links, list(t, path, "SELECT no || kind || ref FROM chain ORDER BY no"))
	require.Equal(t, []string{"2"}, list(t, path, "SELECT DISTINCT v FROM chain"))

	b = openBook(t, path)
	writeRows(t, b, Rows{Charges: []Charge{someCharge(80)}})
	again := mustHold(t, b.Reader, 8).Again
	require.Equal(t, c.Again, again, "the earlier state does not change")
}

// TestBrokenBeforeStaysBroken: what another program did to an older file is not
// repaired when the chain is rebuilt, nor by a restart, nor when it is undone.
func TestBrokenBeforeStaysBroken(t *testing.T) {
	const changed = "the row, its place or the link before it was changed."
	for name, c := range map[string]struct {
		do, undo, want string
		held           int
	}{
		"a charge": {"UPDATE charge SET in_ah = in_ah + 1 WHERE id = 3", "UPDATE charge SET in_ah = in_ah - 1 WHERE id = 3",
			"link 5 (charge 3): " + changed, 4},
		"a coded value": {"UPDATE charge SET ended = 'blocked' WHERE id = 3", "UPDATE charge SET ended = 'withheld' WHERE id = 3",
			"link 5 (charge 3): " + changed, 4},
		"the first": {"UPDATE charge SET notes = '' WHERE id = 1", "", "link 1 (charge 1): " + changed, 0},
		"a level reading": {"UPDATE visit_cell SET dip_after_mm = 9 WHERE visit_id = 2 AND cell = 2",
			"UPDATE visit_cell SET rod_after_mm = 2 WHERE visit_id = 2 AND cell = 2", "link 6 (visit 2): " + changed, 5},
		"a row gone":        {"DELETE FROM charge WHERE id = 4", "", "link 7 (charge 4): the row is missing.", 6},
		"a link gone":       {"DELETE FROM chain WHERE no = 6", "", "link 6: it is missing; the next one is 7.", 5},
		"the end cut off":   {"DELETE FROM chain WHERE no = 7", "", "link 6: the chain ends here, but its recorded end is link 7.", 6},
		"the record of it":  {"DELETE FROM chain_head", "", "link 7: the record of the chain's end is missing.", 7},
		"an encoding":       {"UPDATE chain SET v = 2 WHERE no = 3", "", "link 3 (commissioning 1): its encoding is version 2; this program knows 1.", 2},
		"another's charge":  {"UPDATE charge SET end_wall_ms = 1 WHERE id = 2", "UPDATE charge SET end_wall_ms = NULL WHERE id = 2", "charge 2: it is closed and not in the chain: it was added by another program.", 7},
		"a signed record":   {unsealed + "UPDATE commissioning SET body = '{}' WHERE id = 3", "", "link 4 (commissioning 3): " + changed, 3},
		"the name of a bay": {"UPDATE bay SET name = 'bay-9' WHERE id = 4", "UPDATE bay SET name = 'bay-4' WHERE id = 4", "link 7 (charge 4): " + changed, 6},
	} {
		t.Run(name, func(t *testing.T) {
			path := older(t, 4)
			raw(t, path, c.do)
			migrated(t, path)
			mustBreak(t, path, c.want, c.held)
			migrated(t, path) // a restart
			raw(t, path, c.undo)
			mustBreak(t, path, c.want, c.held)
			if c.held < 7 { // otherwise no chained row had changed
				raw(t, path, "DELETE FROM rechained")
				require.NotNil(t, brokenAt(t, path), "even without the record of it")
			}
		})
	}
}

// mustBreak checks which break a logbook shows, and how far its chain holds.
func mustBreak(t *testing.T, path, want string, held int) {
	t.Helper()
	r, err := OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	c, err := r.Verify(t.Context())
	require.NoError(t, err)
	require.NotNil(t, c.Break)
	require.Equal(t, want, c.Break.String())
	require.Equal(t, [2]int{held, held}, [2]int{c.Rows, c.Again.Links})
}

// TestFirstBreakIsShown: a change to an earlier link, made after the chain was
// rebuilt, comes first.
func TestFirstBreakIsShown(t *testing.T) {
	path := older(t, 4)
	raw(t, path, "UPDATE charge SET in_ah = 1 WHERE id = 3")
	migrated(t, path)
	raw(t, path, "UPDATE visit SET total_ml = 1 WHERE id = 1")
	require.Equal(t, "link 2 (visit 1): the row, its place or the link before it was changed.", brokenAt(t, path).String())
}

// stacker is the core whose memory is in the file of version 4.
func stacker() *bay.Bay {
	setup := baytest.Setup("bay-3")
	setup.Pack.Name = "stacker-24v"
	return bay.New(setup)
}

// restored gives a core the memory that a logbook has of its bay, and one tick.
func restored(t *testing.T, b *Book) (*bay.Picture, error) {
	t.Helper()
	stored, err := b.LoadMemory(t.Context(), "bay-3")
	require.NoError(t, err)
	require.NotNil(t, stored)
	var m bay.Memory
	require.NoError(t, json.Unmarshal(stored.State, &m))
	core, now := stacker(), time.Hour
	err = core.Restore(&m, now, 0, true)
	r := baytest.Values{PackV: 24.8, PackC: 53, AmbientC: 21, LevelMM: -1}.At(now)
	p, _ := core.Step(&r)
	return p, err
}

// TestMemoryGoesOnUnderNewNames: a hold, an open visit with everything done in it,
// and a latch.
func TestMemoryGoesOnUnderNewNames(t *testing.T) {
	p, err := restored(t, openBook(t, older(t, 4)))
	require.NoError(t, err)
	require.True(t, p.Findings[interlock.Held].Raised)
	require.True(t, p.Findings[interlock.ContactorStuck].Latched)
	v := p.Visit
	require.True(t, v.Open && v.OnlyCoverPlates)
	require.Equal(t, "A. Person", v.By)
	require.Equal(t, [2]float64{40, 35}, [2]float64{v.GivenML[0], v.GivenML[4]})
	require.Equal(t, bay.CellVisit{Dry: true}, v.Cells[3], "a level rod has nothing to read at -1.5 mm")
	require.Equal(t, bay.CellVisit{Done: true, LevelLast: true, LevelMM: new(2.5)}, v.Cells[4])
	require.InDelta(t, 2230, p.BlockedS, 1)
	require.InDelta(t, 521, p.PermitS, 1)
}

// TestDamagedMemoryStaysDamaged: a wrong sum is not made right.
func TestDamagedMemoryStaysDamaged(t *testing.T) {
	path := older(t, 4)
	raw(t, path, `UPDATE memory SET state = CAST(replace(CAST(state AS TEXT), '"held":true,', '') AS BLOB) WHERE bay_id = 3`)
	const query = "SELECT hex(state) FROM memory WHERE bay_id = 3"
	before := list(t, path, query)
	migrated(t, path)
	require.Equal(t, before, list(t, path, query))
	p, err := restored(t, openBook(t, path))
	require.ErrorIs(t, err, bay.ErrMemory)
	require.True(t, p.Findings[interlock.Held].Raised, "it is held until someone has looked")
	require.True(t, p.Visit.Open)
	require.False(t, p.Permit.Granted)
}

// TestOnlyKeysAreRenamed: the name of a person or an order may be anything.
func TestOnlyKeysAreRenamed(t *testing.T) {
	type memory struct {
		V    int            `json:"v"`
		Sum  string         `json:"sum"`
		By   []string       `json:"by"`
		Dip  *float64       `json:"dip_mm,omitempty"`
		Code map[string]int `json:"latches,omitempty"`
	}
	type renamed struct {
		V    int            `json:"v"`
		Sum  string         `json:"sum"`
		By   []string       `json:"by"`
		Dip  *float64       `json:"level_mm,omitempty"`
		Code map[string]int `json:"latches,omitempty"`
	}
	by := []string{`"dip_mm":`, `dip_mm`, `\"withheld_s":1`, `","sum":"00000000","dip_mm":`, `cover-unknown`, "\"cover_fill\":\n张"}
	text := func(v any) []byte {
		out, err := json.Marshal(v)
		require.NoError(t, err)
		return out
	}
	was := memory{1, "", by, Known(2), map[string]int{"cover-unknown": 1}}
	was.Sum = sumOf(string(text(was)))
	want := renamed{1, "", by, Known(2), map[string]int{"level-unknown": 1}}
	want.Sum = sumOf(string(text(want)))
	got, ok := renamedMemory(text(was))
	require.True(t, ok)
	require.Equal(t, string(text(want)), string(got))

	for _, bad := range []string{"", "{}", `{"sum":"`, `{"sum":"1234567`, `{"v":1,"sum":"","dip_mm":1}`, `{"v":1,"sum":"00000000","dip_mm":1}`} {
		_, ok := renamedMemory([]byte(bad))
		require.False(t, ok, bad)
	}
}

// TestRenamingIsAllOrNothing: a step that fails in its file, in the chain or in the
// memories leaves the older file.
func TestRenamingIsAllOrNothing(t *testing.T) {
	for fail, c := range map[string]struct{ again, want string }{
		"CREATE TABLE rechained (x)": {"DROP TABLE rechained", "rechained already exists"},
		"CREATE TRIGGER no BEFORE UPDATE ON chain WHEN OLD.no = 5 BEGIN SELECT RAISE(ABORT, 'no disk'); END": {
			"DROP TRIGGER no", "rebuild the chain: link 5: "},
		"CREATE TRIGGER no BEFORE UPDATE ON memory WHEN OLD.bay_id = 4 BEGIN SELECT RAISE(ABORT, 'no disk'); END": {
			"DROP TRIGGER no", "rename in memory: "},
	} {
		path := older(t, 4)
		raw(t, path, fail)
		const hashes = "SELECT hex(hash) FROM chain ORDER BY no"
		before := list(t, path, hashes)
		_, err := Open(t.Context(), path, quiet())
		require.ErrorContains(t, err, "change to schema version 5: ")
		require.ErrorContains(t, err, c.want)
		require.Equal(t, before, list(t, path, hashes))
		require.Contains(t, columns(t, path, "charge"), "low_cover_mm")
		require.Len(t, list(t, path, "SELECT 1 FROM charge WHERE ended = 'withheld'"), 1)
		raw(t, path, c.again)
		b := openBook(t, path)
		mustHold(t, b.Reader, 7)
		_, err = restored(t, b)
		require.NoError(t, err)
	}
}
