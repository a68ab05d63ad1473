package walk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"bayward/agent/commission"
	"bayward/agent/logbook"
	"bayward/agent/words"
)

// WriteLast prints the newest record of a bay from the logbook at path, as text
// in a language, or as JSON. An agent may be running meanwhile.
func WriteLast(ctx context.Context, out io.Writer, path, bayName string, v words.Voice, asJSON bool) error {
	book, err := logbook.OpenReadOnly(ctx, path)
	if err != nil {
		return err
	}
	r, err := lastRecord(ctx, book, bayName)
	if err = errors.Join(err, book.Close()); err != nil {
		return err
	}
	if r == nil {
		return words.Fail("usage.no-commissioning", bayName, path)
	}
	if asJSON {
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		return e.Encode(r)
	}
	_, err = io.WriteString(out, r.Text(v))
	return err
}

// lastRecord returns nil if there is none.
func lastRecord(ctx context.Context, book *logbook.Reader, bayName string) (*commission.Record, error) {
	raw, ok, err := book.LastCommissioning(ctx, bayName)
	if err != nil || !ok {
		return nil, err
	}
	r := &commission.Record{}
	if err := json.Unmarshal(raw, r); err != nil {
		return nil, fmt.Errorf("read the commissioning record of %s: %w", bayName, err)
	}
	return r, nil
}

func keepRecord(ctx context.Context, book *logbook.Book, r *commission.Record) error {
	body, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("bug: %w", err)
	}
	s := logbook.Stamp{
		Wall: r.Begun.Wall, Trusted: r.Begun.Trusted, BootID: r.Begun.BootID,
		Mono: time.Duration(r.Begun.MonoS * float64(time.Second)),
	}
	// An interrupted walk still stores its last step.
	return book.SaveCommissioning(context.WithoutCancel(ctx), logbook.Commissioning{Bay: r.Bay, ID: r.ID, Begun: s, Signed: r.Signed, Body: body})
}
