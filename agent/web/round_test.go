package web_test

import (
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/web"
)

// TestRoundOnOverview: the work list adds up the water to carry now. A pack on charge and
// one with an unknown level are not in the sum.
func TestRoundOnOverview(t *testing.T) {
	b := newBench(nil, "bay-1", "bay-2", "bay-3")
	for _, name := range []string{"bay-1", "bay-2", "bay-3"} {
		b.step(name)
	}
	require.NotContains(t, text(t, b.get("/")), "Water to bring")
	b.change("bay-1", func(p *bay.Picture) { ready(p); p.Stage = bay.Charging }) // its water is for later
	require.NotContains(t, text(t, b.get("/")), "Water to bring")
	b.change("bay-2", ready)
	b.change("bay-3", ready)
	b.change("bay-3", func(p *bay.Picture) { p.Water.Known = false })
	require.Contains(t, text(t, b.get("/")), "Water to bring: 1.3 L.", "1266 ml of bay-2")
	b.change("bay-1", plates)
	require.Contains(t, text(t, b.get("/")), "Water to bring: 2.4 L.", "and 12 × 91 ml")
}

// TestARoundIsConfirmedOnce: the cautions that hold for a round are confirmed once by each
// person in each browser, for two hours; what differs from bay to bay, each time.
func TestARoundIsConfirmedOnce(t *testing.T) {
	now := time.Date(2026, 3, 31, 14, 5, 0, 0, time.Local)
	b := newBench(func(o *web.Options) { o.Now = func() time.Time { return now } }, "bay-1", "bay-2", "bay-3", "bay-4")
	const atBay = "action=open&ok-park=yes&ok-lock=yes&ok-calm=yes"
	send := func(name, body, cookies string) *httptest.ResponseRecorder {
		return b.do(request{method: "POST", path: "/bays/" + name + "/visit", body: body, header: map[string]string{
			"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin", "Cookie": cookies,
		}})
	}
	require.Equal(t, 400, send("bay-1", atBay+"&by=A", "").Code, "not yet on a round")
	first := send("bay-1", opening+"&by=A", "")
	require.Equal(t, 303, first.Code)
	cookies := ""
	for _, c := range first.Result().Cookies() {
		cookies += c.Name + "=" + c.Value + "; "
	}
	now = now.Add(time.Hour)
	page := text(t, b.do(request{method: "GET", path: "/bays/bay-2/visit", header: map[string]string{"Cookie": cookies}}))
	require.Contains(t, page, "Confirmed for this round at 14:05:")
	require.NotContains(t, page, `name="ok-wear"`)
	for _, point := range []string{"park", "lock", "calm"} {
		require.Contains(t, page, `name="ok-`+point+`"`)
		require.Equal(t, 400, send("bay-2", strings.Replace(atBay, "&ok-"+point+"=yes", "", 1), cookies).Code, point)
	}
	require.Equal(t, 303, send("bay-2", atBay, cookies).Code)
	require.Equal(t, "A", b.picture("bay-2").Visit.By)
	other := send("bay-3", atBay+"&by=B", cookies)
	require.Equal(t, 400, other.Code, "another person with the same phone")
	require.Contains(t, text(t, other), `name="ok-wear"`)
	require.Equal(t, 400, send("bay-3", atBay+"&by=A", "").Code, "the same person with another phone")
	now = now.Add(time.Hour + time.Minute)
	require.Equal(t, 400, send("bay-3", atBay, cookies).Code, "two hours later")
	require.NotContains(t, b.picture("bay-3").Codes(), "visit-open")
	require.Equal(t, 303, send("bay-3", opening, cookies).Code)
	require.Equal(t, 303, send("bay-4", atBay, cookies).Code)
}
