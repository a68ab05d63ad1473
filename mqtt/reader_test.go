package mqtt

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/logbook"
)

// archive is the reader of README.md: it knows nothing but that page's statements.
type archive struct {
	t      *testing.T
	db     *sql.DB
	insert string
	gaps   string
	events <-chan arrival
}

// newArchive takes the three statements from the page, and reads a broker.
func newArchive(t *testing.T, events <-chan arrival) *archive {
	t.Helper()
	page, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	found := regexp.MustCompile("(?s)```sql\n(.*?)```").FindAllStringSubmatch(string(page), -1)
	if len(found) != 3 {
		t.Fatalf("README.md has %d statements, want the table, the insert and the gaps", len(found))
	}
	db, err := sql.Open("sqlite", filepath.Join(t.TempDir(), "archive.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	if _, err := db.ExecContext(t.Context(), found[0][1]); err != nil {
		t.Fatal(err)
	}
	return &archive{t, db, strings.ReplaceAll(found[1][1], "$", "?"), found[2][1], events}
}

func (a *archive) store(m arrival) {
	a.t.Helper()
	var e struct {
		Epoch, Bay string
		Seq        int64
	}
	if err := json.Unmarshal(m.payload, &e); err != nil {
		a.t.Fatal(err)
	}
	at := strings.Split(m.topic, "/") // bayward, site, agent, bay, event
	if _, err := a.db.ExecContext(a.t.Context(), a.insert, at[1], at[2], e.Epoch, e.Bay, e.Seq, string(m.payload)); err != nil {
		a.t.Fatal(err)
	}
}

// next waits for one message.
func (a *archive) next() arrival {
	a.t.Helper()
	select {
	case m := <-a.events:
		return m
	case <-time.After(patience):
		a.t.Fatal("no more events came")
		panic("not reached")
	}
}

// take stores messages.
func (a *archive) take(n int) (last arrival) {
	a.t.Helper()
	for range n {
		last = a.next()
		a.store(last)
	}
	return last
}

// lines gives the rows of a query, each as its values with spaces between.
func (a *archive) lines(query string) (out []string) {
	a.t.Helper()
	rows, err := a.db.QueryContext(a.t.Context(), query)
	if err != nil {
		a.t.Fatal(err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		a.t.Fatal(err)
	}
	for rows.Next() {
		values := make([]any, len(names))
		into := make([]any, len(names))
		for i := range values {
			into[i] = &values[i]
		}
		if err := rows.Scan(into...); err != nil {
			a.t.Fatal(err)
		}
		out = append(out, strings.TrimSuffix(fmt.Sprintln(values...), "\n"))
	}
	if rows.Err() != nil {
		a.t.Fatal(rows.Err())
	}
	return out
}

// expect compares rows.
func (a *archive) expect(what, query string, want ...string) {
	a.t.Helper()
	if got := a.lines(query); strings.Join(got, "\n") != strings.Join(want, "\n") {
		a.t.Errorf("%s: got\n%s\nwant\n%s", what, strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// record is an agent's logbook while an agent runs on it.
type record struct {
	t    *testing.T
	book *logbook.Book
	c    *Client
	stop func()
}

func runRecord(t *testing.T, addr, path string) *record {
	t.Helper()
	book, err := logbook.Open(t.Context(), path, quiet())
	if err != nil {
		t.Fatal(err)
	}
	c := newClient(t, Options{Brokers: []string{"tcp://" + addr}, Outbox: bookOutbox{book}})
	return &record{t, book, c, runClient(t, c)}
}

func (r *record) happen(by string, n int) {
	r.t.Helper()
	events := make([]bay.Event, n)
	for i := range events {
		events[i] = bay.Event{Kind: bay.ChargeFull, By: by}
	}
	if _, err := r.book.Append(r.t.Context(), "bay-1", logbook.Stamp{Wall: time.Now(), BootID: "b"}, events); err != nil {
		r.t.Fatal(err)
	}
	r.c.Wake()
}

func (r *record) end() {
	r.t.Helper()
	r.stop()
	if err := r.book.Close(); err != nil {
		r.t.Fatal(err)
	}
}

// TestReaderOfTheDocuments: a reader made of README.md alone has every event of a record, of its backup
// put back in its place, which repeats numbers with other content, and of a new record, which begins at 1.
func TestReaderOfTheDocuments(t *testing.T) {
	b := startMosquitto(t)
	dir := t.TempDir()
	path, backup := filepath.Join(dir, "logbook.db"), filepath.Join(dir, "backup.db")
	a := newArchive(t, read(t, b.addr(), "bayward/+/+/+/event"))

	r := runRecord(t, b.addr(), path)
	first := r.book.Epoch()
	r.happen("first", 5)
	a.take(5)
	if err := r.book.Backup(t.Context(), backup); err != nil {
		t.Fatal(err)
	}
	r.happen("lost", 3)
	a.store(a.take(3)) // the last one twice
	r.end()

	r = runRecord(t, b.addr(), backup)
	second := r.book.Epoch()
	r.happen("restored", 4)
	for seen := 0; seen < 4; { // the backup may send again what it did not know to be sent
		if m := a.take(1); strings.Contains(string(m.payload), second) {
			seen++
		}
	}
	r.end()

	r = runRecord(t, b.addr(), filepath.Join(dir, "new.db"))
	third := r.book.Epoch()
	r.happen("new", 3)
	a.take(1)
	missed := a.next() // while the reader is away
	a.take(1)

	const by = "SELECT epoch, json_extract(payload, '$.by'), min(seq), max(seq), count(*) FROM event GROUP BY 1, 2 ORDER BY min(rowid)"
	agent := testTopics.Site + " " + testTopics.Agent + " "
	a.expect("events", by, first+" first 1 5 5", first+" lost 6 8 3", second+" restored 6 9 4", third+" new 1 3 2")
	a.expect("gaps", a.gaps, agent+third+" bay-1 2 2")
	a.store(missed) // as from the agent's logbook
	a.expect("gaps, once filled", a.gaps)
	r.end()
}
