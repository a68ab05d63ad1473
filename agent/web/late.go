package web

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"net/http"
	"strings"
	"time"

	"bayward/agent/order"
)

// onSheet reports whether the form is a whole sheet, whose boxes are numbered.
func (f *sent) onSheet() bool { return f.Action == "sheet" || f.Action == "late" }

// late enters a paper sheet after its visit, with a person and a time of its own. The
// same sheet entered twice, also from another phone, is recorded once.
func (f *sent) late() string {
	cells := f.sheetLines()
	for i := range cells {
		cells[i].SeenML = nil // it belongs to no open visit
	}
	o := order.Order{Kind: order.Entry, Cells: f.told("fail.empty", cells), DoneBy: strings.TrimSpace(f.Value("done"))}
	if !order.Printable(o.DoneBy, order.MaxNameRunes) {
		f.wrong(http.StatusBadRequest, "done", f.v.Say("late.by"), f.v.Say("fail.name", quoted(o.DoneBy)))
	}
	if at, ok := f.when(); ok {
		o.DoneAt = at.Format(time.RFC3339)
	} else {
		f.wrong(http.StatusBadRequest, "when", f.v.Say("late.at"), f.v.Say("fail.when", quoted(f.Value("when"))))
	}
	f.ID = sheetID(f.p.Bay, f.p.Pack.Name, &o)
	f.order(o)
	return visitURL(f.p.Bay, "step=typed")
}

// when reads the time of the work, by the machine's clock and up to now.
func (f *sent) when() (time.Time, bool) {
	text := strings.Replace(strings.TrimSpace(f.Value("when")), " ", "T", 1)
	at, err := time.ParseInLocation("2006-01-02T15:04", text, time.Local)
	return at, err == nil && at.Year() >= 1970 && !at.After(f.Now())
}

// sheetID returns the ID of a late sheet, which is that of its contents.
func sheetID(bayName, pack string, o *order.Order) string {
	sum := fnv.New128a()
	text, _ := json.Marshal([]any{bayName, pack, o.Members()}) // plain values, which always fit
	_, _ = sum.Write(text)                                     // a hash does not fail
	return fmt.Sprintf("paper-%x", sum.Sum(nil))
}
