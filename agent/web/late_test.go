package web_test

import (
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
)

// TestLateSheetByForm: without an open visit a paper sheet is entered with its own
// person and time; each mistake is named and the form comes back filled in.
func TestLateSheetByForm(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.Local)
	b := newBench(func(o *web.Options) { o.Now = func() time.Time { return now } }, "bay-1")
	const visit = "/bays/bay-1/visit"
	require.Contains(t, text(t, b.get(visit)), "Enter a paper sheet of an earlier visit")
	page := text(t, b.get(visit+"?step=late"))
	for _, want := range []string{"Who did the work", "datetime-local", "cell 12"} {
		require.Contains(t, page, want)
	}
	sheet := func(change map[string]string) string {
		form := url.Values{
			"action": {"late"}, "by": {"Ana"}, "done": {"Ramón"}, "when": {"2026-03-01T14:30"}, "how": {"measured"},
			"ml-1": {"90"}, "after-1": {"13"}, "mark-2": {"yes"}, "ml-7": {"110"},
		}
		for name, value := range change {
			form.Set(name, value)
		}
		return form.Encode()
	}
	for name, change := range map[string]map[string]string{
		"no person": {"done": ""}, "no time": {"when": ""}, "a time to come": {"when": "2026-03-02T09:01"}, "no time of a day": {"when": "2026-03-01"},
		"an amount and the mark": {"mark-1": "yes"}, "a slip of a digit": {"ml-7": "11000"}, "nothing": {"ml-1": "", "after-1": "", "mark-2": "", "ml-7": ""},
	} {
		w := b.form(visit, sheet(change))
		require.Equal(t, 400, w.Code, name)
		require.Contains(t, w.Body.String(), `value="Ana"`, name)
		if change["when"] == "" && name != "no time" {
			require.Contains(t, w.Body.String(), `value="2026-03-01T14:30"`, "%s: the form comes back filled in", name)
		}
		require.Zero(t, b.picture("bay-1").Water.Visits, name)
	}
	require.Equal(t, visit+"?step=typed", b.leads(t, sheet(nil)))
	require.Contains(t, text(t, b.get(visit+"?step=typed")), "marked as typed in afterwards")
	require.Equal(t, 1, b.picture("bay-1").Water.Visits)

	// The same sheet from another phone is the same sheet; another amount is not.
	require.Equal(t, visit+"?step=typed", b.leads(t, sheet(map[string]string{"by": "Ana", "id": "another"})))
	require.Equal(t, 1, b.picture("bay-1").Water.Visits)
	b.leads(t, sheet(map[string]string{"ml-7": "111"}))
	require.Equal(t, 2, b.picture("bay-1").Water.Visits)
}

// TestLateSheetWaitsForTheVisit: while a visit is open the sheet is refused, and the
// person reads why.
func TestLateSheetWaitsForTheVisit(t *testing.T) {
	b := newBench(nil, "bay-1")
	const visit = "/bays/bay-1/visit"
	b.leads(t, "action=open&by=Ana&ok-park=yes&ok-lock=yes&ok-wear=yes&ok-metal=yes&ok-wash=yes&ok-spark=yes&ok-air=yes&ok-calm=yes")
	w := b.form(visit, "action=late&by=Ana&done=Bob&when=2026-03-01T14:30&how=measured&ml-1=90")
	require.Equal(t, 409, w.Code)
	require.Contains(t, text(t, w), "Ana")
	require.Zero(t, b.picture("bay-1").Water.Visits)
}
